"""The station file: read, checked, frozen. Nothing here talks to hardware or writes a file."""

from sweeper.station.loading import load
from sweeper.station.problems import Problem, StationFileError
from sweeper.station.running import Window
from sweeper.station.sections import Band, Meter, Receiver, Station, Switch

__all__ = ["Band", "Meter", "Problem", "Receiver", "Station", "StationFileError", "Switch", "Window", "load"]
