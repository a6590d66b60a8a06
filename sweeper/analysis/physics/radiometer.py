"""How far one reading of noise scatters, and where thermal noise lies: closed formulas, no data.

A reading is power averaged over bandwidth B and time τ: a scaled χ² variable with 2Bτ degrees of freedom, that is a
gamma variable of shape k = Bτ.
"""

from functools import lru_cache

import numpy as np
from scipy.special import digamma, polygamma

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


BOLTZMANN = 1.380649e-23
"""J/K, exact in the SI."""


T0_K = 290.0
"""The reference temperature of noise figures."""


def thermal_dbm(bandwidth_hz: float) -> float:
    """kT₀B in dBm: −173.98 dBm in 1 Hz, −140.17 dBm in 2400 Hz."""
    return float(10 * np.log10(BOLTZMANN * T0_K * bandwidth_hz * 1000))
