"""Nights that resemble their neighbours: against statsmodels on the same data, and against planted dependence."""

import numpy as np
import pytest
import statsmodels.api as sm
from scipy import stats

from sweeper.analysis.statistics.dependent_nights import (
    NightlySeries,
    coefficient,
    dependence,
    worth,
)
from sweeper.analysis.statistics.effective_nights import worth as worth_of_nights


def spell(rng, nights, rho):
    """Autoregression of first order with unit variance."""
    values = rng.standard_normal(nights)
    for night in range(1, nights):
        values[night] = rho * values[night - 1] + np.sqrt(1 - rho**2) * values[night]
    return values


def steps(values, before):
    day = np.arange(len(values), dtype=float)
    return NightlySeries(day, np.asarray(values), np.column_stack([np.ones(len(day)), day >= before]))


def means(values):
    day = np.arange(len(values), dtype=float)
    return NightlySeries(day, np.asarray(values), np.ones((len(day), 1)))


@pytest.mark.parametrize("seed, rho", [(1, 0.0), (2, 0.3), (3, 0.6), (4, 0.7), (5, 0.8)])
def test_persistence_is_statsmodels_autoregression_on_five_data_sets(seed, rho):
    """statsmodels SARIMAX(1, 0, 0) with a constant, by maximum likelihood, and its standard error."""
    values = spell(np.random.default_rng(seed), 80, rho)
    fit = sm.tsa.SARIMAX(values, order=(1, 0, 0), trend="c").fit(disp=False)
    theirs, error = float(fit.params[1]), float(fit.bse[1])
    assert dependence([means(values)]).persistence == pytest.approx(theirs, abs=1.5 * error)


def test_independent_nights_give_students_two_sample_interval():
    """Where all weight lies on independence it is SciPy's t test with equal variances, to the last digit."""
    values = np.random.default_rng(6).normal(0.0, 2.0, 15) - 3.0 * (np.arange(15) >= 7)
    alike = dependence([])
    only = np.zeros_like(alike.weights)
    only[0] = 1.0
    found = coefficient(steps(values, 7), type(alike)(only), 1)
    reference = stats.ttest_ind(values[7:], values[:7]).confidence_interval(0.95)
    ends = found.interval(0.05)
    assert (ends.low, ends.high) == (pytest.approx(reference.low), pytest.approx(reference.high))


def test_a_known_spell_gives_statsmodels_generalised_least_squares():
    """statsmodels GLS with the covariance of an autoregression of 0.6: coefficient and standard error."""
    values = spell(np.random.default_rng(7), 20, 0.6)
    alike = dependence([])
    from sweeper.analysis.statistics import dependent_nights as module

    only = np.array([course == (0.6, 0.0, 0.0) for course in module.courses()], dtype=float)
    series = steps(values, 9)
    found = coefficient(series, type(alike)(only), 1)
    sigma = 0.6 ** np.abs(np.subtract.outer(series.day, series.day))
    fit = sm.GLS(values, series.design, sigma=sigma).fit()
    assert found.value == pytest.approx(float(fit.params[1]))
    assert found.se == pytest.approx(float(fit.bse[1]))


@pytest.mark.slow
@pytest.mark.parametrize("rho", [0.0, 0.6])
def test_a_step_is_covered_whether_nights_come_in_spells_or_not(rho):
    """200 months of three bands that share half of their variance, no fix: 95 % intervals hold zero in 91 % or more
    (95 % less two and a half standard errors of the count), which Welch's, taking nights for independent, do not.
    """
    rng = np.random.default_rng(8)
    held, naive = [], []
    for _ in range(200):
        common = spell(rng, 28, rho)
        bands = [steps(0.7 * common + 0.7 * spell(rng, 28, rho), 14) for _ in range(3)]
        ends = coefficient(bands[0], dependence(bands), 1).interval(0.05)
        held.append(ends.low <= 0.0 <= ends.high)
        value = bands[0].value
        naive.append(stats.ttest_ind(value[:14], value[14:], equal_var=False).pvalue > 0.05)
    assert np.mean(held) >= 0.91
    if rho:
        assert np.mean(naive) < 0.80


def test_noise_that_was_falling_already_is_a_trend():
    rng = np.random.default_rng(9)
    falling = [steps(-0.3 * np.arange(28) + rng.standard_normal(28), 14) for _ in range(3)]
    steady = [steps(rng.standard_normal(28), 14) for _ in range(3)]
    assert dependence(falling).trend_chance > 0.9 > 0.6 > dependence(steady).trend_chance
    ends = coefficient(falling[0], dependence(falling), 1).interval(0.05)
    assert ends.low < 0.0 < ends.high


def test_nights_in_spells_count_as_fewer():
    """n(1 − ρ)/(1 + ρ) for long campaigns (the usual effective sample size of an autoregression)."""
    rng = np.random.default_rng(10)
    alike = dependence([means(spell(rng, 60, 0.6)) for _ in range(3)])
    assert worth_of_nights(np.arange(60.0), alike.without_trend().persistence).nights == pytest.approx(
        60 * 0.4 / 1.6, rel=0.35
    )
    apart = dependence([means(rng.standard_normal(60)) for _ in range(3)])
    assert worth_of_nights(np.arange(60.0), apart.without_trend().persistence).nights == pytest.approx(
        60, rel=0.25
    )


def test_bands_that_move_together_are_worth_one():
    rng = np.random.default_rng(11)
    common = rng.standard_normal(30)
    assert worth([means(common), means(common), means(common)]) == pytest.approx(1.0)
    assert worth([means(rng.standard_normal(30)) for _ in range(3)]) > 2.0


def test_values_all_alike_are_known_no_better_than_any_meter_reads():
    ends = coefficient(steps(np.zeros(10), 5), dependence([steps(np.zeros(10), 5)]), 1).interval(0.05)
    assert -0.2 < ends.low < -0.01 and 0.01 < ends.high < 0.2


def test_one_night_on_each_side_says_nothing():
    assert coefficient(steps([1.0, 2.0], 1), dependence([]), 1) is None
