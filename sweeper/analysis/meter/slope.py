"""The slope of the meter's scale at the levels where readings lie, from how far they scatter within a visit.

Readings of white noise scatter alike at every level on an honest scale, by 4.34/√(Bτ) dB (radiometer equation, Dicke
1946). A scale of half the slope shows half the scatter; a dead zone shows none. No calibration is needed for that.
Which scales are left open by it is for `scales`; verdicts do not belong here.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import polars as pl

from sweeper.analysis.arrays import Floats
from sweeper.analysis.facts import MeterFacts
from sweeper.analysis.physics.radiometer import shape_of, spread_db
from sweeper.analysis.thresholds import DEAD_SLOPE, SLOPE_AS_GOOD_AS_ONE, SLOPE_SE, WORST_SLOPE_SE

PATHS = ("antenna_bypass", "antenna_stage", "load_bypass", "load_stage")
USUAL_AVERAGING_S = 0.05
"""Taken for the averaging time where the station file tells none: S-meters of receivers (common practice)."""
WIDEST_DB = 4.0
"""Levels that are taken together."""
VISIT_VARIANCE = 0.35
"""Variance of a visit's variance, over the square of its mean: 2/7 for eight readings of a normal law, and more."""
FEW_VISITS = 6
"""Fewer visits than this make no dead zone."""
LEAST_SQUARE_ROOT = 0.3
"""Of a squared slope, which may come out about nothing or below: for errors."""
MORE_THAN_CHANCE = 2.0
"""Standard errors by which an antenna must scatter more than a load for it to be noise from outside."""
CRACKLE_STRAYS = 2.0
"""Of `SlopeAt.strays`, all levels together. Of 38 drawn stations without crackle 35 come to 0.5 to 1.5, three to 2.0 to
2.2; with six static crashes a second all of 16 on an honest scale come to 2.7 and more."""
PRIOR_ROWS = 8.0
"""Rows that this is worth beside the scatter of the rows themselves."""


@dataclass(frozen=True, slots=True)
class SlopeAt:
    """The slope over levels from `low_db` to `high_db` as shown: decibels shown for each decibel.

    `open_low`: it may also be 1, since noise from outside crackles and wanders, which adds scatter to that of noise.
    `chance_se`: standard error that the squared slope has on an honest scale, by the number of visits; few quiet visits
    scatter little and would seem to know it better. `strays`: variance of the squared slope from hour to hour over that
    which chance gives it.
    """

    low_db: float
    high_db: float
    slope: float
    se: float
    visits: int
    open_low: bool = False
    chance_se: float = 0.0
    strays: float = 1.0

    @property
    def middle_db(self) -> float:
        return (self.low_db + self.high_db) / 2

    @property
    def honest(self) -> bool:
        """Decibels are decibels here, as far as can be told."""
        return self.like(1.0)

    @property
    def without_crackle(self) -> "SlopeAt":
        """The same where noise from outside adds no scatter."""
        return replace(self, open_low=False)

    @property
    def dead(self) -> bool:
        """The meter hardly moves where noise must make it move: a floor, a threshold, a knee."""
        return self.slope < DEAD_SLOPE and self.visits >= FEW_VISITS

    @property
    def unsure(self) -> bool:
        """Many visits, and still nothing told: levels stand still between the meter's steps."""
        return self.se > WORST_SLOPE_SE and self.visits >= 4 * FEW_VISITS

    def like(self, other: float) -> bool:
        """Whether the slope is `other` here, as far as can be told."""
        chance = SLOPE_SE * self.chance_se * other**2
        return (
            abs(self.slope - other) <= max(SLOPE_AS_GOOD_AS_ONE * other, SLOPE_SE * self.se)
            or abs(self.slope**2 - other**2) <= chance
            or (self.open_low and other <= self.slope)
        )

    @property
    def squared_se(self) -> float:
        """Standard error of the squared slope, no less than it is on an honest scale."""
        return max(2 * max(self.slope, LEAST_SQUARE_ROOT) * self.se, self.chance_se)


def measured_noise(summaries: pl.DataFrame, *columns: str) -> pl.DataFrame:
    """The rows of noise channels with passes that count, of these columns alone; a ``^pattern$`` names several.

    A season's summaries have some sixty columns, and to copy all of them takes longer than most questions.
    """
    counted = (pl.col("for") == "noise") & (pl.col("passes") > 0)
    return summaries.lazy().filter(counted).select(columns).collect()


def slopes_of(rows: pl.DataFrame, meter: MeterFacts) -> tuple[SlopeAt, ...]:
    """Slopes by level, lowest first, from the noise `rows` of summaries of any bands; the meter is the same on all.

    Empty where the readings tell none: too coarse a step, or too few readings in a visit.
    """
    told = [_told(rows, path, meter) for path in PATHS]
    level, value, visits, step = (np.concatenate(each) for each in zip(*told, strict=True))
    on_load = np.repeat([path.startswith("load") for path in PATHS], [len(each[0]) for each in told])
    order = np.argsort(level, kind="stable")
    level, value, visits, step, on_load = (each[order] for each in (level, value, visits, step, on_load))
    found = []
    begin = 0
    while begin < len(level):
        end = int(np.searchsorted(level, level[begin] + WIDEST_DB, side="right"))
        part = slice(begin, end)
        found.append(_together(level[part], value[part], visits[part], step[part], on_load[part]))
        begin = end
    return tuple(found)


