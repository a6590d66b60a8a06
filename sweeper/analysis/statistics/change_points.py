"""Places at which the mean of a series moved: binary segmentation, believed only where shuffling seldom does as well.

A series without any change yields a place at most as often as stated (`FALSE_ALARM`). Shuffling takes the values for
exchangeable: a slow season reads as a change, which its size by month will show. Numbers only.
"""

import numpy as np

from sweeper.analysis.arrays import Floats

FALSE_ALARM = 0.05
"""How often a series without any change yields a place."""
FEWEST_NIGHTS = 8
"""Values of a series before it is looked into: of fewer, shuffling cannot tell one order from another."""
SHORTEST = 3
"""Values on each side of a break."""
SHUFFLES = 999
"""So many that the least chance, one in a thousand, lies well below `FALSE_ALARM`."""


def breaks(series: Floats, chance: float = FALSE_ALARM) -> list[tuple[int, float]]:
    """Places (first row of the new level) with the chance of each, by binary segmentation until shuffles do as well.

    `series`: shape (nights, channels), each channel weighted by its scatter from night to night.
    """
    scatter = np.median(np.abs(np.diff(series, axis=0)), axis=0) / (0.6745 * np.sqrt(2.0))
    weighted = series / np.maximum(scatter, 1e-3)
    return sorted(_split(weighted, 0, chance, np.random.default_rng(20_260_101)))


def _split(series: Floats, offset: int, chance: float, rng: np.random.Generator) -> list[tuple[int, float]]:
    if len(series) < max(FEWEST_NIGHTS, 2 * SHORTEST):
        return []
    place = best_break(series)
    clear = float(explained(series)[place - SHORTEST])
    order = rng.permuted(np.tile(np.arange(len(series)), (SHUFFLES, 1)), axis=1)
    shuffled = explained(np.moveaxis(series[order], 0, -1)).max(axis=0)
    p = (1 + int((shuffled >= clear).sum())) / (1 + SHUFFLES)
    if p > chance:
        return []
    return [
        (offset + place, p),
        *_split(series[:place], offset, chance, rng),
        *_split(series[place:], offset + place, chance, rng),
    ]


def best_break(series: Floats) -> int:
    """The one break that leaves least squares, each side at least `SHORTEST` long."""
    return SHORTEST + int(explained(series).argmax())


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
