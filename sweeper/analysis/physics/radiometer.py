"""How far one reading of noise scatters, and where thermal noise lies: closed formulas, no data.

A reading is power averaged over bandwidth B and time τ: a scaled χ² variable with 2Bτ degrees of freedom, that is a
gamma variable of shape k = Bτ.
"""

from functools import lru_cache

import numpy as np
from scipy.special import chdtri, digamma, polygamma

from sweeper.analysis.arrays import Floats


def shape_of(bandwidth_hz: float, averaging_s: float) -> float:
    """The gamma shape k = Bτ of one reading (half its χ² degrees of freedom), never below 1: a single sample."""
    return max(bandwidth_hz * averaging_s, 1.0)


@lru_cache(maxsize=256)
def spread_db(shape: float) -> float:
    """Standard deviation in dB of one reading of shape k: about 4.34/√k (the radiometer equation, Dicke 1946)."""
    return float(10 / np.log(10) * np.sqrt(polygamma(1, shape)))


def log_average_bias_db(shape: float) -> float:
    """How far the mean of dB readings lies below the dB of the mean power: −2.51 dB for k = 1."""
    return float(10 / np.log(10) * (digamma(shape) - np.log(shape)))


def resolution_db(step_db: float, spread: Floats) -> Floats:
    """Standard uncertainty of the mean of many readings on a meter of step q that fluctuate with s = `spread`.

    Rounding errors average out only when the level wanders across steps. What stays is the sum over n of
    (q/(nπ√2))² exp(−(2πns/q)²), q²/12 without any wandering (quantisation theorem, Widrow 1956).
    """
    if step_db <= 0:
        return np.zeros_like(spread)
    n = np.arange(1.0, 9.0).reshape((-1,) + (1,) * spread.ndim)
    terms = (step_db / (n * np.pi)) ** 2 / 2 * np.exp(-((2 * np.pi * n * spread / step_db) ** 2))
    left: Floats = np.sqrt(terms.sum(axis=0)).astype(np.float64)
    return left


def resolution_over_nights_db(resolution_db: float, step_db: float, levels_db: Floats) -> float:
    """What a meter's step leaves in the mean over nights, from what it leaves in each night, dB.

    `levels_db`: the level of each night, shape (nights,). Where it wanders over the steps from night to night, by
    s, rounding errors are another night's each time, and only the share exp(−(2πs/q)²/2) of them is the same on all
    (first harmonic of the quantisation theorem, Widrow 1956); s is taken no larger than these nights are sure of.
    """
    nights = len(levels_db)
    if step_db <= 0 or nights < 3:
        return resolution_db
    squares = float(((levels_db - levels_db.mean()) ** 2).sum())
    alike = np.exp(-((2 * np.pi / step_db) ** 2) * squares / float(chdtri(nights - 1.0, 0.05)))
    return float(resolution_db * np.sqrt(alike + (1.0 - alike) / nights))


BOLTZMANN = 1.380649e-23
"""J/K, exact in the SI."""


T0_K = 290.0
"""The reference temperature of noise figures."""


def thermal_dbm(bandwidth_hz: float) -> float:
    """kT₀B in dBm: −173.98 dBm in 1 Hz, −140.17 dBm in 2400 Hz."""
    return float(10 * np.log10(BOLTZMANN * T0_K * bandwidth_hz * 1000))
