"""Looks for the nights from which on the noise stood elsewhere, without being told of a fix.

One value a night and band goes to `change_points`; here stand what moved, by how much, and what was noted about then.
"""

from collections.abc import Sequence
from datetime import date, datetime, timedelta

import numpy as np
import polars as pl

from sweeper.analysis.arrays import Floats
from sweeper.analysis.change.levels import on_one_scale
from sweeper.analysis.facts import StationFacts
from sweeper.analysis.results import Change
from sweeper.analysis.statistics.change_points import FEWEST_NIGHTS, breaks
from sweeper.analysis.statistics.estimates import summed

NOTES_WITHIN = timedelta(days=3)


def find_changes(
    levels: pl.DataFrame, facts: StationFacts, notes: Sequence[tuple[datetime, str]] = ()
) -> tuple[Change, ...]:
    """Changes in the rows of `noise_levels`, in order of time. Deterministic: the shuffles are seeded."""
    nights, bands, series = night_series(levels)
    if len(nights) < FEWEST_NIGHTS or not bands:
        return ()
    day = np.array([(night - nights[0]).days for night in nights], dtype=np.float64)
    found = breaks(series, day)
    edges = [0, *(place for place, _ in found), len(nights)]
    changes = []
    for number, (place, chance) in enumerate(found):
        before, after = series[edges[number] : place], series[place : edges[number + 2]]
        shift = after.mean(axis=1).mean() - before.mean(axis=1).mean()
        moved = _moved(before, after)
        whole = [_spread(side.mean(axis=1)) for side in (before, after)]
        changes.append(
            Change(
                night=nights[place],
                change_db=summed(float(shift), whole).interval(1.0 - facts.confidence),
                bands=tuple(band for band, much in zip(bands, moved, strict=True) if much),
                chance=chance,
                notes=_near(nights[place], notes),
            )
        )
    return tuple(changes)


def night_series(levels: pl.DataFrame) -> tuple[list[date], list[str], Floats]:
    """Nights, bands, and levels about each band's mean, shape (nights, bands): nights on which all bands have one."""
    if levels.is_empty():
        return [], [], np.empty((0, 0))
    usual = pl.col("level") - pl.col("level").mean().over("band", "hour_utc")
    wide = (
        on_one_scale(levels)
        .with_columns(usual.alias("level"))
        .group_by("night", "band")
        .agg(pl.col("level").mean())
        .pivot(on="band", index="night", values="level")
        .sort("night")
    )
    often = [name for name in wide.columns[1:] if wide[name].null_count() <= 0.3 * len(wide)]
    wide = wide.select("night", *sorted(often)).drop_nulls()
    return wide["night"].to_list(), sorted(often), wide.drop("night").to_numpy()


def _moved(before: Floats, after: Floats) -> list[bool]:
    """Which bands moved: Welch's t beyond 2.5."""
    error = np.sqrt(before.var(axis=0, ddof=1) / len(before) + after.var(axis=0, ddof=1) / len(after))
    return list(np.abs(after.mean(axis=0) - before.mean(axis=0)) > 2.5 * error)


def _spread(values: Floats) -> tuple[float, float]:
    return float(values.var(ddof=1)) / len(values), len(values) - 1.0


def _near(night: date, notes: Sequence[tuple[datetime, str]]) -> tuple[str, ...]:
    """Notes made within a few days of the change."""
    return tuple(text for moment, text in notes if abs(moment.date() - night) <= NOTES_WITHIN)
