"""Does one pass at the rig. See `one_pass`."""

from sweeper.engine.meter import Meter
from sweeper.engine.one_pass import measure_pass
from sweeper.engine.settings import MeasurementSettings, same_dial, without_dial
from sweeper.engine.sink import Sink

__all__ = ["MeasurementSettings", "Meter", "Sink", "measure_pass", "same_dial", "without_dial"]
