"""Nights that were not there: the mean over all of them, from a few, through the curve."""

import numpy as np
import pytest
from scipy.stats import t

from sweeper.analysis.statistics.curved_mean import curve, over_all_nights
from sweeper.analysis.statistics.estimates import Estimate, Scatter

STAGE = curve(15.0, 5.0)
SURE = Estimate(0.0, 0.0, 1e6)


def change(excess_db):
    """Two powers and their ratio, without the curve's own formula: kelvins of external, receiver and stage noise."""
    outside = 1000.0 * 10 ** (excess_db / 10)
    behind_stage = 31.6228 * outside + 1000.0 * 10**0.5
    return 10 * np.log10(31.6228 * (outside + 1000.0) / behind_stage)


def test_without_scatter_the_mean_is_the_night_itself():
    nights = np.full(5, 3.0) + np.array([1e-3, -1e-3, 0, 1e-3, -1e-3])
    found = over_all_nights(STAGE, nights, STAGE.at(nights), Scatter(1e-6, 4.0), SURE)
    assert found is not None
    assert found.value == pytest.approx(float(change(np.array([3.0]))[0]), abs=0.01)


def test_the_mean_over_many_nights_comes_back():
    nights = 6.0 + 4.0 * np.random.default_rng(1).standard_normal(400)
    found = over_all_nights(STAGE, nights, STAGE.at(nights), Scatter(float(nights.var(ddof=1)), 399.0), SURE)
    many = 6.0 + 4.0 * np.random.default_rng(2).standard_normal(200_000)
    assert found is not None
    assert found.interval(0.05).low <= change(many).mean() <= found.interval(0.05).high
    assert found.value == pytest.approx(change(many).mean(), abs=0.15)


def test_the_quiet_night_that_did_not_come_is_allowed_for():
    """On a noisy band few nights agree on almost nothing; the interval reaches further up than down."""
    nights = 12.0 + 4.0 * np.random.default_rng(3).standard_normal(6)
    found = over_all_nights(STAGE, nights, STAGE.at(nights), Scatter(float(nights.var(ddof=1)), 5.0), SURE)
    assert found is not None
    interval = found.interval(0.05)
    assert interval.high - interval.value > 1.5 * (interval.value - interval.low)


def test_what_was_measured_directly_is_the_anchor():
    nights = 6.0 + np.random.default_rng(4).standard_normal(6)
    scatter = Scatter(float(nights.var(ddof=1)), 5.0)
    on, off = (
        over_all_nights(STAGE, nights, STAGE.at(nights) + shift, scatter, SURE) for shift in (0.0, -0.4)
    )
    assert on is not None and off is not None
    assert off.value == pytest.approx(on.value - 0.4)


def test_level_and_interval_are_inverse():
    nights = 6.0 + 3.0 * np.random.default_rng(5).standard_normal(8)
    found = over_all_nights(
        STAGE, nights, STAGE.at(nights), Scatter(float(nights.var(ddof=1)), 7.0), Estimate(0, 0.1, 9)
    )
    assert found is not None
    for level in (0.2, 0.05, 0.001):
        interval = found.interval(level)
        assert found.level_beyond(interval.low) == pytest.approx(level, rel=0.02)
        assert found.level_beyond(interval.high) == pytest.approx(level, rel=0.02)


def test_a_gain_that_is_a_small_part_of_the_error_is_not_the_part_that_makes_it_unsure():
    nights = 6.0 + 3.0 * np.random.default_rng(5).standard_normal(20)
    scatter = Scatter(float(nights.var(ddof=1)), 19.0)
    none, small, large = (
        over_all_nights(STAGE, nights, STAGE.at(nights), scatter, Estimate(0.0, se, 3.0)).interval(1e-4)
        for se in (0.0, 0.05, 2.0)
    )
    assert small.high - small.low < 1.1 * (none.high - none.low)
    # Student's factor for three degrees of freedom at this level is 28 (SciPy).
    assert large.high - large.value == pytest.approx(2.0 * t.isf(0.5e-4, 3), rel=0.1)


def test_few_askew_nights_keep_their_coverage_where_students_t_does_not():
    """Six nights, 5 dB from night to night, 12 dB above the receiver: 95 % intervals of 400 campaigns."""
    rng = np.random.default_rng(6)
    truth = change(12.0 + 5.0 * rng.standard_normal(400_000)).mean()
    held, students = 0, 0
    for _ in range(400):
        nights = 12.0 + 5.0 * rng.standard_normal(6)
        direct = STAGE.at(nights)
        found = over_all_nights(STAGE, nights, direct, Scatter(float(nights.var(ddof=1)), 5.0), SURE)
        plain = Estimate(float(direct.mean()), float(direct.std(ddof=1) / np.sqrt(6)), 5.0)
        assert found is not None
        held += found.interval(0.05).low <= truth <= found.interval(0.05).high
        students += plain.interval(0.05).low <= truth <= plain.interval(0.05).high
    assert 0.925 <= held / 400 <= 0.985
    assert students / 400 < 0.9
