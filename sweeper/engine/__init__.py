"""Does one pass at the rig. See `one_pass`."""

from sweeper.engine.meter import Meter
from sweeper.engine.one_pass import Manner, measure_pass
from sweeper.engine.sink import Sink

__all__ = ["Manner", "Meter", "Sink", "measure_pass"]
