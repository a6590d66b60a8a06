"""Local or sky: how much of the noise's coming and going follows the household, and how much the sky.

Noise levels are taken apart by hour of day, kind of day, month and night. The sky knows no weekend; noise that does is
made by people. What follows the hour, the month or single nights may be either, and is said to be: a heat pump has its
season, and a source on one band its good and bad nights. Shares carry intervals from nights drawn
again (bootstrap), and count only what shuffled nights would not show as well.
"""

from dataclasses import dataclass

import numpy as np
import polars as pl
from numpy.typing import NDArray

from sweeper.analysis import evidence
from sweeper.analysis.arrays import Floats
from sweeper.analysis.facts import StationFacts

FEWEST_NIGHTS = 7
DRAWS = 100
ALL_BANDS = "all bands"
CAUSES = {
    "weekend and hour": "local",
    "hour of day": "either",
    "season": "either",
    "nights, all bands alike": "either",
    "nights, each band by itself": "either",
    "rest": "either",
}


@dataclass(frozen=True, slots=True)
class Parts:
    """Variance of the level by part, dB², each of shape (bands,)."""

    by_name: dict[str, Floats]

    @property
    def total(self) -> Floats:
        whole: Floats = np.sum(list(self.by_name.values()), axis=0)
        return np.maximum(whole, 1e-9)


def local_or_sky(levels: pl.DataFrame, facts: StationFacts) -> tuple[pl.DataFrame, str]:
    """Rows of `evidence.PARTS` from rows of `noise_levels`, and what they come to in a sentence or two."""
    cube, weekend, month, bands = _cube(levels)
    if len(cube) < FEWEST_NIGHTS:
        return evidence.empty(evidence.PARTS), (
            f"Too few nights to tell local noise from the sky's: at least {FEWEST_NIGHTS} with a weekend are needed."
        )
    rng = np.random.default_rng(20_260_101)
    found = taken_apart(cube, weekend, month)
    draws = []
    for _ in range(DRAWS):
        again = _draw(rng, weekend)
        draws.append(taken_apart(cube[again], weekend[again], month[again]))
    weekend_chance = _chance(cube, weekend, month, rng)
    tail = 50.0 * (1.0 - facts.confidence)
    rows: list[dict[str, object]] = []
    nothing = np.zeros(len(bands))
    views = [(ALL_BANDS, slice(None)), *((band, slice(n, n + 1)) for n, band in enumerate(bands))]
    for band, places in views:

        def view(parts: Floats, places: slice = places) -> float:
            return float(parts[places].sum())

        for name in found.by_name:
            share = view(found.by_name[name]) / view(found.total)
            spread = [view(draw.by_name.get(name, nothing)) / view(draw.total) for draw in draws]
            low, high = np.percentile(spread, [tail, 100.0 - tail])
            size = view(found.by_name[name]) / (len(bands) if band == ALL_BANDS else 1)
            rows.append(
                {
                    "band": band,
                    "part": name,
                    "share": share,
                    "low": min(float(low), share),
                    "high": max(float(high), share),
                    "size_db": float(np.sqrt(max(size, 0.0))),
                    "cause": CAUSES[name],
                }
            )
    table = pl.DataFrame(rows, schema=dict(evidence.PARTS), orient="row")
    return table, _sentence(rows, weekend, month, weekend_chance, 1.0 - facts.confidence)


def taken_apart(cube: Floats, weekend: NDArray[np.bool_], month: NDArray[np.int64]) -> Parts:
    """Variances by part of `cube`, shape (nights, hours, bands), NaN where there is nothing.

    Each part is what its means explain of what the parts before it left, less what chance alone lets means explain.
    """
    left = cube - np.nanmean(cube, axis=(0, 1))
    by_hour = np.nanmean(left, axis=0)
    left = left - by_hour
    night = np.nanmean(left, axis=1)
    parts = {"hour of day": _less_chance(np.nanvar(by_hour, axis=0), left, len(cube))}
    both = weekend.any() and not weekend.all() and min(weekend.sum(), (~weekend).sum()) >= 2
    kind = np.zeros(cube.shape[1:])
    if both:
        kind = _mean(left[weekend]) - _mean(left[~weekend])
        share = float(weekend.mean())
        explained = share * (1 - share) * np.nanmean(kind**2, axis=0)
        chance = np.nanmean(np.nanvar(left, axis=0), axis=0) / len(cube)
        parts["weekend and hour"] = np.maximum(explained - chance, 0.0)
        left = left - np.where(weekend[:, None, None], (1 - share) * kind, -share * kind)
        night = _mean(left, axis=1)
    labels = np.unique(month)
    if len(labels) >= 2:
        by_month = np.array([np.nanmean(night[month == label], axis=0) for label in labels])
        weight = np.array([(month == label).mean() for label in labels])
        explained = (weight[:, None] * (by_month - weight @ by_month) ** 2).sum(axis=0)
        chance = np.nanvar(night, axis=0) * (len(labels) - 1) / len(cube)
        parts["season"] = np.maximum(explained - chance, 0.0)
        night = night - by_month[np.searchsorted(labels, month)]
    common = np.nanmean(night, axis=1)
    shared = float(np.var(common)) if cube.shape[2] > 1 else 0.0
    own = np.nanvar(night, axis=0)
    if cube.shape[2] > 1:
        bands = cube.shape[2]
        shared = max((bands * shared - float(own.mean())) / (bands - 1), 0.0)
        parts["nights, all bands alike"] = np.minimum(np.full(bands, shared), own)
        own = own - parts["nights, all bands alike"]
    parts["nights, each band by itself"] = own
    within = left - _mean(left, axis=1)[:, None, :]
    parts["rest"] = np.nanvar(within, axis=(0, 1))
    return Parts(parts)


