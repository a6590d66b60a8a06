"""Means over nights: how wide their intervals are, and why."""

import numpy as np
import pytest
from scipy import special, stats

from sweeper.analysis.statistics.estimates import Estimate, scatters, summed


def test_an_estimate_from_two_sources_has_welch_and_satterthwaite_freedom():
    found = summed(1.0, [(0.04, 6.0), (0.01, 3.0)])
    assert found.se == pytest.approx(np.sqrt(0.05))
    assert found.dof == pytest.approx(0.05**2 / (0.04**2 / 6 + 0.01**2 / 3))


def test_the_level_beyond_an_edge_is_that_of_the_interval_that_touches_it():
    estimate = Estimate(2.0, 0.4, 5.0)
    assert estimate.interval(estimate.level_beyond(1.0)).low == pytest.approx(1.0)


def test_one_cell_alone_borrows_nothing():
    values = np.random.default_rng(1).normal(size=(6, 1))
    (only,) = scatters(values, np.ones(1))
    assert only.dof == 5
    assert only.variance == pytest.approx(values.var(ddof=1))


def test_hours_that_share_their_nights_lend_nothing_new():
    """Ten hours that rise and fall together are one hour read ten times."""
    night = np.random.default_rng(2).normal(size=(6, 1))
    found = scatters(np.repeat(night, 10, axis=1), np.ones(10))
    assert found[0].dof == pytest.approx(5.0, abs=0.01)


def test_hours_with_nights_of_their_own_lend_strength():
    found = scatters(np.random.default_rng(3).normal(size=(6, 10)), np.ones(10))
    assert found[0].dof > 8


def test_cells_that_scatter_differently_lend_little():
    values = np.random.default_rng(4).normal(size=(12, 10)) * np.array([0.1, 3.0] * 5)
    found = scatters(values, np.ones(10))
    assert found[0].dof < 11 + 2
    assert found[0].variance < 1.0


def test_borrowed_scatter_keeps_its_coverage():
    """A thousand tables of four hours, five nights: 95 % intervals hold the truth in 95 %."""
    rng = np.random.default_rng(5)
    held = []
    for _ in range(1000):
        values = 0.7 * rng.normal(size=(5, 1)) + 0.7 * rng.normal(size=(5, 4))
        scatter = scatters(values, np.ones(4))[0]
        estimate = Estimate(values[:, 0].mean(), np.sqrt(scatter.variance / 5), scatter.dof)
        held.append(estimate.interval(0.05).low <= 0.0 <= estimate.interval(0.05).high)
    assert stats.binomtest(sum(held), 1000, 0.95).pvalue > 1e-3


# Contrasts of nine nights that know nothing of each other, each of variance 1.
NIGHTS = 9
_NUMBERED = np.arange(NIGHTS)[:, None]
CONTRASTS = np.sqrt(2 * (NIGHTS - 1) / NIGHTS) * np.cos(np.pi * (_NUMBERED + 0.5) * np.arange(1, 6) / NIGHTS)


def test_students_interval_reaches_as_far_as_the_tables_say():
    """t for 4 degrees of freedom and 95 %: 2.776 (any table)."""
    interval = Estimate(2.0, 0.5, 4.0).interval(0.05)
    assert (interval.value, interval.low, interval.high) == pytest.approx((2.0, 0.612, 3.388), abs=1e-3)


def test_a_value_without_error_lies_beyond_any_edge_but_its_own():
    assert Estimate(2.0, 0.0, 4.0).level_beyond(1.0) == 0.0
    assert Estimate(2.0, 0.0, 4.0).level_beyond(2.0) == 1.0
    assert Estimate(2.0, 0.5, 4.0).level_beyond(2.0) == pytest.approx(1.0)


def test_parts_of_which_nothing_is_known_lend_no_freedom():
    assert summed(1.0, []) == Estimate(1.0, 0.0, 1.0)
    assert summed(1.0, [(0.04, 0.0)]) == Estimate(1.0, 0.2, 1e6)
    assert summed(1.0, [(0.04, 6.0), (0.01, 0.0)]).dof == pytest.approx(0.05**2 / (0.04**2 / 6))


