"""The slope of the meter's scale where the readings lie, from how far they scatter within a visit.

Readings of white noise scatter alike at every level on an honest scale, by 4.34/√(Bτ) dB (radiometer equation, Dicke
1946). A scale of half the slope shows half the scatter; a dead zone shows none. No calibration is needed for that.
Verdicts do not belong here.
"""

from dataclasses import dataclass

import polars as pl

from sweeper.analysis.facts import MeterFacts
from sweeper.analysis.thresholds import DEAD_SLOPE, REAL_SLOPES, SLOPE_AS_GOOD_AS_ONE, WORST_SLOPE_SE

LOADS, ANTENNAS = ("load_bypass", "load_stage"), ("antenna_bypass", "antenna_stage")
VISIT_SCATTER = 0.5
"""Standard deviation of one visit's scatter as a share of its mean: range of the lower five of eight readings."""
ROUNDING = 0.04
"""What a step of the meter leaves in a slope however many visits there are, while a step is at most
`COARSEST_STEPS` of the scatter."""


@dataclass(frozen=True, slots=True)
class Slope:
    """Decibels shown for each decibel of level: between `low` and `high`, for all paths of a band together.

    `tested`: the readings told. `dead`: on some path the meter hardly moves where noise must make it move.
    """

    low: float
    high: float
    tested: bool
    dead: bool = False

    @property
    def honest(self) -> bool:
        """Decibels are decibels, as far as can be told."""
        return self.low == self.high == 1.0


HONEST = Slope(1.0, 1.0, tested=True)
UNTESTED = Slope(*REAL_SLOPES, tested=False)


def slope_of(rows: pl.DataFrame, meter: MeterFacts) -> Slope:
    """The slope on a band from its summaries `rows`. A calibrated meter is taken at its curve's word."""
    if meter.calibrated:
        return HONEST
    seen = {path: told for path in (*LOADS, *ANTENNAS) if (told := _of_path(rows, path)) is not None}
    if not seen:
        return UNTESTED
    most = 1.0 if meter.averaging_s is not None else max(value for value, _ in seen.values())
    dead = any(value + 3 * error < DEAD_SLOPE * most for value, error in seen.values())
    known = {path: told for path, told in seen.items() if told[1] <= WORST_SLOPE_SE}
    # noise from outside also crackles and wanders, which only adds scatter: a load tells more, where there is one
    clean = [known[path] for path in LOADS if path in known]
    judged = clean or [known[path] for path in ANTENNAS if path in known]
    judged += [told for path, told in known.items() if path in ANTENNAS and told[0] < 1.0 and clean]
    if meter.averaging_s is None or not judged:
        return Slope(*REAL_SLOPES, tested=False, dead=dead)
    ends = [
        1.0 if _as_good_as_one(*told) else told[0] + side * 2 * told[1] for told in judged for side in (-1, 1)
    ]
    return Slope(max(min(ends), REAL_SLOPES[0]), min(max(ends), REAL_SLOPES[1]), tested=True, dead=dead)


def _as_good_as_one(value: float, error: float) -> bool:
    return abs(value - 1.0) <= max(SLOPE_AS_GOOD_AS_ONE, 2.5 * error)


def _of_path(rows: pl.DataFrame, path: str) -> tuple[float, float] | None:
    """Mean scatter over what must be, and its standard error; None where no visit told."""
    told = rows.select(value=f"scatter_{path}", visits=f"scatter_visits_{path}").drop_nulls()
    visits = float(told["visits"].sum())
    if visits < 1:
        return None
    value = float((told["value"] * told["visits"]).sum()) / visits
    return value, float((VISIT_SCATTER**2 / visits + ROUNDING**2) ** 0.5)