def _less_chance(explained: Floats, left: Floats, nights: int) -> Floats:
    within = left - _mean(left, axis=1)[:, None, :]
    chance: Floats = np.maximum(explained - np.nanvar(within, axis=(0, 1)) / nights, 0.0)
    return chance


def _mean(values: Floats, axis: int = 0) -> Floats:
    """Mean without NaN, 0 where there is nothing."""
    there = np.isfinite(values)
    mean: Floats = np.where(there, values, 0.0).sum(axis=axis) / np.maximum(there.sum(axis=axis), 1)
    return mean


def _draw(rng: np.random.Generator, weekend: NDArray[np.bool_]) -> NDArray[np.int64]:
    """Nights drawn again with replacement, as many of each kind of day as there were."""
    kinds = [np.flatnonzero(weekend), np.flatnonzero(~weekend)]
    return np.concatenate([rng.choice(kind, len(kind)) for kind in kinds if len(kind)]).astype(np.int64)


def _chance(
    cube: Floats, weekend: NDArray[np.bool_], month: NDArray[np.int64], rng: np.random.Generator
) -> float:
    """How often shuffled kinds of day explain as much as the true ones."""
    name = "weekend and hour"
    seen = taken_apart(cube, weekend, month).by_name.get(name)
    if seen is None:
        return 1.0
    shuffled = [taken_apart(cube, rng.permutation(weekend), month).by_name[name].sum() for _ in range(DRAWS)]
    return float((1 + np.sum(np.array(shuffled) >= seen.sum())) / (1 + DRAWS))


def _cube(levels: pl.DataFrame) -> tuple[Floats, NDArray[np.bool_], NDArray[np.int64], list[str]]:
    """Levels as (nights, hours, bands): bands and hours that most nights have, nights that have most of those."""
    nights = levels["night"].n_unique()
    often = levels.filter(pl.len().over("band", "hour_utc") >= 0.6 * nights) if nights else levels
    if often.is_empty():
        return np.empty((0, 0, 0)), np.empty(0, dtype=bool), np.empty(0, dtype=np.int64), []
    whole = pl.len().over("night") >= 0.6 * pl.struct("band", "hour_utc").n_unique()
    often = often.filter(whole)
    axes = [sorted(often[name].unique().to_list()) for name in ("night", "hour_utc", "band")]
    places = [{value: place for place, value in enumerate(axis)} for axis in axes]
    cube = np.full([len(axis) for axis in axes], np.nan)
    for night, hour, band, level in often.select("night", "hour_utc", "band", "level").iter_rows():
        cube[places[0][night], places[1][hour], places[2][band]] = level
    keep = np.isfinite(cube).any(axis=(1, 2)) & np.isfinite(cube).any(axis=1).all(axis=1)
    dates = [date for date, kept in zip(axes[0], keep, strict=True) if kept]
    weekend = np.array([date.isoweekday() >= 6 for date in dates], dtype=bool)
    month = np.array([date.year * 12 + date.month for date in dates], dtype=np.int64)
    return cube[keep], weekend, month, axes[2]


def _sentence(
    rows: list[dict[str, object]],
    weekend: NDArray[np.bool_],
    month: NDArray[np.int64],
    weekend_chance: float,
    alpha: float,
) -> str:
    whole = {str(row["part"]): row for row in rows if row["band"] == ALL_BANDS}

    def told(name: str) -> str:
        row = whole[name]
        share, low, high = (100.0 * _number(row[name]) for name in ("share", "low", "high"))
        return f"{share:.0f} % ({low:.0f} to {high:.0f})"

    said = []
    if "weekend and hour" not in whole:
        said.append("No weekend to set against working days yet, so the household's part cannot be told.")
    elif weekend_chance <= alpha:
        said.append(
            f"Of all the noise's coming and going {told('weekend and hour')} follows weekends and their hours, "
            "which the sky knows nothing of: that part is made by people, at home or near it."
        )
    else:
        said.append(
            f"Nothing shows that noise follows the weekend: {told('weekend and hour')} does, which chance explains."
        )
    said.append(f"{told('hour of day')} follows the hour of day, which may be habit or sky")
    if "season" in whole:
        said[-1] += f"; {told('season')} follows the month"
    said[-1] += "."
    return " ".join(said)


def _number(value: object) -> float:
    return value if isinstance(value, float) else float("nan")