def test_two_cells_alike_lend_each_other_all_their_freedom_and_scatter_as_their_shapes():
    values = CONTRASTS[:, :2] * np.array([1.0, 3.0]) + np.array([-7.0, 5.0])
    narrow, wide = scatters(values, np.array([1.0, 3.0]))
    assert (narrow.dof, wide.dof) == pytest.approx((16.0, 16.0))
    assert (narrow.variance, wide.variance) == pytest.approx((1.0, 9.0))


def test_a_cell_mixes_its_own_variance_with_the_others_by_their_freedom():
    """Smyth 2004, equation 1: (d·s² + d₀·s₀²)/(d + d₀)."""
    values = CONTRASTS[:, :2] * np.sqrt([1.2, 0.8])
    first, second = scatters(values, np.ones(2))
    assert first.dof == pytest.approx(16.0)  # the variances differ by no more than chance
    assert first.variance == pytest.approx((8 * 1.2 + 8 * 1.0) / 16)
    assert second.variance == pytest.approx((8 * 0.8 + 8 * 1.0) / 16)


def test_others_lend_twelve_degrees_at_most():
    assert [each.dof for each in scatters(CONTRASTS, np.ones(5))] == pytest.approx([20.0] * 5)


@pytest.mark.parametrize("apart", [1.8, 3.0, 6.0])
def test_how_little_unlike_cells_lend_follows_from_how_their_variances_differ(apart):
    """Smyth 2004, section 6.2: trigamma(d₀/2) is the variance of log s² beyond trigamma(d/2)."""
    values = CONTRASTS[:, :2] * np.exp(np.array([0.0, apart]) / 2)
    lent = scatters(values, np.ones(2))[0].dof - 8
    beyond = apart**2 / 2 - special.polygamma(1, 4.0)
    assert special.polygamma(1, lent / 2) == pytest.approx(beyond, rel=1e-6)


def test_two_nights_are_enough_to_scatter_and_one_or_none_are_not():
    values = np.array([[1.0, 1.0, np.nan], [3.0, np.nan, np.nan]])
    two, one, none = scatters(values, np.ones(3))
    assert (two.variance, two.dof) == (2.0, 1.0)
    assert np.isnan([one.variance, none.variance]).all() and (one.dof, none.dof) == (0.0, 0.0)


def test_nights_all_alike_scatter_by_nothing_and_lend_nothing():
    for each in scatters(np.ones((5, 3)), np.ones(3)):
        assert (each.variance, each.dof) == (0.0, 4.0)


@pytest.mark.parametrize("unknown", [np.nan, 0.0, np.inf])
def test_a_cell_whose_shape_nobody_knows_neither_lends_nor_borrows(unknown):
    first, second, alone = scatters(CONTRASTS[:, :3], np.array([1.0, 1.0, unknown]))
    assert (first.dof, second.dof, alone.dof) == pytest.approx((16.0, 16.0, 8.0))
    assert alone.variance == pytest.approx(1.0)


def test_cells_without_a_common_night_lend_the_mean_of_what_they_know_however_unlike_their_nights():
    """Nineteen nights here, four others there, of the same variance: 18 and 3 degrees of freedom, 10.5 lent."""
    values = np.full((23, 2), np.nan)
    for cell, nights in enumerate((np.arange(19), np.arange(19, 23))):
        there = np.cos(np.pi * (np.arange(len(nights)) + 0.5) / len(nights))
        values[nights, cell] = there / there.std(ddof=1)
    first, second = scatters(values, np.ones(2))
    assert (first.dof, second.dof) == pytest.approx((28.5, 13.5))
    assert (first.variance, second.variance) == pytest.approx((1.0, 1.0))


def test_nights_that_a_cell_lacks_are_no_freedom_of_its():
    values = CONTRASTS[:, :2].copy()
    values[:4, 1] = np.nan
    first, second = scatters(values, np.ones(2))
    assert first.dof - second.dof == pytest.approx(4.0)
    assert second.dof > 4.0
