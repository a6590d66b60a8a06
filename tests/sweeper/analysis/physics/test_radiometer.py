"""How far readings of noise scatter, number by number."""

import numpy as np
import pytest
from scipy.stats import norm

from sweeper.analysis.physics.radiometer import (
    log_average_bias_db,
    resolution_db,
    resolution_over_nights_db,
    shape_of,
    spread_db,
    thermal_dbm,
)


@pytest.mark.parametrize(
    ("bandwidth_hz", "averaging_s", "shape"), [(2400.0, 0.02, 48.0), (3.0, 0.5, 1.5), (0.5, 1.0, 1.0)]
)
def test_the_shape_is_bandwidth_times_time_and_a_sample_at_least(
    bandwidth_hz: float, averaging_s: float, shape: float
) -> None:
    assert shape_of(bandwidth_hz, averaging_s) == pytest.approx(shape)


def test_one_sample_scatters_by_5_57_db_and_reads_2_51_low() -> None:
    """Power of one complex sample is exponential: 10/ln 10 · π/√6 and 10/ln 10 · Euler's constant (handbooks)."""
    assert spread_db(1.0) == pytest.approx(10 / np.log(10) * np.pi / np.sqrt(6))
    assert log_average_bias_db(1.0) == pytest.approx(-10 / np.log(10) * np.euler_gamma)
    assert log_average_bias_db(48.0) == pytest.approx(-10 / np.log(10) / 96, rel=0.01)


def mean_error_of_rounding_db(step_db: float, spread: float) -> float:
    """Root mean square, over all levels, of what rounding leaves in the mean of many normal readings: by summing."""
    levels = np.linspace(-step_db / 2, step_db / 2, 401)[:-1]
    steps = np.arange(-60, 61)
    edges = ((steps[:, None] + 0.5) * step_db - levels) / spread
    below = norm.cdf(edges)
    shares = np.diff(below, axis=0, prepend=0.0)
    read = (steps[:, None] * step_db * shares).sum(axis=0)
    return float(np.sqrt(np.mean((read - levels) ** 2)))


@pytest.mark.parametrize(("step_db", "spread"), [(1.0, 0.1), (1.0, 0.2), (6.0, 1.5), (3.0, 1.2)])
def test_what_a_coarse_step_hides_is_what_rounding_leaves(step_db: float, spread: float) -> None:
    found = resolution_db(step_db, np.array([[spread, spread]]))
    assert found.shape == (1, 2)
    assert found[0] == pytest.approx(mean_error_of_rounding_db(step_db, spread), rel=2e-3)


def test_without_any_wander_a_step_hides_its_square_by_twelve_and_no_step_hides_nothing() -> None:
    # the sum is cut at its eighth term, 4 % short of the whole
    assert resolution_db(6.0, np.zeros(1))[0] == pytest.approx(6.0 / np.sqrt(12), rel=0.04)
    for no_step in (0.0, -1.0):
        assert resolution_db(no_step, np.array([0.0, 0.5])).tolist() == [0.0, 0.0]


@pytest.mark.parametrize(("bandwidth_hz", "dbm"), [(1.0, -173.98), (2400.0, -140.17)])
def test_thermal_noise_lies_where_handbooks_have_it(bandwidth_hz: float, dbm: float) -> None:
    """−174 dBm in 1 Hz at 290 K (any handbook; the second decimal from the SI's Boltzmann constant)."""
    assert thermal_dbm(bandwidth_hz) == pytest.approx(dbm, abs=0.005)


@pytest.mark.parametrize("stray", [0.0, 0.15, 0.3, 0.6])
def test_rounding_of_nights_averages_out_as_levels_wander_over_the_steps(stray: float) -> None:
    """Levels of ten nights rounded to whole decibels, 4000 times: the error of their mean is no larger than said."""
    rng = np.random.default_rng(11)
    levels = rng.uniform(0.0, 1.0, (4000, 1)) + stray * rng.standard_normal((4000, 10))
    shown = np.rint(levels)
    error = np.sqrt(np.mean((shown - levels).mean(axis=1) ** 2))
    told = np.sqrt(np.mean([resolution_over_nights_db(np.sqrt(1 / 12), 1.0, each) ** 2 for each in levels]))
    assert 0.98 * error <= told <= (1.1 if stray in (0.0, 0.6) else 2.0) * error


def test_what_wanders_is_counted_in_steps_of_the_meter() -> None:
    """Levels within a hundredth of a step all round alike; those over several steps, each in its own way."""
    levels = np.array([0.0, 0.1, 0.2])
    assert resolution_over_nights_db(0.3, 8.0, levels) == pytest.approx(0.3, rel=0.01)
    assert resolution_over_nights_db(0.3, 0.1, levels) == pytest.approx(0.3 / np.sqrt(3.0), rel=0.01)


def test_two_nights_or_a_fine_meter_take_nothing_off_what_the_step_leaves() -> None:
    assert resolution_over_nights_db(0.3, 1.0, np.array([0.0, 9.0])) == 0.3
    assert resolution_over_nights_db(0.3, 0.0, np.array([0.0, 9.0, 4.0])) == 0.3
    assert resolution_over_nights_db(0.3, 1.0, np.full(5, 2.0)) == pytest.approx(0.3)
    assert resolution_over_nights_db(0.3, 1.0, np.array([0.0, 9.0, 4.0])) == pytest.approx(0.3 / np.sqrt(3.0))
