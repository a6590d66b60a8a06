"""What nights that resemble each other are worth, against statsmodels, textbook formulas and simulation."""

import numpy as np
import pytest
from statsmodels.tsa.arima_process import arma_acovf

from sweeper.analysis.statistics.effective_nights import persistence_of, worth
from sweeper.analysis.statistics.estimates import Scatter


def spells(rho, count, rng):
    """Autoregression of first order with unit variance."""
    value = rng.standard_normal(count)
    for n in range(1, count):
        value[n] = rho * value[n - 1] + np.sqrt(1 - rho**2) * value[n]
    return value


@pytest.mark.parametrize("rho", [0.2, 0.6, 0.9])
def test_the_variance_of_the_mean_is_that_of_the_autocovariances(rho):
    """statsmodels' autocovariances of an AR(1) process, summed by the textbook formula for the variance of a mean."""
    count = 12
    covariance = arma_acovf([1.0, -rho], [1.0], nobs=count, sigma2=1 - rho**2)
    lag = np.arange(1, count)
    variance = (covariance[0] + 2 * ((1 - lag / count) * covariance[1:]).sum()) / count
    assert 1 / worth(np.arange(12.0), rho).nights == pytest.approx(variance)


def test_many_nights_are_worth_n_times_one_minus_rho_over_one_plus_rho():
    assert worth(np.arange(400.0), 0.6).nights == pytest.approx(400 * 0.4 / 1.6, rel=0.01)


def test_independent_nights_are_worth_themselves():
    found = worth(np.arange(7.0), 0.0)
    assert (found.nights, found.spread, found.freedom) == (7.0, 1.0, 1.0)


def test_nights_apart_by_a_gap_are_worth_more():
    assert worth(np.arange(0.0, 50.0, 10.0), 0.6).nights > 4.9 > 2.5 > worth(np.arange(5.0), 0.6).nights


def test_scatter_mended_is_that_of_all_nights_on_average():
    """Sample variances of short spells are too small; mended they come out at the variance that was drawn."""
    rng = np.random.default_rng(4)
    found = worth(np.arange(8.0), 0.6)
    drawn = [found.all_nights(Scatter(spells(0.6, 8, rng).var(ddof=1), 7.0)).variance for _ in range(4000)]
    assert np.mean(drawn) == pytest.approx(1.0, abs=0.06)
    assert np.var(drawn) == pytest.approx(2 / (7.0 * found.freedom), rel=0.15)  # of a chi square with those


def test_spells_are_told_from_independent_nights():
    rng = np.random.default_rng(5)
    day = np.arange(20.0)
    alike, apart = (
        np.median([persistence_of([(day, spells(rho, 20, rng)) for _ in range(3)]) for _ in range(12)])
        for rho in (0.6, 0.0)
    )
    assert apart < 0.15 < 0.35 < alike < 0.65


def test_few_nights_leave_what_is_believed_beforehand():
    assert persistence_of([]) == pytest.approx(0.25, abs=0.03)
    assert persistence_of([(np.arange(2.0), np.array([1.0, 2.0]))]) == persistence_of([])


def test_only_what_exceeds_the_error_of_each_night_comes_in_spells():
    """By the textbook variance of a mean under AR(1): the own error divides by n, the rest by the nights' worth."""
    of = worth(np.arange(12.0), 0.6)
    assert of.mean_of(0.3, 11.0, own=0.3) == (pytest.approx(0.3), pytest.approx(11.0))
    wider, dof = of.mean_of(0.3, 11.0)
    assert wider == pytest.approx(0.3 * 12 / of.nights * of.spread)
    assert dof == pytest.approx(11.0 * of.freedom)
    halfway, between = of.mean_of(0.3, 11.0, own=0.15)
    assert halfway == pytest.approx((0.3 + wider) / 2) and dof < between < 11.0
    assert worth(np.arange(12.0), 0.0).mean_of(0.3, 11.0) == (0.3, 11.0)
