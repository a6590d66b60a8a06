"""The level of white Gaussian noise from a handful of meter readings, robust to bursts and to coarse meters.

Arrays of readings in dB go in, levels in dB come out. What belongs to passes, hours and nights does not.

A reading is power averaged over bandwidth B and time τ: a scaled χ² variable with 2Bτ degrees of freedom, that
is a gamma variable of shape k = Bτ and mean equal to the noise power. Everything here is stated for that k.
"""

from functools import lru_cache

import numpy as np
from scipy.special import bdtrc, betaln, gammaincc, gammaincinv, ndtr, ndtri

from sweeper.analysis.arrays import Floats
from sweeper.analysis.physics.radiometer import spread_db

KEPT_SHARE = 0.6
"""Share of the readings of a visit, from below, whose values count; of the rest only that they were no lower.
Bursts may spoil up to the remaining share and move nothing but the noise of the estimate."""

COARSE_STEP = 0.5
"""A meter step of more than this share of the spread of a reading calls for interval-censored estimation."""


MOST_STEPS = 60
"""Readings further apart than this many steps are told from each other no more."""
BURST_SPREADS = 5.0
"""A reading this many spreads above the level is a burst, no noise."""


@lru_cache(maxsize=1)
def nodes_and_weights() -> tuple[Floats, Floats]:
    """Of Gauss and Legendre for integrals over 0 to 1; shape (200,) each."""
    nodes, weights = np.polynomial.legendre.leggauss(200)
    return (nodes + 1) / 2, weights / 2


@lru_cache(maxsize=256)
def order_means_db(count: int, shape: float) -> Floats:
    """Expected values of the `count` sorted readings of unit mean power, dB, lowest first; shape (count,)."""
    at, mass = nodes_and_weights()
    value_db = 10 * np.log10(np.maximum(gammaincinv(shape, at), 1e-300) / shape)
    ranks = np.arange(1, count + 1)[:, None]
    above = count - ranks
    density = np.exp((ranks - 1) * np.log(at) + above * np.log1p(-at) - betaln(ranks, above + 1))
    means: Floats = (density * mass * value_db).sum(axis=1)
    return means


@lru_cache(maxsize=256)
def _weights(count: int) -> Floats:
    """Weights of the sorted readings: best for a location with known spread when the top ones are censored.

    Linearised likelihood of a normal sample: each kept value counts once, and the highest kept one also
    stands for the censored ones, each of which tells h(h − z) as much, h the hazard at the cut z.
    """
    kept = kept_of(count)
    weights = np.zeros(count)
    weights[:kept] = 1.0
    if kept < count:
        cut = float(ndtri(kept / (count + 1)))
        hazard = float(np.exp(-(cut**2) / 2) / np.sqrt(2 * np.pi) / ndtr(-cut))
        weights[kept - 1] += (count - kept) * hazard * (hazard - cut)
    normalised: Floats = weights / weights.sum()
    return normalised


def kept_of(count: int) -> int:
    """How many of `count` readings count by value."""
    return max(1, int(np.ceil(KEPT_SHARE * count)))


def white_level_db(ordered: Floats, shape: float, step_db: float = 0.0) -> Floats:
    """Level of the white Gaussian part of each visit, dB; unbiased for noise, whatever the highest readings are.

    `ordered` holds the readings of each visit in dB, lowest first, shape (visits, readings); the result has shape
    (visits,). `step_db` is the meter's step, 0 for a fine one. On a coarse meter the estimate is the mean of the
    likelihood of the level given the steps in which the readings fell, never a quantile of rounded numbers. NaN gives
    NaN.
    """
    spread = spread_db(shape)
    coarse = step_db > COARSE_STEP * spread
    level = _level_of_all(ordered, shape, step_db if coarse else 0.0)
    burst_db = level + BURST_SPREADS * spread + step_db
    bursts = np.zeros(len(ordered), dtype=np.int64)
    some = np.flatnonzero(ordered[:, -1] > burst_db)
    bursts[some] = (ordered[some] > burst_db[some, None]).sum(axis=1)
    for count in np.unique(bursts[bursts > 0]):
        rows = bursts == count  # counted out rather than only cut off, or they would lift what is left
        level[rows] = _level_of_all(
            ordered[rows, : ordered.shape[1] - count], shape, step_db if coarse else 0.0
        )
    return level


