"""Places at which the mean of a series moved: binary segmentation, believed only where chance seldom does as well.

Chance is that of nights without a break which come in spells as these do, so that no place is told more often than
`FALSE_ALARM`. A slow season reads as a change all the same, which its size by month will show. Numbers only.
"""

import numpy as np

from sweeper.analysis.arrays import Floats
from sweeper.analysis.statistics.dependent_nights import NightlySeries, dependence, simulated

FALSE_ALARM = 0.05
"""How often a series without any change yields a place."""
FEWEST_NIGHTS = 8
"""Values of a series before it is looked into: of fewer, chance cannot tell one order from another."""
SHORTEST = 3
"""Values on each side of a break."""
DRAWS = 999
"""So many that the least chance, one in a thousand, lies well below `FALSE_ALARM`."""
STANDS_OUT = 0.5
"""Share of a part's squares that a break explains and spells seldom do: such a one is no spell."""


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
    return SHORTEST + int(explained(series).argmax())


def explained(series: Floats) -> Floats:
    """Squares that a break at each place from `SHORTEST` on would explain, summed over channels (axis 1).

    `series`: shape (nights, channels) or (nights, channels, draws).
    """
    count = len(series)
    place = np.arange(SHORTEST, count - SHORTEST + 1)
    total = np.cumsum(series - series.mean(axis=0), axis=0)[place - 1]
    squares = (total**2).sum(axis=1)
    gained: Floats = (squares.T * (count / (place * (count - place)))).T
    return gained
