"""The level of noise is that of its white part, whatever bursts or steps the meter shows."""

import numpy as np
import pytest

from sweeper.analysis.day.noise_level import (
    mean_power_db,
    order_means_db,
    white_level_db,
)
from sweeper.analysis.physics.radiometer import log_average_bias_db, resolution_db, shape_of
from tests.sweeper.analysis.day.plain_levels import twenty_percent_level_db


def noise_db(level_db, shape, visits, count, seed=1):
    rng = np.random.default_rng(seed)
    return np.asarray(level_db).reshape(-1, 1) + 10 * np.log10(rng.gamma(shape, 1 / shape, (visits, count)))


@pytest.mark.parametrize("shape", [1.0, 5.0, 48.0, 1000.0])
@pytest.mark.parametrize("step_db", [0.0, 0.1, 1.0, 6.0])
def test_the_level_of_pure_noise_is_unbiased_on_fine_and_coarse_meters(shape, step_db):
    true_db = np.random.default_rng(2).uniform(-100, -94, 20_000)
    seen = noise_db(true_db, shape, 20_000, 8)
    if step_db:
        seen = np.round(seen / step_db) * step_db
    error = white_level_db(np.sort(seen), shape, step_db) - true_db
    assert abs(error.mean()) < 4 * error.std() / np.sqrt(len(error))


@pytest.mark.parametrize("step_db", [0.0, 1.0])
def test_bursts_in_three_of_eight_readings_do_not_lift_the_level(step_db):
    seen = noise_db(-90.0, 48.0, 5000, 8)
    seen[:, :3] += 30.0
    if step_db:
        seen = np.round(seen / step_db) * step_db
    assert white_level_db(np.sort(seen), 48.0, step_db).mean() == pytest.approx(-90.0, abs=0.05)
    assert mean_power_db(seen).mean() > -66


def test_the_level_scatters_less_than_the_twenty_percent_value_of_the_same_few_readings():
    seen = noise_db(-90.0, 48.0, 20_000, 8)
    assert white_level_db(np.sort(seen), 48.0).std() < 0.9 * twenty_percent_level_db(seen, 48.0).std()


def test_bare_quantiles_of_rounded_numbers_would_be_biased_where_the_censored_estimate_is_not():
    seen = np.round(noise_db(np.random.default_rng(3).uniform(-95, -94, 20_000), 120.0, 20_000, 8))
    true = np.random.default_rng(3).uniform(-95, -94, 20_000)
    assert abs((white_level_db(np.sort(seen), 120.0, 1.0) - true).mean()) < 0.01
    assert abs((twenty_percent_level_db(seen, 120.0) - true).mean()) > 0.04


def test_a_burst_free_visit_has_mean_power_at_its_level():
    seen = noise_db(-90.0, 48.0, 20_000, 8)
    assert (mean_power_db(seen) - white_level_db(np.sort(seen), 48.0)).mean() == pytest.approx(0.0, abs=0.02)


def test_one_reading_is_a_level_too():
    seen = noise_db(-90.0, 48.0, 20_000, 1)
    assert white_level_db(np.sort(seen), 48.0).mean() == pytest.approx(-90.0, abs=0.02)


def test_readings_that_are_no_numbers_give_no_level():
    assert np.isnan(white_level_db(np.array([[np.nan, -90.0, -90.0]]), 48.0)).all()
    assert np.isnan(white_level_db(np.array([[np.nan, -90.0, -90.0]]), 48.0, 1.0)).all()


def test_constant_readings_on_a_coarse_meter_place_the_level_within_their_step():
    level = white_level_db(np.full((1, 8), -90.0), 48.0, 1.0)
    assert level[0] == pytest.approx(-90.0, abs=0.5)


def test_rounding_stays_when_the_level_stands_still_and_vanishes_when_it_wanders():
    still, wandering = resolution_db(6.0, np.array([0.0, 6.0]))
    assert still == pytest.approx(6.0 / np.sqrt(12), rel=0.06)
    assert wandering < 1e-6


def test_no_reading_averages_over_less_than_one_sample():
    assert shape_of(2400, 1e-6) == 1.0


def test_expected_order_values_average_to_the_log_average():
    for shape in (1.0, 48.0):
        assert order_means_db(8, shape).mean() == pytest.approx(log_average_bias_db(shape), abs=0.01)
