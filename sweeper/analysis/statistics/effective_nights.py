"""What nights are worth to a mean when one resembles the next: fewer nights, and a scatter that looks too small.

Nights that follow each other lie nearer to each other than to other nights. Their mean is then less sure than that of
independent ones, their sample variance is smaller than the variance of all nights, and it is known with fewer degrees
of freedom (Satterthwaite, Biometrics Bull. 2 (1946) 110, for the last). All three follow from the correlation ρ of
neighbouring nights, ρ² of the next but one, and so on (autoregression of first order); by calendar days, so that nights
apart by a gap count as further apart. Numbers only.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from sweeper.analysis.arrays import Floats
from sweeper.analysis.statistics.dependent_nights import NightlySeries, dependence
from sweeper.analysis.statistics.estimates import Scatter

LATEST = 60
"""Nights that ρ is found from: the latest. More would say little more and take long."""


@dataclass(frozen=True, slots=True)
class Worth:
    """`nights`: how many independent ones would know the mean as well. `spread`, `freedom`: what the sample variance
    and its degrees of freedom are to be multiplied by."""

    nights: float
    spread: float
    freedom: float
    count: int
    """The nights that there are."""

    def mean_of(self, variance: float, dof: float, own: float = 0.0) -> tuple[float, float]:
        """Variance of a mean over nights and its degrees of freedom.

        `variance`: as if nights were independent, found with `dof`; of it `own` is error of measurement, which no
        night shares with its neighbour, so that only the rest comes in spells.
        """
        if variance <= 0.0 or self.count < 2:
            return variance, dof
        spell = max(variance - own, 0.0)
        wider = variance + (self.count / self.nights * self.spread - 1.0) * spell
        return wider, dof * (1.0 - (1.0 - self.freedom) * spell / variance)

    def all_nights(self, scatter: Scatter) -> Scatter:
        """The scatter of nights far apart, from the sample's."""
        return Scatter(scatter.variance * self.spread, scatter.dof * self.freedom)


def worth(day: Floats, persistence: float) -> Worth:
    """What nights on these whole days are worth, shape (n,), with that correlation of neighbours."""
    return (
        _worth(tuple((day - day[0]).tolist()), round(persistence, 3)) if len(day) else Worth(0.0, 1.0, 1.0, 0)
    )


@lru_cache(maxsize=4096)
def _worth(day: tuple[float, ...], persistence: float) -> Worth:
    count = len(day)
    if count < 2 or persistence <= 0.0:
        return Worth(float(count), 1.0, 1.0, count)
    apart = np.abs(np.subtract.outer(np.array(day), np.array(day)))
    alike = persistence**apart
    left = alike - alike.mean(axis=0, keepdims=True)
    trace = float(np.trace(left))
    return Worth(
        count**2 / float(alike.sum()),
        (count - 1) / trace,
        trace**2 / float((left * left.T).sum()) / (count - 1),
        count,
    )


def persistence_of(series: Sequence[tuple[Floats, Floats]]) -> float:
    """ρ of neighbouring nights from (day, value) of each series, shape (n,) both, trends taken out.

    Series of few nights say little: what is believed beforehand (about a quarter) then stands.
    """
    nightly = [
        NightlySeries(day[-LATEST:], value[-LATEST:], np.ones((len(value[-LATEST:]), 1)))
        for day, value in series
        if len(day) >= 3
    ]
    return dependence(nightly).without_trend().persistence
