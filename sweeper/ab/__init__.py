"""A/B comparison of stage and bypass from spectra. Pure: no files, no clock, no rig."""

from sweeper.ab.compare import Terms, compare
from sweeper.ab.result import ABResult, CarrierChange, Interval, Switched, as_json
from sweeper.ab.sides import NoNoise
from sweeper.ab.untold import Untold, flagged, untold

__all__ = [
    "ABResult",
    "CarrierChange",
    "Interval",
    "NoNoise",
    "Switched",
    "Terms",
    "Untold",
    "as_json",
    "compare",
    "flagged",
    "untold",
]
