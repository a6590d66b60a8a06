"""The estimate of a change: nights after against nights before, at matching hours, one value a night.

Nights resemble their neighbours and seasons drift: `statistics.dependent_nights` says what a step is worth then.
Numbers only: from rows of noise levels to an estimate, its error and the level its interval is due. No verdicts, no
words.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date

import numpy as np
import polars as pl
from scipy.special import ndtr

from sweeper.analysis.arrays import Floats
from sweeper.analysis.band.nightly import SCALES
from sweeper.analysis.results import ComparedNight
from sweeper.analysis.statistics.dependent_nights import (
    Dependence,
    MixedEstimate,
    NightlySeries,
    coefficient,
    dependence,
)
from sweeper.analysis.statistics.group_sequential import FIRST_LOOK, boundaries, spent_late
from sweeper.analysis.thresholds import ENOUGH_OF_A_KIND

NEAREST = 90
"""Nights on each side that are compared: those further away say more of the season than of the fix."""
TREND_TOLD = 0.65
"""Chance of a trend from which on it is told, and taken out as if it were there (beforehand it is one half)."""
LEANING = 0.4
"""Two-sided level at which nights are said to lead the way of the change already; large, since it is only said."""
CONTROL_STEADY_DB = 0.7
"""Standard deviation of what may happen to a control at the very time of the fix and nowhere else."""
CONTROL_STEPPED = 0.2
"""Two-sided level at which a control counts as changed itself; large, since a control should show nothing."""


@dataclass(frozen=True, slots=True)
class MatchedNights:
    """One value a night at hours that both sides have.

    `series` (None without any) has the columns one, after and, where kinds of day were matched, weekend. `before` and
    `after` count nights at matching hours, or all that there are where none match.
    """

    series: NightlySeries | None
    before: int
    after: int
    kinds_matched: bool
    controlled: bool
    external: bool
    nights: tuple[ComparedNight, ...] = ()


@dataclass(frozen=True, slots=True)
class Control:
    """What moved from night to night where the fix cannot reach. `step`: what it did itself at the fix."""

    series: NightlySeries
    step: MixedEstimate

    @property
    def stepped(self) -> bool:
        """Whether it changed at the fix itself, so that it controls nothing."""
        return self.step.level_beyond(0.0) < CONTROL_STEPPED


@dataclass(frozen=True, slots=True)
class BeforeAfter:
    """The estimate of a change with the nights behind it, and the two-sided level that its interval is due.

    `trend_db`: the noise's trend, dB a night, where it moved already before the fix. `control_moved`: it is the
    control that moved, and this band did not follow.
    """

    estimate: MixedEstimate | None
    matched: MatchedNights
    level: float
    trend_db: float | None = None
    control_moved: bool = False
    leaning_db: float | None = None
    """The slope within the two sides, dB a night, where it leads the way of the change and may be part of it."""


def matched_nights(rows: pl.DataFrame, first: date, keys: tuple[str, ...]) -> MatchedNights:
    """After and before at matching `keys`, bandwidths and scales.

    Where there are enough of both, weekends and weekdays may differ, as a column of the series: taken out beforehand,
    they would take with them a part of what neighbouring nights share, and the nights would look independent.
    """
    keys = (*keys, *SCALES)
    rows = rows.with_columns((pl.col("night") >= first).cast(pl.Float64).alias("after"))
    nights_before, nights_after = (
        rows.filter(pl.col("after") == side)["night"].n_unique() for side in (0.0, 1.0)
    )
    rows = _on_both_sides(rows, keys)
    kinds_matched = _enough_of_each_kind(rows)
    if rows.is_empty():
        return MatchedNights(None, nights_before, nights_after, kinds_matched, False, False)
    centred = rows.with_columns(
        (pl.col("level") - pl.col("level").mean().over(keys)).alias("y"),
        (pl.col("after") - pl.col("after").mean().over(keys)).alias("x"),
    )
    x, y = centred["x"].to_numpy(), centred["y"].to_numpy()
    slope = float(x @ y / (x @ x))
    weighted = _weighted(
        centred.with_columns((pl.col("y") - slope * (pl.col("x") - pl.col("after"))).alias("left")), slope
    )
    of_night = (
        weighted.group_by("night", maintain_order=True)
        .agg(
            (pl.col("left") * pl.col("weight")).sum() / pl.col("weight").sum(),
            pl.col("after").first(),
            pl.col("weekend").first().cast(pl.Float64),
        )
        .sort("night")
    )
    of_night = pl.concat(
        [
            of_night.filter(pl.col("after") == 0.0).tail(NEAREST),
            of_night.filter(pl.col("after") == 1.0).head(NEAREST),
        ]
    )
    after = of_night["after"].to_numpy()
    value = of_night["left"].to_numpy()
    day = (of_night["night"] - first).dt.total_days().to_numpy().astype(np.float64)
    zero = float(value[after == 0.0].mean())
    weekend = of_night["weekend"].to_numpy()
    kinds = [weekend - weekend.mean()] if kinds_matched else []
    return MatchedNights(
        NightlySeries(day, value, np.column_stack([np.ones(len(day)), after, *kinds])),
        int((after == 0.0).sum()),
        int((after == 1.0).sum()),
        kinds_matched,
        controlled=bool(rows["controlled"].all()),
        external=bool(rows["external"].all()),
        nights=tuple(
            ComparedNight(night, later > 0, one - zero)
            for night, one, later in of_night.select("night", "left", "after").iter_rows()
        ),
    )


def shared_dependence(each: Sequence[MatchedNights]) -> Dependence:
    """How alike neighbouring nights are, from all bands together."""
    return dependence([one.series for one in each if one.series is not None])


def control_of(matched: MatchedNights, alike: Dependence) -> Control | None:
    """The control that these nights make, None where they are too few."""
    step = _step(matched, alike)
    return None if step is None or matched.series is None else Control(matched.series, step)


def before_after(
    matched: MatchedNights, alike: Dependence, alpha: float, control: Control | None = None
) -> BeforeAfter:
    """After minus before, dB, with what the control tells of each night taken out by its own weight."""
    beside, moved = (None, 0.0) if control is None else _beside(matched, control)
    used = matched if beside is None else beside
    level = _level(used.before, used.after, alpha)
    if used.series is None:
        return BeforeAfter(None, used, level)
    trend_db = None
    if alike.trend_chance > TREND_TOLD:
        day = used.series.day
        used = _with_column(used, day - day.mean())
        trend = coefficient(used.series, alike, -1) if used.series is not None else None
        trend_db = None if trend is None else trend.value
    estimate = _step(used, alike)
    if estimate is None or used.series is None:
        return BeforeAfter(None, used, level)
    control_moved = False
    if control is not None and beside is not None and matched.series is not None:
        weight = coefficient(used.series, alike, matched.series.design.shape[1])
        follows = 0.0 if weight is None else weight.value
        unseen = 1.0 / (1.0 / CONTROL_STEADY_DB**2 + 1.0 / control.step.se**2)
        estimate = estimate.widened(follows**2 * unseen)
        control_moved = abs(follows * moved) > abs(_plain_step(matched))
    leaning_db = _leaning(used.series, alike, estimate.value) if trend_db is None else None
    return BeforeAfter(estimate, used, level, trend_db, control_moved, leaning_db)


def _leaning(series: NightlySeries, alike: Dependence, change_db: float) -> float | None:
    """The slope of nights within both sides, dB a night, if it goes the way of the change and is not mere chance."""
    design = np.column_stack([series.design, series.day - series.day.mean()])
    slope = coefficient(NightlySeries(series.day, series.value, design), alike.without_trend(), -1)
    if slope is None or slope.value * change_db <= 0.0 or slope.level_beyond(0.0) > LEANING:
        return None
    return slope.value


def _step(matched: MatchedNights, alike: Dependence) -> MixedEstimate | None:
    if matched.series is None or min(matched.before, matched.after) < FIRST_LOOK:
        return None
    return coefficient(matched.series, alike, 1)


def _plain_step(matched: MatchedNights) -> float:
    """Mean after minus mean before, dB."""
    if matched.series is None:
        return 0.0
    after = matched.series.design[:, 1] > 0.0
    return float(matched.series.value[after].mean() - matched.series.value[~after].mean())


def _beside(matched: MatchedNights, control: Control) -> tuple[MatchedNights | None, float]:
    """The nights that the control has too, with its values as a column, and its own step, dB; None where too few."""
    series = matched.series
    if series is None:
        return None, 0.0
    common, here, there = np.intersect1d(series.day, control.series.day, return_indices=True)
    if not len(common):
        return None, 0.0
    after = series.design[here, 1] > 0.0
    values = control.series.value[there]
    if min(after.sum(), (~after).sum()) < FIRST_LOOK:
        return None, 0.0
    kept = replace(
        matched,
        series=NightlySeries(common, series.value[here], series.design[here]),
        before=int((~after).sum()),
        after=int(after.sum()),
        controlled=True,
    )
    return _with_column(kept, values - values.mean()), float(values[after].mean() - values[~after].mean())


def _with_column(matched: MatchedNights, column: Floats) -> MatchedNights:
    if matched.series is None:
        return matched
    design = np.column_stack([matched.series.design, column])
    return replace(matched, series=NightlySeries(matched.series.day, matched.series.value, design))


def _on_both_sides(rows: pl.DataFrame, keys: tuple[str, ...]) -> pl.DataFrame:
    return rows.filter((pl.col("after").min().over(keys) == 0.0) & (pl.col("after").max().over(keys) == 1.0))


def _weighted(rows: pl.DataFrame, slope: float) -> pl.DataFrame:
    """Rows with `weight`: bands whose noise wanders much from night to night count less."""
    if "band" not in rows.columns or rows["band"].n_unique() == 1:
        return rows.with_columns(pl.lit(1.0).alias("weight"))
    scatter = (pl.col("left") - slope * pl.col("after")).var().over("band")
    return rows.with_columns((1.0 / (scatter + 0.25)).alias("weight"))


def _level(before: int, after: int, alpha: float) -> float:
    """Two-sided level due after so many nights when somebody looks every morning after the fix."""
    if min(before, after) < FIRST_LOOK:
        return alpha / 2.0
    looks = range(FIRST_LOOK, after + 1)
    information = [1.0 / (1.0 / before + 1.0 / nights) for nights in looks]
    edge = boundaries(information, [spent_late(nights, alpha) for nights in looks])[-1]
    return float(2.0 * ndtr(-edge))


def _enough_of_each_kind(rows: pl.DataFrame) -> bool:
    counts = rows.select("night", "after", "weekend").unique().group_by("after", "weekend").agg(pl.len())
    return len(counts) == 4 and min(counts["len"].to_list()) >= ENOUGH_OF_A_KIND
