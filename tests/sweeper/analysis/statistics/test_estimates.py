"""Means over nights: how wide their intervals are, and why."""

import numpy as np
import pytest
from scipy import stats

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
