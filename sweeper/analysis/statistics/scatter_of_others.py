"""What a band's scatter from night to night is believed to be before its own nights are asked: that of other bands.

The sky and the town move all bands of a station, some further than others. So each band's scatter is a draw about the
station's usual one, by a factor that is log-normal, and the station's about what is usual anywhere. All in logarithms
of variances, where a sample variance with ν degrees of freedom lies about its own by ψ(ν/2) − ln(ν/2), give or take
√ψ′(ν/2) (ψ the digamma function; Smyth, Stat. Appl. Genet. Mol. Biol. 3 (2004) 3, section 6.2), so that weighted means
do. What comes out is worth a few degrees of freedom, and combines with the band's own as there. Numbers only.
"""

from collections.abc import Sequence

import numpy as np
from scipy.special import digamma, polygamma

from sweeper.analysis.arrays import Floats
from sweeper.analysis.statistics.estimates import Scatter, inverse_trigamma
from sweeper.analysis.thresholds import BANDS_STRAY_BY, STATIONS_STRAY_BY, STATIONS_STRAY_DB

AMONG_BANDS = (2.0 * np.log(BANDS_STRAY_BY)) ** 2
"""Variance of the logarithm of a band's variance about the station's."""
AMONG_STATIONS = (2.0 * np.log(STATIONS_STRAY_BY)) ** 2
"""The same of a station's about what is usual anywhere."""


def scatters_of_others(own: Sequence[Scatter | None], strays_db: Floats) -> list[Scatter]:
    """For each band what the others let expect of its scatter; by what is usual anywhere alone where there are none.

    `own`: of each band, None where nothing is known. `strays_db`: how far the nights of each band lay from its mean,
    shape (nights, bands), NaN where not measured: bands that rise and fall together tell as much as fewer.
    """
    told = [each is not None and each.variance > 0.0 and each.dof > 0.0 for each in own]
    new = _share_that_is_new(strays_db[:, told])
    logs = [_log(each) if known and each else None for each, known in zip(own, told, strict=True)]
    found = []
    for band in range(len(own)):
        centre, weight = np.log(STATIONS_STRAY_DB**2) / AMONG_STATIONS, 1.0 / AMONG_STATIONS
        for place, log in enumerate(logs):
            if log is not None and place != band:
                counts = new / (log[1] + AMONG_BANDS)
                centre, weight = centre + counts * log[0], weight + counts
        found.append(_scatter(centre / weight, 1.0 / weight + AMONG_BANDS))
    return found


def together(own: Scatter, others: Scatter) -> Scatter:
    """Both by their degrees of freedom (Smyth 2004, equation 1); what has no scatter of its own gets none."""
    if not (own.variance > 0.0 and own.dof > 0.0):
        return own
    dof = own.dof + others.dof
    return Scatter((own.dof * own.variance + others.dof * others.variance) / dof, dof)


def _log(scatter: Scatter) -> tuple[float, float]:
    """The logarithm of the variance that a sample shows, and the variance of that logarithm."""
    half = scatter.dof / 2.0
    return float(np.log(scatter.variance) - digamma(half) + np.log(half)), float(polygamma(1, half))


def _scatter(log: float, error: float) -> Scatter:
    """The inverse: the variance and degrees of freedom that tell as much."""
    half = inverse_trigamma(error)
    return Scatter(float(np.exp(log + digamma(half) - np.log(half))), 2.0 * half)


def _share_that_is_new(strays_db: Floats) -> float:
    """What each further band tells that one has not: 1 where bands know nothing of each other, 0 where they are one."""
    bands = strays_db.shape[1]
    if bands < 2:
        return 0.0
    filled = np.where(np.isfinite(strays_db), strays_db, 0.0)
    size = np.maximum(np.sqrt((filled**2).sum(axis=0)), 1e-12)
    squares = ((filled / size).T @ (filled / size)) ** 2
    return float((bands**2 / squares.sum() - 1.0) / (bands - 1.0))
