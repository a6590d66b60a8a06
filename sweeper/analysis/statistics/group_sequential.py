"""How strict to be at each look, for somebody who looks every morning and stops when the answer pleases.

The error that a campaign may make in all its looks together is *spent* look by look (group-sequential design with
a spending function: Lan & DeMets, Biometrika 70 (1983) 659). Of nine tenths half is spent by the seventh night and
the rest ever more slowly, without end: after n nights 0.9·alpha·n^1.5/(n^1.5 + 7^1.5) is gone. Few nights hardly settle
anything, having to learn how far nights stray; what is not spent on them leaves every look of the first three weeks at
about 2.6 standard errors. A tenth is kept for what the boundaries, of errors that are known, leave out where Student's
t stands in. So no campaign, however long, exceeds alpha, and no
number of looks has to be promised beforehand. Why this and not a mixture confidence sequence: it needs fewer nights
(see docs/reading-the-report.md and tests/benchmarks/truth.py).

Numbers only: no polars, no station, no decibels.
"""

import math
from bisect import bisect_right
from collections.abc import Sequence
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtr, ndtri

FIRST_LOOK = 3
"""Nights before anything is claimed of other nights than those measured."""
LOOKS = tuple(int(10.0 * 2.0 ** (half / 2.0)) for half in range(-3, 18))
"""Nights after which an interval is drawn anew: 3, 5, 7, 10, 14, 20, 28, 40 and on by √2, past what anybody measures.
In between the last one stands, so that who looks every morning sees no more of chance than who looks then."""

_LEVELS = 0.5 ** np.arange(1.0, 18.0, 2.0)
_FEWEST_NODES = 48
FARTHEST_STEP = 9.0
"""In standard deviations: what the normal law puts beyond is lost in rounding."""


def spent(nights: float, alpha: float) -> float:
    """The part of `alpha` that may be gone after so many nights (at least `FIRST_LOOK`)."""
    return 0.9 * alpha / (1.0 + math.pow(7.0 / nights, 1.5))


def spent_late(nights: float, alpha: float) -> float:
    """The part of `alpha` that may be gone so many nights after a fix, seldom judged before a week: half at seven."""
    return alpha * nights**2 / (nights**2 + 49.0)


def boundaries(information: Sequence[float], spending: ArrayLike) -> NDArray[np.float64]:
    """Two-sided boundaries |z| for looks at rising information, given the error spent up to each look.

    `spending`: shape (looks,), or (looks, campaigns) for several campaigns at once; the same shape comes back.
    The recursion of Armitage, McPherson & Rowe (J. R. Stat. Soc. A 132 (1969) 235) on Gauss-Legendre nodes.
    Checked against published Pocock and O'Brien-Fleming constants in tests/published.
    """
    allowed = np.asarray(spending, dtype=np.float64)
    each = allowed.reshape(len(allowed), -1)
    found = np.zeros_like(each)
    # Where the sum may stand without having crossed, and with what weight; being even, its upper half tells all.
    places, weight = np.zeros((each.shape[1], 1)), np.ones((each.shape[1], 1))
    before, gone = 0.0, np.zeros(each.shape[1])
    for look, info in enumerate(information):
        step = float(np.sqrt(info - before))
        target = np.maximum(each[look] - gone, 1e-15)
        guess = found[look - 1] if look else -ndtri(target / 2.0)
        edge = _crossing(guess * np.sqrt(info) / step, places / step, weight, target)
        found[look] = edge * step / np.sqrt(info)
        nodes, weights = _upper_nodes(edge)
        here = edge[:, None] * nodes
        weight = _one_step_on(here, places / step, weight) * edge[:, None] * weights
        places, before, gone = here * step, float(info), each[look]
    return found.reshape(allowed.shape)


def _crossing(
    edge: NDArray[np.float64],
    places: NDArray[np.float64],
    weight: NDArray[np.float64],
    target: NDArray[np.float64],
) -> NDArray[np.float64]:
    """The edge beyond which one more step leads with chance `target`, from a guess; all in units of that step.

    Newton's method on the logarithm of the chance, which is concave, so that it comes in from outside and stays there.
    """
    for _ in range(100):
        close = int((places < edge[:, None] - FARTHEST_STEP).sum(axis=1).min())
        near, weighs = places[:, close:], weight[:, close:]
        ends = np.stack([near - edge[:, None], -near - edge[:, None]], axis=1)
        chance = np.einsum("cep,cp->c", ndtr(ends), weighs)
        slope = _normal(ends, weighs).sum(axis=1)
        move = np.clip(np.log(chance / target) * chance / slope, -4.0, 4.0)
        edge += move
        if np.abs(move).max() < 1e-6:  # what is left is of the order of its square
            break
    return edge


