"""The change that is common to all signals of a tuning, from what stood on both sides of each edge.

With s (stage) and b (bypass) on the two sides of an edge, u = (s/g − b)/(s/g + b) is bounded by ±1 and, whatever the
signal did meanwhile, as often positive as negative at the true g, as long as the signal does not know of the switch.
g is where Σ w u = 0 over all signals and edges; w depends on s/g + b alone, which favours neither side. Bounded
scores make it robust to a signal that leaves. Signals that are not steady (speech, keying, data) enter in the same way
and bring the larger error that they deserve.

Variance: the scores of an edge, all signals together, are summed over blocks of neighbouring edges; blocks are long
enough for the fading of one to be independent of the next (`block_length` looks at their correlation). Bias: of the
order of the relative variance of noise in s/g + b, which w keeps under 1 %. Numbers only.
"""

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

FEWEST_SPREADS = 5.0
"""A sum s/g + b counts from this many of its standard deviations on."""
BLOCKS = 24
"""No more blocks than this: with more, t gains nothing and dependence costs."""


def weights(stage: Floats, bypass: Floats, x: float, noise: Floats) -> Floats:
    """Shape (edges, signals). `noise`: standard deviation of one side at no signal, shape (signals,)."""
    total = stage * np.exp(-x) + bypass
    least = FEWEST_SPREADS * noise * np.sqrt(1.0 + np.exp(-2.0 * x))
    over = np.maximum(total - least, 0.0) ** 2
    found: Floats = over / (over + (2.0 * least) ** 2)
    return found


def scores(stage: Floats, bypass: Floats, x: float, weight: Floats) -> Floats:
    """w u for each edge and signal, shape (edges, signals); `x` = ln g. NaN sides count as no signal."""
    scaled = stage * np.exp(-x)
    total = np.maximum(scaled + bypass, 1e-30)
    found: Floats = weight * np.clip((scaled - bypass) / total, -1.0, 1.0)
    return found


def common_change(stage: Floats, bypass: Floats, noise: Floats) -> tuple[float, Floats]:
    """ln g, and the weights it was found with. NaN where no signal counts, or none up to ±40 dB fits."""
    from sweeper.ab.intervals import REACH, _falls_through

    x = 0.0
    weight = weights(stage, bypass, x, noise)
    for _ in range(12):
        weight = weights(stage, bypass, x, noise)
        fixed = weight
        found = _falls_through(lambda at, w=fixed: float(scores(stage, bypass, at, w).sum()), -REACH, REACH)  # type: ignore[misc]
        if not np.isfinite(found) or not weight.any():
            return float("nan"), weight
        if abs(found - x) < 1e-5:
            return found, weight
        x = found
    return x, weight


def block_length(each: Floats, fewest: int = 8) -> int:
    """How many neighbouring edges make a block: doubled while blocks still follow each other, or are over `BLOCKS`.

    `each`: shape (edges,), scores at the estimate. Following means a lag-1 correlation over 1.3/√blocks.
    """
    length = max(1, -(-len(each) // BLOCKS)) if len(each) >= 2 * BLOCKS else 1
    while len(each) // (2 * length) >= fewest:
        block = blocked(each, length)
        centred = block - block.mean()
        spread = float(np.sum(centred**2))
        if spread <= 0.0 or float(np.sum(centred[1:] * centred[:-1])) / spread < 1.3 / np.sqrt(len(block)):
            break
        length *= 2
    return length


def blocked(each: Floats, length: int) -> Floats:
    """Sums over blocks of neighbours; edges are dealt out so that all blocks are as long, give or take one."""
    count = max(len(each) // length, 1)
    return np.array([part.sum() for part in np.array_split(each, count)])
