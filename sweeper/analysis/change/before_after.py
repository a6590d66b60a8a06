"""The estimate of a change: nights after against nights before, at matching hours, one value a night.

Numbers only: from rows of noise levels to an estimate, its error and the level its interval is due. No verdicts, no
words.
"""

from dataclasses import dataclass
from datetime import date

import numpy as np
import polars as pl
from scipy.special import ndtr

from sweeper.analysis.arrays import Floats
from sweeper.analysis.band.nightly import SCALES
from sweeper.analysis.results import ComparedNight
from sweeper.analysis.statistics.estimates import Estimate
from sweeper.analysis.statistics.group_sequential import FIRST_LOOK, boundaries, spent_late
from sweeper.analysis.thresholds import ENOUGH_OF_A_KIND


@dataclass(frozen=True, slots=True)
class BeforeAfter:
    """The estimate of a change with the nights behind it, and the two-sided level that its interval is due.

    `before` and `after` count nights at matching hours; without an estimate, all that there are.
    """

    estimate: Estimate | None
    before: int
    after: int
    level: float
    kinds_matched: bool
    controlled: bool
    external: bool
    nights: tuple[ComparedNight, ...] = ()


def before_after(rows: pl.DataFrame, first: date, keys: tuple[str, ...], alpha: float) -> BeforeAfter:
    """After minus before at matching `keys`, bandwidths and scales, from one value a night."""
    keys = (*keys, *SCALES)
    rows = rows.with_columns((pl.col("night") >= first).cast(pl.Float64).alias("after"))
    nights_before, nights_after = (
        rows.filter(pl.col("after") == side)["night"].n_unique() for side in (0.0, 1.0)
    )
    rows = _on_both_sides(rows, keys)
    kinds_matched = _enough_of_each_kind(rows)
    if kinds_matched:
        keys = (*keys, "weekend")
        rows = _on_both_sides(rows, keys)
    centred = rows.with_columns(
        (pl.col("level") - pl.col("level").mean().over(keys)).alias("y"),
        (pl.col("after") - pl.col("after").mean().over(keys)).alias("x"),
    )
    x, y = centred["x"].to_numpy(), centred["y"].to_numpy()
    controlled = not rows.is_empty() and bool(rows["controlled"].all())
    external = not rows.is_empty() and bool(rows["external"].all())
    if rows.is_empty():
        return BeforeAfter(None, nights_before, nights_after, alpha, kinds_matched, controlled, external)
    slope = float(x @ y / (x @ x))
    weighted = _weighted(
        centred.with_columns((pl.col("y") - slope * (pl.col("x") - pl.col("after"))).alias("left")), slope
    )
    of_night = weighted.group_by("night", maintain_order=True).agg(
        (pl.col("left") * pl.col("weight")).sum() / pl.col("weight").sum(), pl.col("after").first()
    )
    before = of_night.filter(pl.col("after") == 0.0)["left"].to_numpy()
    after = of_night.filter(pl.col("after") == 1.0)["left"].to_numpy()
    level = _level(len(before), len(after), alpha)
    estimate = None
    if min(len(before), len(after)) >= FIRST_LOOK:
        estimate = _two_samples(before, after, spare=1 if kinds_matched else 0)
    zero = float(before.mean()) if len(before) else 0.0
    nights = tuple(
        ComparedNight(night, later > 0, value - zero)
        for night, value, later in of_night.sort("night").select("night", "left", "after").iter_rows()
    )
    if estimate is not None:
        nights_before, nights_after = len(before), len(after)
    return BeforeAfter(
        estimate, nights_before, nights_after, level, kinds_matched, controlled, external, nights
    )


def _on_both_sides(rows: pl.DataFrame, keys: tuple[str, ...]) -> pl.DataFrame:
    return rows.filter((pl.col("after").min().over(keys) == 0.0) & (pl.col("after").max().over(keys) == 1.0))


def _weighted(rows: pl.DataFrame, slope: float) -> pl.DataFrame:
    """Rows with `weight`: bands whose noise wanders much from night to night count less."""
    if "band" not in rows.columns or rows["band"].n_unique() == 1:
        return rows.with_columns(pl.lit(1.0).alias("weight"))
    scatter = (pl.col("left") - slope * pl.col("after")).var().over("band")
    return rows.with_columns((1.0 / (scatter.fill_null(1.0) + 0.25)).alias("weight"))


def _two_samples(before: Floats, after: Floats, spare: int) -> Estimate:
    """Difference of means with Welch's error; `spare` degrees of freedom went to the kinds of day."""
    parts = (before.var(ddof=1) / len(before), after.var(ddof=1) / len(after))
    variance = float(sum(parts))
    value = float(after.mean() - before.mean())
    if variance <= 0:
        return Estimate(value, 0.01, 1.0)
    dof = variance**2 / (parts[0] ** 2 / (len(before) - 1) + parts[1] ** 2 / (len(after) - 1))
    return Estimate(value, float(np.sqrt(variance)), max(float(dof) - spare, 1.0))


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
