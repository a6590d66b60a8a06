"""A/B comparison of stage and bypass from spectra. Pure: no files, no clock, no rig."""

from sweeper.ab.compare import Terms, compare
from sweeper.ab.result import ABResult, CarrierChange, Interval, Switched, as_json
from sweeper.ab.sides import NoNoise

__all__ = ["ABResult", "CarrierChange", "Interval", "NoNoise", "Switched", "Terms", "as_json", "compare"]
