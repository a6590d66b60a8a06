"""Means, steps and slopes of nightly values where one night resembles the next.

Weather and propagation come in spells, and seasons drift, so n nights are worth less than n. How alike neighbours are
cannot be told from a dozen nights of one band; it is a property of the sky and the town, so all bands are asked
together, and what they leave open stays open: estimates are averaged over every dependence that the nights allow.

A night's value is normal about its mean with covariance σ²[(1 − w)·ρ^|i−j| + w·(i = j) + κ²·(tᵢ − t̄)(tⱼ − t̄)]: a spell
of persistence ρ per night (autoregression of first order), a share w that each night has for itself, and a trend whose
slope has the standard deviation κσ a night. σ and the coefficients have the usual flat priors, so that given (ρ, w, κ)
a coefficient follows Student's law (generalised least squares; Harville, J. Am. Stat. Assoc. 72 (1977) 320, for the
restricted likelihood, which is free of the bias that taking out a mean gives to ρ).
Numbers only: no bands, no words.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from scipy.special import stdtr, stdtrit

from sweeper.analysis.arrays import Floats
from sweeper.analysis.statistics.interval import Interval

PERSISTENCE = (0.0, 0.15, 0.3, 0.45, 0.6, 0.7, 0.8, 0.9)
PERSISTENCE_CHANCES = (0.26, 0.2, 0.16, 0.13, 0.11, 0.07, 0.05, 0.02)
"""ρ: correlation of neighbouring nights, and what is believed of it beforehand: little rather than much."""
OWN_SHARE = (0.0, 0.4)
"""w: share of the variance that no neighbour shares."""
TREND = (0.0, 0.03, 0.06, 0.12)
"""κ: standard deviation of the trend's slope a night, in units of σ."""
TREND_CHANCES = (0.5, 0.25, 0.15, 0.1)
"""What is believed of `TREND` beforehand: most fortnights have none worth speaking of, some have (autumn)."""
NO_SCATTER_DB = 0.02
"""Values cannot be known better than this, however alike the nights: below any meter's step."""


@dataclass(frozen=True, slots=True)
class NightlySeries:
    """One value a night. `day`: whole days, rising, shape (n,). `value`: dB, (n,). `design`: (n, p), ones first."""

    day: Floats
    value: Floats
    design: Floats

    @property
    def dof_left(self) -> int:
        """Residual degrees of freedom: number of values less number of columns of `design`."""
        return len(self.value) - int(self.design.shape[1])


@dataclass(frozen=True, slots=True)
class MixedEstimate:
    """A coefficient averaged over dependences: Student's laws with centres and scales, dB, and weights, (courses,)."""

    centres: Floats
    scales: Floats
    weights: Floats
    dof: float

    @property
    def value(self) -> float:
        """The mean over dependences, dB."""
        return float(self.weights @ self.centres)

    @property
    def se(self) -> float:
        """Root mean square scale with the spread of the centres, dB."""
        return float(np.sqrt(self.weights @ (self.scales**2 + (self.centres - self.value) ** 2)))

    def interval(self, level: float) -> Interval:
        """The interval that misses by `level`, half of it on either side, dB."""
        return Interval(self.value, self._quantile(level / 2.0), self._quantile(1.0 - level / 2.0))

    def level_beyond(self, edge: float) -> float:
        """Two-sided level of the widest interval that stays on the value's side of `edge`."""
        below = self._below(edge)
        return float(2.0 * min(below, 1.0 - below))

    def widened(self, variance: float) -> "MixedEstimate":
        """This estimate with a further, independent source of error of that variance, dB²."""
        return MixedEstimate(self.centres, np.sqrt(self.scales**2 + variance), self.weights, self.dof)

    def _below(self, edge: float) -> float:
        return float(self.weights @ stdtr(self.dof, (edge - self.centres) / self.scales))

    def _quantile(self, chance: float) -> float:
        each = (self.centres + self.scales * stdtrit(self.dof, chance))[self.weights > 1e-12]
        low, high = float(each.min()), float(each.max())
        if high - low < 1e-9:
            return low
        from scipy.optimize import brentq  # takes long to load, and only a change in time needs it

        return float(brentq(lambda edge: self._below(edge) - chance, low, high, xtol=1e-6))


@dataclass(frozen=True, slots=True)
class Dependence:
    """What the nights say of (ρ, w, κ): the chance of each combination of `courses`, shape (courses,)."""

    weights: Floats

    @property
    def persistence(self) -> float:
        """Expected correlation of neighbouring nights, trend aside."""
        return float(self.weights @ np.array([(1.0 - own) * rho for rho, own, _ in courses()]))

    @property
    def trend_chance(self) -> float:
        """The chance that there is a trend."""
        return float(self.weights @ np.array([kappa > 0.0 for _, _, kappa in courses()]))

    def without_trend(self) -> "Dependence":
        """The dependence given that there is no trend: combinations with κ > 0 get no weight, the rest sum to 1."""
        steady = self.weights * np.array([kappa == 0.0 for _, _, kappa in courses()])
        return Dependence(steady / steady.sum())


