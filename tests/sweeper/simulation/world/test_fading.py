"""Fading against the textbook: Clarke's autocorrelation and the moments of Rice's distribution, by SciPy."""

import numpy as np
import pytest
from scipy.special import j0
from scipy.stats import kstest, ncx2

from sweeper.simulation.world.fading import Fading

pytestmark = pytest.mark.slow


def test_scattered_voltage_has_clarkes_autocorrelation():
    """J0(2π f τ): R. H. Clarke, Bell Syst. Tech. J. 47 (1968); the Bessel function is SciPy's."""
    lags_s = np.array([0.0, 0.2, 0.5, 0.8, 1.0, 1.5, 2.5, 4.0])
    products = []
    for seed in range(3000):
        voltage = Fading(0.4, 0.0, seed).at(lags_s)
        products.append(voltage * voltage[0].conj())
    seen = np.mean(products, axis=0)
    assert np.abs(seen - j0(2 * np.pi * 0.4 * lags_s)).max() < 4 / np.sqrt(3000)


@pytest.mark.parametrize("k", [0.0, 1.0, 2.0, 10.0])
def test_power_follows_rices_distribution(k):
    """2 (K + 1) P is non-central χ² with two degrees of freedom and non-centrality 2 K (S. O. Rice 1945; SciPy)."""
    power = [abs(Fading(0.3, k, seed).at(np.array([17.0]))[0]) ** 2 for seed in range(2000)]
    law = ncx2(2, 2 * k) if k else None
    scaled = 2 * (k + 1) * np.array(power)
    assert kstest(scaled, law.cdf if law else "expon", args=() if law else (0, 2)).pvalue > 0.001
    # The scintillation index squared is (1 + 2 K) / (1 + K)²: moments of the same law.
    assert np.var(power) == pytest.approx((1 + 2 * k) / (1 + k) ** 2, rel=0.25)
    assert np.mean(power) == pytest.approx(1.0, abs=0.1)


def test_a_steady_carrier_does_not_fade():
    voltage = Fading(0.15, np.inf, 3).at(np.linspace(0, 600, 500))
    assert np.allclose(np.abs(voltage), 1.0)
