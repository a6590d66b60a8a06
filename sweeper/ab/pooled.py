"""The change that is common to all signals of a tuning, from what stood on both sides of each edge.

With s (stage) and b (bypass) on the two sides of an edge, u = (s/g − b)/(s/g + b) is bounded by ±1 and, whatever the
signal did meanwhile, as often positive as negative at the true g, as long as it does not know of the switch.
g is where Σ ω w u = 0 over all signals and edges. w depends on s/g + b alone, which favours neither side; ω, one number
a signal, on how far its u scatter (even in u, so it favours neither side either): slope ÷ variance, the best weight of
an estimating equation (Godambe 1960). So signals that are not steady (speech, keying, data) enter in the same way and
bring the larger error that they deserve; and each signal is carried to the edge in the way that foretells it best.
Bounded scores make g robust to a signal that leaves.

Variance: the scores of an edge, all signals together, are summed over blocks of neighbouring edges; blocks are as long
as they have to be to be independent (`block_length`). Bias: of the order of the relative variance of noise in s/g + b,
which w keeps under 1 %. Numbers only.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sweeper.ab.intervals import (
    FEWEST_BLOCKS,
    FIRST_SHOWN,
    REACH,
    falls_through,
    solved_interval,
    t_limit,
    watched_limit,
)
from sweeper.analysis import Interval

Floats = NDArray[np.float64]

DB = 10.0 / np.log(10.0)
FEWEST_SPREADS = 5.0
"""A sum s/g + b counts from this many of its standard deviations on."""
BLOCKS = 24
"""No more blocks than this for who reads once: with more, t gains nothing and dependence costs. Who watches pays for
every block that is missing, as long as the change has to be excluded at all times together."""
LIKE_OTHERS = 16.0
"""A signal's variance is held towards that of all as if so many edges had shown the latter: weights that follow what
few edges show by chance would make the interval too narrow."""


@dataclass(frozen=True, eq=False)
class Both:
    """Both sides of every edge: S/N in a bin (or power in units of a bin's noise), linear.

    `stage`, `bypass`: shape (edges, ways, signals); `spread`: standard deviation of one side without a signal, shape
    (ways, signals). `way`: the one that each signal is carried to the edge by, shape (signals,).
    """

    stage: Floats
    bypass: Floats
    spread: Floats
    way: NDArray[np.int64]

    def of(self, signals: NDArray[np.bool_] | list[int]) -> "Both":
        """The same of some signals."""
        return Both(
            self.stage[:, :, signals], self.bypass[:, :, signals], self.spread[:, signals], self.way[signals]
        )


@dataclass(frozen=True, eq=False)
class Pooled:
    """ln g and what it was found with: sides in the way chosen for each signal, weights ω w, shape (edges, signals)."""

    x: float
    stage: Floats
    bypass: Floats
    weight: Floats

    def scores(self, x: float) -> Floats:
        """Σ ω w u of each edge at ln g = x, shape (edges,)."""
        found: Floats = _scores(self.stage, self.bypass, x, self.weight).sum(axis=1)
        return found


def _weights(stage: Floats, bypass: Floats, x: float, spread: Floats) -> Floats:
    total = stage * np.exp(-x) + bypass
    least = FEWEST_SPREADS * spread * np.sqrt(1.0 + np.exp(-2.0 * x))
    over = np.maximum(total - least, 0.0) ** 2
    found: Floats = over / (over + (2.0 * least) ** 2)
    return found


def _scores(stage: Floats, bypass: Floats, x: float, weight: Floats) -> Floats:
    scaled = stage * np.exp(-x)
    total = np.maximum(scaled + bypass, 1e-30)
    found: Floats = weight * np.clip((scaled - bypass) / total, -1.0, 1.0)
    return found


def pool(both: Both) -> Pooled | None:
    """The common change; None where no signal counts at `FEWEST_BLOCKS` edges, or none up to ±40 dB fits."""
    signals = both.stage.shape[2]
    if signals == 0:
        return None
    stage, bypass, spread = _carried(both)
    x, found = 0.0, None
    for _ in range(12):
        w = _weights(stage, bypass, x, spread)
        u = _scores(stage, bypass, x, np.ones_like(w))
        square = (w**2 * u**2).sum(axis=0)
        slope = (w * (1.0 - u**2)).sum(axis=0) / 2.0
        count = w.sum(axis=0)
        # a signal that stands out at few edges shows its own variance badly: held towards that of all
        typical = float(square.sum() / max(float((w**2).sum()), 1e-30))
        square = square + LIKE_OTHERS * typical * np.minimum(count, 1.0)
        weight = w * np.where(count > 0.0, slope / np.maximum(square, 1e-12), 0.0)
        if int((weight.sum(axis=1) > 0.0).sum()) < FEWEST_BLOCKS:
            return None
        weight = weight / weight.max()
        found = Pooled(x, stage, bypass, weight)
        at = falls_through(lambda to, pooled=found: float(pooled.scores(to).sum()), -REACH, REACH)  # type: ignore[misc]
        if not np.isfinite(at):
            return None
        found = Pooled(at, stage, bypass, weight)
        if abs(at - x) < 1e-5:
            break
        x = at
    return found


def clear_edges(both: Both) -> int:
    """At how many edges a signal stands clear enough of the noise to count, as if nothing changed."""
    stage, bypass, spread = _carried(both)
    return int((_weights(stage, bypass, 0.0, spread) > 0.0).any(axis=1).sum())


def _carried(both: Both) -> tuple[Floats, Floats, Floats]:
    """Both sides and their spread, in the way chosen for each signal."""
    every = np.arange(both.stage.shape[2])
    return both.stage[:, both.way, every], both.bypass[:, both.way, every], both.spread[both.way, every]


def interval(pooled: Pooled, confidence: float, *, watched: bool) -> Interval | None:
    """The change with its interval, dB; read once, or valid all the way for one who watches. None: too few blocks.

    Read once, t has one degree of freedom less than blocks alone leave: the weights come from the same edges.
    """
    there = pooled.weight.sum(axis=1) > 0.0
    scores = pooled.scores(pooled.x)[there]
    length = block_length(scores, FIRST_SHOWN, most=len(scores)) if watched else block_length(scores)

    def blocks(x: float) -> Floats:
        return blocked(pooled.scores(x)[there], length)

    number = len(blocks(pooled.x))
    if number < (FIRST_SHOWN if watched else FEWEST_BLOCKS):
        return None
    limit = watched_limit(number, confidence) if watched else t_limit(number - 1, confidence)
    value, low, high = solved_interval(blocks, limit)
    return Interval(float(value * DB), float(low * DB), float(high * DB)) if np.isfinite(value) else None


def block_length(each: Floats, fewest: int = 8, most: int = BLOCKS) -> int:
    """How many neighbouring edges make a block: two where that leaves `fewest`, so that one to the stage and one back
    are together; doubled while blocks still follow each other, and long enough that there are no more than `most`.

    `each`: shape (edges,), scores at the estimate. Following means a lag-1 correlation over 1.3/√blocks.
    """
    length = max(2 if len(each) >= 2 * fewest else 1, -(-len(each) // most) if len(each) >= 2 * most else 1)
    while len(each) // (2 * length) >= fewest:
        block = blocked(each, length)
        centred = block - block.mean()
        square = float(np.sum(centred**2))
        if square <= 0.0 or float(np.sum(centred[1:] * centred[:-1])) / square < 1.3 / np.sqrt(len(block)):
            break
        length *= 2
    return length


def blocked(each: Floats, length: int) -> Floats:
    """Sums over blocks of neighbours; edges are dealt out so that all blocks are as long, give or take one."""
    count = max(len(each) // length, 1)
    return np.array([part.sum() for part in np.array_split(each, count)])