def dependence(series: Sequence[NightlySeries]) -> Dependence:
    """How alike neighbouring nights are, from all series together. They may share nights, and then count as fewer.

    Restricted likelihoods multiplied, to the power worth/count: `worth` is the number of independent series that
    would scatter as much (count² over the sum of squared correlations of what is left of them).
    """
    logs = np.log(_beforehand())
    told = [each for each in series if each.dof_left >= 1]
    if told:
        each_log = np.array([_fitted(one)[3] for one in told])
        each_log -= each_log.max(axis=1, keepdims=True)
        logs = logs + each_log.sum(axis=0) * worth(told) / len(told)
    chances = np.exp(logs - logs.max())
    return Dependence(chances / chances.sum())


def coefficient(series: NightlySeries, alike: Dependence, column: int) -> MixedEstimate | None:
    """The coefficient of that column of the design, dB per unit; None where no degree of freedom is left."""
    if series.dof_left < 1:
        return None
    beta, scale, dof, _ = _fitted(series)
    return MixedEstimate(beta[:, column], scale[:, column], alike.weights, float(dof))


def worth(series: Sequence[NightlySeries]) -> float:
    """How many independent series these are worth: count² over the sum of their squared correlations, at least 1."""
    days = sorted({day for one in series for day in one.day.tolist()})
    left = np.zeros((len(series), len(days)))
    for row, one in enumerate(series):
        fit = one.design @ np.linalg.lstsq(one.design, one.value, rcond=None)[0]
        left[row, np.searchsorted(days, one.day)] = one.value - fit
    size = np.sqrt((left**2).sum(axis=1, keepdims=True))
    if not bool((size > 1e-9).all()):
        return 1.0
    squares = ((left / size) @ (left / size).T) ** 2
    by_chance = (1.0 - squares) / max(len(days) - 1, 1)  # what independent series would show
    return float(len(series) ** 2 / np.maximum(squares - by_chance, 0.0).sum())


def simulated(day: Floats, alike: Dependence, count: int, rng: np.random.Generator) -> Floats:
    """Series of unit variance without any step, as dependent as these nights may be; shape (count, n)."""
    roots = np.linalg.cholesky(_correlations(day, np.asarray(courses())))
    chosen = rng.choice(len(roots), size=count, p=alike.weights)
    drawn: Floats = np.einsum("sij,sj->si", roots[chosen], rng.standard_normal((count, len(day))))
    return drawn


@lru_cache(maxsize=1)
def courses() -> tuple[tuple[float, float, float], ...]:
    """All combinations of (ρ, w, κ); where ρ is 0, w means nothing."""
    return tuple(
        (rho, own, kappa) for rho in PERSISTENCE for own in OWN_SHARE for kappa in TREND if rho or not own
    )


@lru_cache(maxsize=1)
def _beforehand() -> Floats:
    chances = np.array(
        [
            TREND_CHANCES[TREND.index(kappa)]
            * PERSISTENCE_CHANCES[PERSISTENCE.index(rho)]
            / (len(OWN_SHARE) if rho else 1)
            for rho, _, kappa in courses()
        ]
    )
    return np.asarray(chances / chances.sum())


def _correlations(day: Floats, courses: Floats) -> Floats:
    """Covariances over σ², shape (courses, n, n)."""
    apart = np.abs(day[:, None] - day[None, :])
    centred = day - day.mean()
    rho, own, kappa = (courses[:, place, None, None] for place in range(3))
    same = np.eye(len(day))
    alike = np.where(rho > 0.0, np.maximum(rho, 1e-12) ** apart, same)
    found: Floats = (1.0 - own) * alike + own * same + kappa**2 * np.outer(centred, centred)
    return found


def _fitted(series: NightlySeries) -> tuple[Floats, Floats, int, Floats]:
    """Coefficients and their scales, shape (courses, p), degrees of freedom, and restricted log likelihoods."""
    roots = np.linalg.cholesky(_correlations(series.day, np.asarray(courses())))
    stacked = np.concatenate([series.design, series.value[:, None]], axis=1)
    white = np.linalg.solve(roots, np.broadcast_to(stacked, (len(roots), *stacked.shape)))
    design, value = white[:, :, :-1], white[:, :, -1]
    gram = np.swapaxes(design, 1, 2) @ design
    inverse = np.linalg.inv(gram)
    beta = np.einsum("cpq,cnq,cn->cp", inverse, design, value)
    squares = (value**2).sum(axis=1) - np.einsum("cp,cpq,cq->c", beta, gram, beta)
    squares = np.maximum(squares, len(series.value) * NO_SCATTER_DB**2)
    dof = series.dof_left
    scale = np.sqrt(squares[:, None] / dof * np.diagonal(inverse, axis1=1, axis2=2))
    size = 2.0 * np.log(np.diagonal(roots, axis1=1, axis2=2)).sum(axis=1) + np.linalg.slogdet(gram)[1]
    return beta, scale, dof, -0.5 * size - 0.5 * dof * np.log(squares)