def _one_step_on(
    here: NDArray[np.float64], places: NDArray[np.float64], weight: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Density at `here` after a step of the normal law from `places`, both sides of zero together.

    Rows rise. Piece by piece, so that places too far away are left out and the tables in between stay small.
    """
    near, by = (int((at < FARTHEST_STEP).sum(axis=1).max()) for at in (here, places))
    density = np.zeros_like(here)
    from_beyond_zero = here[:, :near, None] + places[:, None, :by]
    density[:, :near] = _normal(from_beyond_zero, weight[:, :by])
    for start in range(0, here.shape[1], 32):
        piece = here[:, start : start + 32]
        low = int((places < piece[:, :1] - FARTHEST_STEP).sum(axis=1).min())
        high = int((places < piece[:, -1:] + FARTHEST_STEP).sum(axis=1).max())
        apart = piece[:, :, None] - places[:, None, low:high]
        density[:, start : start + 32] += _normal(apart, weight[:, low:high])
    return density


def _normal(z: NDArray[np.float64], weight: NDArray[np.float64]) -> NDArray[np.float64]:
    """Sums of `weight` times the normal density at `z`, over the last axis."""
    summed: NDArray[np.float64] = np.einsum("crp,cp->cr", np.exp(-0.5 * z * z), weight) / np.sqrt(2.0 * np.pi)
    return summed


def last_look(nights: int) -> int:
    """The nights that the interval was last drawn from; before `FIRST_LOOK` all there are."""
    return nights if nights < FIRST_LOOK else LOOKS[bisect_right(LOOKS, nights) - 1]


def look_level(nights: int, alpha: float) -> float:
    """Two-sided level for the interval of the last look after `nights` nights, for all looks to keep to `alpha`.

    Before `FIRST_LOOK` the interval is about the nights measured and nothing else, and half of alpha is its due.
    """
    if nights < FIRST_LOOK:
        return alpha / 2.0
    levels = _levels()[last_look(nights)]
    return float(np.exp(np.interp(np.log(alpha), np.log(_LEVELS[::-1]), np.log(levels[::-1]))))


def campaign_level(nights: int, level: float) -> float:
    """The inverse: the alpha for which an interval at this two-sided level is due after `nights` nights."""
    if nights < FIRST_LOOK:
        return min(2.0 * level, 1.0)
    levels = _levels()[last_look(nights)]
    if level >= levels[0]:
        return 1.0
    slope = float(np.log(_LEVELS[-1] / _LEVELS[-2]) / np.log(levels[-1] / levels[-2]))
    if level < levels[-1]:
        return float(_LEVELS[-1] * (max(level, 1e-300) / levels[-1]) ** slope)
    return float(np.exp(np.interp(np.log(level), np.log(levels[::-1]), np.log(_LEVELS[::-1]))))


@lru_cache(maxsize=1)
def _levels() -> dict[int, NDArray[np.float64]]:
    """Two-sided level of each look, for each alpha of `_LEVELS`."""
    edges = boundaries(LOOKS, [[spent(nights, float(alpha)) for alpha in _LEVELS] for nights in LOOKS])
    return dict(zip(LOOKS, 2.0 * ndtr(-edges), strict=True))


def _upper_nodes(reach: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Nodes in (0, 1) and their weights, a row for each strip `reach` steps wide; short rows end in weights of 0."""
    rows = [_leggauss(_FEWEST_NODES + 8 * int(steps / 4.0)) for steps in reach]
    most = max(len(nodes) for nodes, _ in rows)
    nodes, weights = np.ones((len(rows), most)), np.zeros((len(rows), most))
    for row, (at, weight) in enumerate(rows):
        nodes[row, : len(at)], weights[row, : len(at)] = at, weight
    return nodes, weights


@lru_cache(maxsize=512)
def _leggauss(count: int) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """The upper half of an even number of Gauss-Legendre nodes, and their weights: Newton's method on the polynomial.

    Half the time of NumPy's eigenvalues alone on a machine, and a tenth on a busy one, where their threads wait.
    """
    place = np.arange(count // 2, 0, -1)
    nodes = (1.0 - (1.0 - 1.0 / count) / (8.0 * count**2)) * np.cos(np.pi * (place - 0.25) / (count + 0.5))
    for _ in range(3):  # from Tricomi's first guess the third step changes nothing but the last digit
        before, here = np.ones_like(nodes), nodes
        for degree in range(2, count + 1):
            before, here = here, (2.0 - 1.0 / degree) * nodes * here - (1.0 - 1.0 / degree) * before
        slope = count * (before - nodes * here) / (1.0 - nodes**2)
        nodes = nodes - here / slope
    return nodes, 2.0 / ((1.0 - nodes**2) * slope**2)
