"""Means over nights with their uncertainty: clustered by night, right for few nights.

The night is the unit of repetition. Scatter between nights is what a mean over nights is uncertain by; where cells
(a band at an hour) are alike, they lend each other what they know of that scatter, and only of that.
Plain numbers and arrays; decides nothing.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import polygamma, stdtr, stdtrit

from sweeper.analysis.statistics.interval import Interval

Floats = NDArray[np.float64]

MOST_BORROWED = 12.0
"""Degrees of freedom that other cells may lend at most: beyond this the gain is small and the trust large."""


@dataclass(frozen=True, slots=True)
class Estimate:
    """A value with its standard error, dB, and the degrees of freedom that the error was found with."""

    value: float
    se: float
    dof: float

    def interval(self, level: float) -> Interval:
        """Student's interval that misses with probability `level` (two-sided)."""
        reach = -float(stdtrit(self.dof, level / 2.0)) * self.se
        return Interval(self.value, self.value - reach, self.value + reach)

    def level_beyond(self, edge: float) -> float:
        """Two-sided level of the widest interval that stays on the value's side of `edge`."""
        if self.se <= 0:
            return 0.0 if self.value != edge else 1.0
        return float(2.0 * stdtr(self.dof, -abs(self.value - edge) / self.se))


def summed(value: float, parts: Sequence[tuple[float, float]]) -> Estimate:
    """An estimate whose variance is a sum of (variance, degrees of freedom); Welch and Satterthwaite's freedom."""
    variance = sum(part for part, _ in parts)
    if variance <= 0:
        return Estimate(value, 0.0, 1.0)
    spread = sum(part**2 / dof for part, dof in parts if dof > 0)
    return Estimate(value, float(np.sqrt(variance)), variance**2 / spread if spread > 0 else 1e6)


@dataclass(frozen=True, slots=True)
class Scatter:
    """Variance of one night's value about the mean of all nights, dB², and its degrees of freedom."""

    variance: float
    dof: float


def scatters(nights_by_cell: Floats, shape: Floats) -> list[Scatter]:
    """The scatter between nights in each cell, cells lending each other strength.

    `nights_by_cell`: values, dB, shape (nights, cells), NaN where a night has none. `shape`: how large each cell's
    standard deviation is expected to be against the others', shape (cells,); ones when nothing is known.
    The cell's own variance keeps its n − 1 degrees of freedom; the pooled one adds as many as its cells are worth
    together (they share nights, so that correlated cells count as fewer), at most `MOST_BORROWED`, and fewer when
    the cells' variances differ by more than chance. Variances combine as in Smyth (2004), the moderated t.
    """
    counts = np.isfinite(nights_by_cell).sum(axis=0)
    own = np.full(len(shape), np.nan)
    several = counts >= 2
    if several.any():
        own[several] = np.nanvar(nights_by_cell[:, several], axis=0, ddof=1)
    use = several & np.isfinite(shape) & (shape > 0)
    lent, variance = _pooled(nights_by_cell[:, use], shape[use]) if use.sum() >= 2 else (0.0, 0.0)
    found: list[Scatter] = []
    for cell, count in enumerate(counts):
        dof = float(max(count - 1, 0))
        if use[cell] and lent > 0:
            expected = variance * float(shape[cell]) ** 2
            mixed = (dof * float(own[cell]) + lent * expected) / (dof + lent)
            found.append(Scatter(mixed, dof + lent))
        else:
            found.append(Scatter(float(own[cell]) if several[cell] else float("nan"), dof))
    return found


def _pooled(values: Floats, shape: Floats) -> tuple[float, float]:
    """Degrees of freedom worth lending, and the variance of a cell of shape 1."""
    scaled = (values - np.nanmean(values, axis=0)) / shape
    there = np.isfinite(scaled)
    dof = there.sum(axis=0) - 1.0
    squares = np.where(there, scaled, 0.0) ** 2
    variances = squares.sum(axis=0) / dof
    pooled = float(squares.sum() / dof.sum())
    if pooled <= 0:
        return 0.0, 0.0
    filled = np.where(there, scaled, 0.0) / np.sqrt(np.maximum(squares.sum(axis=0), 1e-12))
    correlation = filled.T @ filled
    worth = len(shape) ** 2 / float((correlation**2).sum())
    lent = float(dof.mean()) * (worth - 1.0) if worth > 1 else 0.0
    logs = np.log(np.maximum(variances, 1e-12))
    excess = float(np.var(logs, ddof=1) - np.mean(polygamma(1, dof / 2.0)))
    if excess > 0:
        lent = min(lent, inverse_trigamma(excess) * 2.0)
    return min(lent, MOST_BORROWED), pooled


def inverse_trigamma(value: float) -> float:
    """x with trigamma(x) = value, Newton's method on 1/trigamma, which is nearly straight."""
    x = 0.5 + 1.0 / value
    for _ in range(20):
        tri = float(polygamma(1, x))
        x += tri * (1.0 - tri / value) / float(polygamma(2, x))
    return max(x, 0.0)
