"""Intervals for a mean of independent blocks: read once (Student's t), or watched while it comes in.

Numbers only.
"""

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

FIRST_SHOWN = 10
"""Blocks before an interval is shown to somebody who watches."""
FEWEST_BLOCKS = 4
SPREAD_OF_MEAN = 1.0
"""Scale of the mixture: how large the mean may be, in standard deviations of a block, for the test to be sharpest."""
REACH = 9.2
"""As far as a change is looked for, in nepers of power: 40 dB."""


def t_limit(blocks: int, confidence: float) -> float:
    """|t| that a mean of normal blocks exceeds by chance with 1 − confidence (Student 1908)."""
    from scipy.special import stdtrit  # slow to load

    return float(stdtrit(blocks - 1, 0.5 + confidence / 2.0))


def log_evidence(t: float, blocks: int, spread: float = SPREAD_OF_MEAN) -> float:
    """ln of the t mixture: how much likelier t = √n · mean ÷ deviation is with a mean of N(0, (spread·σ)²) than with 0.

    ln e = ½ ln(1/(1 + n s²)) + (n/2) [ln(1 + t²/ν) − ln(1 + t²/(ν(1 + n s²)))], ν = n − 1 (the scale-invariant Bayes
    factor of Jeffreys' t test with a normal effect size: Gönen, Johnson, Lu & Westfall, Am. Stat. 59 (2005) 252). With
    the right Haar prior on the scale it is a test martingale (Lai, Ann. Stat. 4 (1976) 265; Wang & Ramdas, 2023), so
    by Ville it exceeds 1/α at any time with chance α at most.
    """
    nu, wider = blocks - 1.0, 1.0 + blocks * spread**2
    return float(
        -0.5 * np.log(wider) + blocks / 2.0 * (np.log1p(t * t / nu) - np.log1p(t * t / (nu * wider)))
    )


def watched_limit(blocks: int, confidence: float, spread: float = SPREAD_OF_MEAN) -> float:
    """|t| up to which nothing is excluded, valid at all times together; infinite where so few can exclude nothing.

    Solves `log_evidence` = ln(1/α): with A = (α² (1 + n s²))^(−1/n), t² = ν (1 − A') (1 + n s²)/(A'(1 + n s²) − 1) in
    closed form, A' = 1/A.
    """
    wider, alpha = 1.0 + blocks * spread**2, 1.0 - confidence
    ratio = (wider / alpha**2) ** (1.0 / blocks)
    if ratio >= wider:
        return float("inf")
    return float(np.sqrt((blocks - 1.0) * (ratio - 1.0) / (1.0 - ratio / wider)))


def mean_interval(blocks: Floats, limit: float) -> tuple[float, float, float]:
    """Mean and ends from equally weighted blocks, shape (n,)."""
    mean, error = float(np.mean(blocks)), float(np.std(blocks, ddof=1) / np.sqrt(len(blocks)))
    return mean, mean - limit * error, mean + limit * error


def solved_interval(scores: Callable[[float], Floats], limit: float) -> tuple[float, float, float]:
    """Where the mean of `scores(x)`, which falls with x, is zero, and all x at which its |t| stays under `limit`.

    Inverting the test rather than linearising it keeps the coverage where scores are bounded and their slope
    differs from block to block. Ends are infinite where nothing up to 40 dB is excluded.
    """

    def t_of(x: float) -> float:
        block = scores(x)
        error = float(np.std(block, ddof=1) / np.sqrt(len(block)))
        return float(np.mean(block)) / max(error, 1e-12)

    value = falls_through(lambda x: float(np.mean(scores(x))), -REACH, REACH)
    if not np.isfinite(value):
        return value, -np.inf, np.inf
    low = _first_end(lambda x: t_of(x) - limit, value, -1.0)
    high = _first_end(lambda x: -t_of(x) - limit, value, 1.0)
    return value, low, high


def falls_through(falling: Callable[[float], float], low: float, high: float) -> float:
    """Where a falling function is zero between `low` and `high`; NaN where it is not."""
    if falling(low) < 0.0 or falling(high) > 0.0:
        return float("nan")
    for _ in range(50):
        middle = (low + high) / 2.0
        if falling(middle) > 0.0:
            low = middle
        else:
            high = middle
    return (low + high) / 2.0


def _first_end(beyond: Callable[[float], float], start: float, way: float) -> float:
    """The nearest x from `start` on at which `beyond` becomes positive."""
    inside, step = start, 0.02
    while abs(inside - start) < REACH:
        outside = inside + way * step
        if beyond(outside) > 0.0:
            for _ in range(30):
                middle = (inside + outside) / 2.0
                if beyond(middle) > 0.0:
                    outside = middle
                else:
                    inside = middle
            return outside
        inside, step = outside, step * 1.3
    return way * float("inf")
