"""How strict to be at each look, for somebody who looks every morning and stops when the answer pleases.

The error that a campaign may make in all its looks together is *spent* night by night (group-sequential design with
a spending function: Lan & DeMets, Biometrika 70 (1983) 659). Half is spent at the third night and the rest ever more
slowly, without end: after n nights alpha·(1 − √(3/n)/2) is gone. So no campaign, however long, exceeds alpha, and no
number of looks has to be promised beforehand. Why this and not a mixture confidence sequence: it needs fewer nights
(see docs/reading-the-report.md and tests/benchmarks/truth.py).

Numbers only: no polars, no station, no decibels.
"""

from collections.abc import Sequence
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

FIRST_LOOK = 3
"""Nights before anything is claimed of other nights than those measured."""

_LEVELS = 0.5 ** np.arange(1.0, 18.0, 2.0)
_FEWEST_NODES = 48


def spent(nights: float, alpha: float) -> float:
    """The part of `alpha` that may be gone after so many nights (at least `FIRST_LOOK`)."""
    return alpha * (1.0 - 0.5 * float(np.sqrt(FIRST_LOOK / nights)))


def spent_late(nights: float, alpha: float) -> float:
    """The same for nights after a fix, which are seldom judged before a week: half of `alpha` is gone at seven."""
    return alpha * nights**2 / (nights**2 + 49.0)


def boundaries(information: Sequence[float], spending: Sequence[float]) -> NDArray[np.float64]:
    """Two-sided boundaries |z| for looks at rising information, given the error spent up to each look.

    The recursion of Armitage, McPherson & Rowe (J. R. Stat. Soc. A 132 (1969) 235) on Gauss-Legendre nodes.
    Checked against published Pocock and O'Brien-Fleming constants in tests/published.
    """
    from scipy.optimize import brentq
    from scipy.special import ndtr

    found: list[float] = []
    places = np.zeros(1)  # where the sum may stand without having crossed, and with what weight
    weight = np.ones(1)
    before = 0.0
    gone = 0.0
    for info, allowed in zip(information, spending, strict=True):
        step = np.sqrt(info - before)
        target = max(allowed - gone, 1e-15)

        def crossing(
            edge: float,
            places: NDArray[np.float64] = places,
            weight: NDArray[np.float64] = weight,
            step: float = float(step),
            target: float = target,
        ) -> float:
            tails = ndtr((places - edge) / step) + ndtr((-places - edge) / step)
            return float(weight @ tails) - target

        edge = float(brentq(crossing, 0.0, 12.0 * np.sqrt(info), xtol=1e-10))
        found.append(edge / float(np.sqrt(info)))
        nodes, weights = _nodes(edge / float(step))
        here = edge * nodes
        density = np.exp(-0.5 * ((here[:, None] - places[None, :]) / step) ** 2) / (step * np.sqrt(2 * np.pi))
        weight = (density @ weight) * (edge * weights)
        places, before, gone = here, float(info), allowed
    return np.array(found)


def look_level(nights: int, alpha: float) -> float:
    """Two-sided level for the interval drawn after `nights` nights, for all looks together to keep to `alpha`.

    Before `FIRST_LOOK` the interval is about the nights measured and nothing else, and half of alpha is its due.
    """
    if nights < FIRST_LOOK:
        return alpha / 2.0
    if nights == FIRST_LOOK:
        return spent(nights, alpha)
    levels = _levels_at(nights)
    return float(np.exp(np.interp(np.log(alpha), np.log(_LEVELS[::-1]), np.log(levels[::-1]))))


def campaign_level(nights: int, level: float) -> float:
    """The inverse: the alpha for which an interval at this two-sided level is due after `nights` nights."""
    if nights <= FIRST_LOOK:
        return min(2.0 * level, 1.0)
    levels = _levels_at(nights)
    if level >= levels[0]:
        return 1.0
    slope = float(np.log(_LEVELS[-1] / _LEVELS[-2]) / np.log(levels[-1] / levels[-2]))
    if level < levels[-1]:
        return float(_LEVELS[-1] * (max(level, 1e-300) / levels[-1]) ** slope)
    return float(np.exp(np.interp(np.log(level), np.log(levels[::-1]), np.log(_LEVELS[::-1]))))


@lru_cache(maxsize=4096)
def _levels_at(nights: int) -> NDArray[np.float64]:
    """Two-sided level of the look at `nights`, for each alpha of `_LEVELS`."""
    from scipy.special import ndtr

    horizon = 32 * 2 ** max(0, int(np.ceil(np.log2(nights / 32))))
    return 2.0 * ndtr(-_table(horizon)[:, nights - FIRST_LOOK])


@lru_cache(maxsize=8)
def _table(horizon: int) -> NDArray[np.float64]:
    """Boundaries for a look every night up to `horizon`: a row for each alpha of `_LEVELS`."""
    nights = range(FIRST_LOOK, horizon + 1)
    return np.array([boundaries(nights, [spent(n, float(alpha)) for n in nights]) for alpha in _LEVELS])


@lru_cache(maxsize=512)
def _leggauss(count: int) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    nodes, weights = np.polynomial.legendre.leggauss(count)
    return nodes, weights


def _nodes(reach: float) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Nodes enough for a strip `reach` standard deviations of one step wide on each side."""
    return _leggauss(_FEWEST_NODES + 8 * int(reach / 4.0))