def _told(rows: pl.DataFrame, path: str, meter: MeterFacts) -> tuple[Floats, Floats, Floats, Floats]:
    """Levels, squared slopes, visits that told them and steps over the scatter of noise, of one path."""
    names = (f"level_{path}", f"scatter_{path}", f"scatter_visits_{path}")
    chosen = (
        rows.lazy()
        .filter(pl.col("passes") > 0, pl.col(names[2]) > 0)
        .select(*names, "step_db", "bandwidth_hz")
        .drop_nulls(names)
        .collect()
    )
    level, value, visits = (chosen[name].to_numpy().astype(np.float64) for name in names)
    step_db = chosen["step_db"].fill_null(0.0).to_numpy().astype(np.float64)
    return level, value, visits, step_db / _spread_db(chosen["bandwidth_hz"].to_numpy(), meter)


def _together(level: Floats, value: Floats, visits: Floats, step: Floats, on_load: Floats) -> SlopeAt:
    open_low, strays = False, 1.0
    coarse, telling = float(step.max(initial=0.0)), float(visits.sum())
    squared, se = _mean(value, visits, coarse)
    loaded = on_load.astype(bool)
    if loaded.any() and not loaded.all():
        by_load, of_load = _mean(value[loaded], visits[loaded], coarse)
        chance = MORE_THAN_CHANCE * float(np.sqrt(_of_visit(squared, coarse) / visits[loaded].sum()))
        if squared - by_load > chance:  # a load is silent: what the antenna scatters more comes from outside
            squared, se, telling = by_load, of_load, float(visits[loaded].sum())
    elif not loaded.any() and squared > 1.0:
        open_low, strays = True, _strays(value, visits, coarse)
    slope = float(np.sqrt(max(squared, 0.0)))
    error = float(np.hypot(se, _left_by_rounding(slope, coarse)))
    return SlopeAt(
        float(level[0]),
        float(level[-1]),
        slope,
        error / (2 * max(slope, LEAST_SQUARE_ROOT)),
        int(visits.sum()),
        open_low,
        float(np.sqrt(_of_visit(1.0, coarse) / telling)),
        strays,
    )


def _about_mean(value: Floats, visits: Floats) -> tuple[float, float]:
    """Mean by visits, and the sum of squares about it."""
    mean = float(visits @ value) / float(visits.sum())
    return mean, float(visits @ (value - mean) ** 2)


def _mean(value: Floats, visits: Floats, step: float) -> tuple[float, float]:
    mean, seen = _about_mean(value, visits)
    variance = (seen + PRIOR_ROWS * _of_visit(mean, step)) / (len(value) - 1 + PRIOR_ROWS)
    return mean, float(np.sqrt(variance / float(visits.sum())))


def _strays(value: Floats, visits: Floats, step: float) -> float:
    mean, seen = _about_mean(value, visits)
    return seen / max(len(value) - 1, 1) / _of_visit(mean, step)


def _of_visit(squared: float, step: float) -> float:
    """Variance of one visit's squared slope."""
    return VISIT_VARIANCE * (max(squared, 0.0) + step**2 / 12) ** 2


def _left_by_rounding(slope: float, step: float) -> float:
    """What steps leave in a squared slope where levels stand still; `step` in standard deviations of a reading.

    Sheppard's correction has been made; the next term of the quantisation theorem (Widrow 1956), half of its worst.
    """
    if step <= 0:
        return 0.0
    slope = max(slope, LEAST_SQUARE_ROOT)
    inside = slope / step
    return 0.5 * (step**2 / np.pi**2 + 4 * slope**2) * float(np.exp(-2 * np.pi**2 * inside**2))


def honest_together(slopes: Sequence[SlopeAt]) -> bool:
    """Whether decibels are decibels at each level and at all together, which tell it sooner."""
    if not all(each.honest for each in slopes):
        return False
    weight = np.array([1 / max(each.squared_se, 0.01) ** 2 for each in slopes])
    squared = float(weight @ np.array([each.slope**2 for each in slopes]) / weight.sum())
    error = float(1 / np.sqrt(weight.sum()))
    low, high = slopes[0].low_db, slopes[-1].high_db
    slope = float(np.sqrt(squared))
    visits, open_low = sum(each.visits for each in slopes), any(each.open_low for each in slopes)
    return SlopeAt(low, high, slope, error / (2 * slope), visits, open_low).honest


def maybe_stretched(slopes: Sequence[SlopeAt]) -> bool:
    """Whether the scale may be stretched where antennas scatter more than noise and no load tells why.

    Crackle comes and goes, and what it adds strays from hour to hour; a scale adds the same each time.
    """
    more = [each for each in slopes if each.open_low]
    if all(each.without_crackle.honest for each in more):
        return False
    strays, visits = [each.strays for each in more], [each.visits for each in more]
    return float(np.average(strays, weights=visits)) < CRACKLE_STRAYS


def common_slope(slopes: Sequence[SlopeAt]) -> float | None:
    """The one slope at all levels, where there is one."""
    weight = np.array([1 / max(each.se, 0.01) ** 2 for each in slopes])
    mean = float(weight @ np.array([each.slope for each in slopes]) / weight.sum())
    return mean if all(each.like(mean) for each in slopes) else None


def noise_spread_db(bandwidth_hz: float, meter: MeterFacts) -> float:
    """Standard deviation of readings of pure noise on an honest scale, dB; see `USUAL_AVERAGING_S`."""
    averaging_s = USUAL_AVERAGING_S if meter.averaging_s is None else meter.averaging_s
    return spread_db(shape_of(bandwidth_hz, averaging_s))


def _spread_db(bandwidth_hz: Floats, meter: MeterFacts) -> Floats:
    widths, which = np.unique(bandwidth_hz, return_inverse=True)
    return np.array([noise_spread_db(float(width), meter) for width in widths])[which]