def _level_of_all(ordered: Floats, shape: float, step_db: float) -> Floats:
    if step_db:
        return _censored_level_db(ordered, shape, step_db)
    count = ordered.shape[1]
    weights = _weights(count)
    level: Floats = ordered @ weights - order_means_db(count, shape) @ weights
    return level


def mean_power_db(readings_db: Floats) -> Floats:
    """Mean power of each visit in dB; shape (visits, readings) to (visits,)."""
    powers = np.exp(readings_db * (np.log(10) / 10))
    power: Floats = 10 * np.log10(np.einsum("ij->i", powers) / readings_db.shape[1])
    return power


def _censored_level_db(ordered: Floats, shape: float, step_db: float) -> Floats:
    """Mean of the likelihood over the level, for visits of sorted readings on a meter of `step_db`.

    What a visit tells is how many readings fell in each step up to that of the highest kept one, how many lie
    at or above it, and that at least the kept ones lie in it. Visits that tell the same are computed once.
    """
    low = ordered[:, 0]
    result: Floats = np.full(len(ordered), np.nan)
    finite = np.isfinite(low) & np.isfinite(ordered[:, -1])
    kept = kept_of(ordered.shape[1])
    steps = np.rint((ordered[finite, :kept] - low[finite, None]) / step_db)
    told = np.minimum(steps, MOST_STEPS).astype(np.int64)
    if kept <= 10:  # as one number, which is found faster than a row
        places = (MOST_STEPS + 1) ** np.arange(kept, dtype=np.int64)
        numbers = told @ places
        distinct = np.unique(numbers)
        which = np.searchsorted(distinct, numbers)
        patterns = distinct[:, None] // places % (MOST_STEPS + 1)
    else:
        patterns, which = np.unique(told, axis=0, return_inverse=True)
    offsets = np.array(
        [_pattern_level_db(tuple(pattern.tolist()), ordered.shape[1], shape, step_db) for pattern in patterns]
    )
    if len(offsets):
        result[finite] = low[finite] + offsets[which.reshape(-1)]
    return result


@lru_cache(maxsize=20_000)
def _pattern_level_db(told: tuple[int, ...], count: int, shape: float, step_db: float) -> float:
    pattern = np.array(told)
    spread = spread_db(shape)
    grid = np.linspace(-step_db / 2 - 6 * spread, pattern[-1] * step_db + step_db / 2 + 6 * spread, 401)

    def above(step: float) -> Floats:
        """Probability that a reading lies above the lower edge of `step`, for each level of the grid."""
        edge = 10 ** (((step - 0.5) * step_db - grid) / 10)
        return np.asarray(gammaincc(shape, shape * edge), dtype=np.float64)

    last = int(pattern[-1])
    below, in_last = pattern[pattern < last], int((pattern == last).sum())
    remaining = count - len(below)
    log_likelihood = remaining * np.log(np.maximum(above(last), 1e-300))
    within = np.clip((above(last) - above(last + 1)) / np.maximum(above(last), 1e-300), 0, 1)
    log_likelihood += np.log(np.maximum(bdtrc(in_last - 1, remaining, within), 1e-300))
    for step in np.unique(below):
        inside = np.maximum(above(step) - above(step + 1), 1e-300)
        log_likelihood += int((below == step).sum()) * np.log(inside)
    likelihood = np.exp(log_likelihood - log_likelihood.max())
    return float((likelihood * grid).sum() / likelihood.sum())
