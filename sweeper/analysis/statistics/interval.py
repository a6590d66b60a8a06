"""The uncertain number: what every figure leaves the analysis as. It needs no arrays, so showing it loads none."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Interval:
    """An uncertain number, dB: the best value and the ends of its interval at the stated confidence."""

    value: float
    low: float
    high: float
