"""Looks for the nights from which on the noise stood elsewhere, without being told of a fix.

Binary segmentation on one value a night and band; a change counts only when nights without one, which come in
spells as these do, seldom show one as clear, so that no date is told more often than `FALSE_ALARM`. A slow season
reads as a change all the same, which its size by month will show.
"""

from collections.abc import Sequence
from datetime import date, datetime, timedelta

import numpy as np
import polars as pl

from sweeper.analysis.arrays import Floats
from sweeper.analysis.change.levels import on_one_scale
from sweeper.analysis.facts import StationFacts
from sweeper.analysis.results import Change
from sweeper.analysis.statistics.dependent_nights import NightlySeries, dependence, simulated
from sweeper.analysis.statistics.estimates import summed

FALSE_ALARM = 0.05
"""How often a series of nights without any change yields a date."""
FEWEST_NIGHTS = 8
SHORTEST = 3
DRAWS = 999
STANDS_OUT = 0.5
"""Share of a part's squares that a break explains and spells seldom do: such a one is no spell."""
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


def breaks(series: Floats, day: Floats | None = None, chance: float = FALSE_ALARM) -> list[tuple[int, float]]:
    """Places (first row of the new level) with the chance of each, by binary segmentation until chance does as well.

    `series`: shape (nights, channels), each channel weighted by its scatter from night to night. `day`: whole days,
    shape (nights,); None: one after the other.
    """
    scatter = np.median(np.abs(np.diff(series, axis=0)), axis=0) / (0.6745 * np.sqrt(2.0))
    weighted = series / np.maximum(scatter, 1e-3)
    days = np.arange(len(series), dtype=np.float64) if day is None else day
    return sorted(_split(weighted, days, 0, chance, np.random.default_rng(20_260_101)))


def _split(
    series: Floats, day: Floats, offset: int, chance: float, rng: np.random.Generator
) -> list[tuple[int, float]]:
    if len(series) < max(FEWEST_NIGHTS, 2 * SHORTEST):
        return []
    place = best_break(series)
    clear = float(explained(series)[place - SHORTEST])
    unbroken = _unbroken(series, day, place, rng)
    p = (1 + int((explained(unbroken).max(axis=0) >= clear).sum())) / (1 + DRAWS)
    if p > chance:
        return []
    return [
        (offset + place, p),
        *_split(series[:place], day[:place], offset, chance, rng),
        *_split(series[place:], day[place:], offset + place, chance, rng),
    ]


def _unbroken(series: Floats, day: Floats, place: int, rng: np.random.Generator) -> Floats:
    """Series without a break, otherwise like this one: spells, scatter, bands that move together.

    What is alike is read beside the break at `place` and others that stand out, which would look like spells.
    Shape (nights, channels, draws).
    """
    count = len(series)
    edges = [place, *_next(series[:place], 0), *_next(series[place:], place)]
    design = np.column_stack([np.ones(count), *(np.arange(count) >= edge for edge in edges)])
    alike = dependence([NightlySeries(day, channel, design) for channel in series.T]).without_trend()
    rest = series - design @ np.linalg.lstsq(design, series, rcond=None)[0]
    covariance = rest.T @ rest / max(count - design.shape[1], 1) + 1e-9 * np.eye(series.shape[1])
    drawn = simulated(day, alike, DRAWS * series.shape[1], rng).reshape(DRAWS, series.shape[1], count)
    found: Floats = np.einsum("cd,sdn->ncs", np.linalg.cholesky(covariance), drawn)
    return found


def _next(part: Floats, offset: int) -> list[int]:
    """The next break within a part, where it stands out by itself."""
    if len(part) < 2 * FEWEST_NIGHTS:
        return []
    place = best_break(part)
    whole = float(((part - part.mean(axis=0)) ** 2).sum())
    return [offset + place] if float(explained(part)[place - SHORTEST]) > STANDS_OUT * whole else []


def best_break(series: Floats) -> int:
    """The one break that leaves least squares, each side at least `SHORTEST` long."""
    import ruptures

    search = ruptures.Binseg(model="l2", min_size=SHORTEST, jump=1).fit(series)
    return int(search.predict(n_bkps=1)[0])


def explained(series: Floats) -> Floats:
    """Squares that a break at each place from `SHORTEST` on would explain, summed over channels (axis 1).

    `series`: shape (nights, channels) or (nights, channels, shuffles).
    """
    count = len(series)
    place = np.arange(SHORTEST, count - SHORTEST + 1)
    total = np.cumsum(series - series.mean(axis=0), axis=0)[place - 1]
    squares = (total**2).sum(axis=1)
    gained: Floats = (squares.T * (count / (place * (count - place)))).T
    return gained


def _moved(before: Floats, after: Floats) -> list[bool]:
    """Which bands moved: Welch's t beyond 2.5."""
    error = np.sqrt(before.var(axis=0, ddof=1) / len(before) + after.var(axis=0, ddof=1) / len(after))
    return list(np.abs(after.mean(axis=0) - before.mean(axis=0)) > 2.5 * error)


def _spread(values: Floats) -> tuple[float, float]:
    return float(values.var(ddof=1)) / len(values), len(values) - 1.0


def _near(night: date, notes: Sequence[tuple[datetime, str]]) -> tuple[str, ...]:
    """Notes made within a few days of the change."""
    return tuple(text for moment, text in notes if abs(moment.date() - night) <= NOTES_WITHIN)
