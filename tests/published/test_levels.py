"""Levels against distributions of SciPy, the radiometer equation, ITU-R SM.1753-2 and the S-meter scale."""

import numpy as np
import pytest
from scipy import stats

from sweeper.analysis.band.chain_faults import S9_DBM
from sweeper.analysis.band.overload import product_order
from sweeper.analysis.day.noise_level import order_means_db, white_level_db
from sweeper.analysis.physics.external_noise import fa_from_rise_db
from sweeper.analysis.physics.radiometer import log_average_bias_db, shape_of, spread_db
from tests.sweeper.analysis.day.plain_levels import lowest_fifth_level_db, twenty_percent_level_db


def receiver_noise(seed, visits, samples):
    """Complex white Gaussian samples of a receiver, power averaged over each visit's `samples`; mean power 1."""
    rng = np.random.default_rng(seed)
    volts = rng.normal(size=(visits, samples)) + 1j * rng.normal(size=(visits, samples))
    return (np.abs(volts) ** 2 / 2).mean(axis=1)


@pytest.mark.parametrize("samples", [1, 5, 48, 200])
def test_averaged_noise_is_the_chi_squared_that_the_correction_assumes(samples):
    """2Bτ degrees of freedom: as many independent complex samples as Bτ. Kolmogorov-Smirnov test of SciPy."""
    power = receiver_noise(1, 4000, samples)
    assert shape_of(samples / 0.02, 0.02) == pytest.approx(samples)
    assert stats.kstest(power, stats.chi2(2 * samples, scale=1 / (2 * samples)).cdf).pvalue > 0.001


@pytest.mark.parametrize("samples", [1, 5, 48])
def test_the_20_percent_value_corrected_is_the_mean_power(samples):
    """ITU-R SM.1753-2 §10.3: the level that 80 % of readings exceed, corrected to the rms level of the noise.

    The correction from SciPy's χ² quantile.
    """
    visits = 300_000 if samples == 1 else 60_000
    readings = 10 * np.log10(receiver_noise(2, visits, samples)).reshape(-1, 1000)
    assert twenty_percent_level_db(readings, samples).mean() == pytest.approx(0.0, abs=0.05)
    raw = np.quantile(readings, 0.2, axis=1).mean()
    assert raw == pytest.approx(10 * np.log10(stats.chi2.ppf(0.2, 2 * samples) / (2 * samples)), abs=0.05)


@pytest.mark.parametrize("samples", [1, 5, 48])
def test_mean_of_the_lowest_fifth_or_its_edge_give_the_same_level(samples):
    """However the 20 % method is read: both corrected from the χ² distribution, white noise gives its mean power."""
    readings = 10 * np.log10(receiver_noise(7, 300_000 if samples == 1 else 60_000, samples)).reshape(
        -1, 1000
    )
    assert lowest_fifth_level_db(readings, samples).mean() == pytest.approx(0.0, abs=0.05)
    assert twenty_percent_level_db(readings, samples).mean() == pytest.approx(0.0, abs=0.05)


def test_the_20_percent_value_of_single_samples_lies_6_5_db_low():
    """χ² with two degrees of freedom: 10·log₁₀(−ln 0.8) = −6.51 dB."""
    assert twenty_percent_level_db(np.zeros((1, 3)), 1.0)[0] == pytest.approx(6.51, abs=0.01)


@pytest.mark.parametrize("count", [1, 4, 8])
def test_expected_sorted_readings_are_those_of_scipy(count):
    """Means of order statistics by SciPy's numerical integration of the same χ²."""
    shape = 12.0
    for rank in range(1, count + 1):

        def density(u, rank=rank):
            value = 10 * np.log10(stats.chi2.ppf(u, 2 * shape) / (2 * shape))
            return value * stats.beta.pdf(u, rank, count - rank + 1)

        from scipy.integrate import quad

        reference = quad(density, 0, 1, limit=200)[0]
        assert order_means_db(count, shape)[rank - 1] == pytest.approx(reference, abs=1e-3)


@pytest.mark.parametrize(("bandwidth_hz", "averaging_s"), [(2400, 0.02), (2400, 0.5), (10_000, 0.1)])
def test_readings_scatter_as_the_radiometer_equation_says(bandwidth_hz, averaging_s):
    """Dicke 1946: σ = 4.34/√(Bτ) dB, for many samples."""
    samples = round(bandwidth_hz * averaging_s)
    readings = 10 * np.log10(receiver_noise(3, 3000, samples))
    radiometer_db = 4.343 / np.sqrt(bandwidth_hz * averaging_s)
    assert readings.std() == pytest.approx(radiometer_db, rel=0.06)
    assert spread_db(shape_of(bandwidth_hz, averaging_s)) == pytest.approx(radiometer_db, rel=0.02)


def test_averaging_decibels_reads_2_51_db_low():
    """Euler's constant times 10/ln 10 (logarithmic averaging of noise; any spectrum-analyser note)."""
    assert log_average_bias_db(1.0) == pytest.approx(-2.507, abs=0.001)
    seen = 10 * np.log10(receiver_noise(4, 100_000, 1)).mean()
    assert seen == pytest.approx(-2.507, abs=0.06)


def test_the_level_of_synthetic_noise_is_its_mean_power():
    readings = 10 * np.log10(receiver_noise(5, 40_000, 48)).reshape(5000, 8)
    assert white_level_db(np.sort(readings), 48.0).mean() == pytest.approx(0.0, abs=0.015)


def test_s9_is_50_microvolt_in_50_ohms():
    """IARU Region 1 Technical Recommendation R.1: S9 = −73 dBm below 30 MHz, 6 dB an S-unit."""
    assert pytest.approx(10 * np.log10((50e-6) ** 2 / 50 * 1000), abs=0.05) == S9_DBM
    assert S9_DBM - 8 * 6 == -121


def test_fa_with_the_noise_of_the_equipment_taken_out():
    """ITU-R SM.1753-2 §10.2 and §10.7: as powers, not as decibels, and related to kT₀b.

    Receiver of 15 dB noise figure; outside noise equal to its own: 3.01 dB over the equipment's noise.
    """
    ratio = 10**1.5
    rise_db = 10 * np.log10((2 * ratio - 1) / ratio)
    assert fa_from_rise_db(np.array([rise_db]), 15.0)[0] == pytest.approx(15.0)


def test_intermodulation_products_fall_two_and_three_times_as_fast():
    """Common practice; here from the powers of a polynomial: v² and v³ of a voltage that is halved."""
    drop_db = 20 * np.log10(2)
    for order in (1, 2, 3):
        product_drop_db = 20 * np.log10(1.0**order / 0.5**order)
        assert product_order(product_drop_db, drop_db) == pytest.approx(order)
