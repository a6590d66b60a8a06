"""A step in series that stand still: found where it is, by Student's t, and seldom by chance."""

import numpy as np
import pytest
from scipy import stats

from sweeper.analysis.statistics.steps import Steady, steps


def series(rng, nights=8, step_db=0.0, at=5, se_db=0.2, worse=1.0):
    """Nights whose errors are `worse` times what is stated."""
    day = np.arange(nights, dtype=float)
    value = rng.normal(0.0, worse * se_db, nights) + step_db * (day >= at)
    return Steady(day, value, np.full(nights, se_db))


def test_a_step_is_found_three_nights_after_it_at_its_night_and_size():
    rng = np.random.default_rng(1)
    found = steps([series(rng, step_db=-2.0) for _ in range(4)], 1.0, 1e-4, 0.01)
    assert [step.day for step in found] == [5.0] * 4
    assert [step.size_db for step in found] == [pytest.approx(-2.0, abs=0.5)] * 4


def test_one_series_alone_is_students_two_sample_t_at_its_clearest_place():
    """SciPy's t test with equal variances between the same two sides, times the places looked at."""
    one = series(np.random.default_rng(2), nights=12, step_db=-3.0, at=6, worse=2.0)
    (step,) = steps([one], 1.0, 1.0, 1.0)
    at = int(step.day)
    theirs = stats.ttest_ind(one.value_db[:at], one.value_db[at:]).pvalue
    assert step.chance == pytest.approx(theirs * 9, rel=1e-6)


@pytest.mark.parametrize("worse", [1.0, 3.0])
@pytest.mark.slow
def test_chance_does_not_make_a_step_however_wrong_the_stated_errors_are(worse):
    """2000 stations of three bands at a chance of 1 %, places counted: at most 2 % for each band."""
    rng = np.random.default_rng(3)
    found = [steps([series(rng, 10, worse=worse) for _ in range(3)], 0.0, 0.01, 0.0) for _ in range(2000)]
    assert np.mean([step is not None for each in found for step in each]) <= 0.02


def test_a_band_that_is_sure_by_no_means_steps_along_with_the_others():
    rng = np.random.default_rng(4)
    many = [series(rng, step_db=-2.0) for _ in range(3)]
    unsure = series(rng, step_db=-4.0, se_db=1.2)
    assert steps([unsure], 1.0, 1e-4, 0.01) == [None]
    assert steps([*many, unsure], 1.0, 1e-4, 0.05)[-1].day == 5.0


def test_sides_that_differ_in_what_the_value_follows_are_not_held_against_each_other():
    rng = np.random.default_rng(5)
    plain = series(rng, 12, step_db=-3.0, at=6)
    level = np.where(plain.day >= 6, -10.0, 0.0) + rng.normal(0.0, 1.0, 12)
    bent = Steady(plain.day, plain.value_db, plain.se_db, level[:, None])
    assert steps([bent], 1.0, 1e-4, 0.01) == [None]
    wandering = Steady(plain.day, plain.value_db, plain.se_db, rng.normal(0.0, 3.0, 12)[:, None])
    assert steps([wandering], 1.0, 1e-4, 0.01)[0].day == 6.0


def test_too_few_nights_tell_nothing():
    assert steps([series(np.random.default_rng(6), 3, -9.0, 1)], 1.0, 1e-4, 0.01) == [None]
    assert steps([], 1.0, 1e-4, 0.01) == []
