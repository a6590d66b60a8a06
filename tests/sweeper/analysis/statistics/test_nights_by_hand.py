"""Steps, spells and what nights are worth, where the figures can be found by hand."""

import numpy as np
import pytest
from scipy import stats

from sweeper.analysis.statistics import dependent_nights as dependent
from sweeper.analysis.statistics.dependent_nights import (
    Dependence,
    MixedEstimate,
    NightlySeries,
    coefficient,
    dependence,
    simulated,
)
from sweeper.analysis.statistics.effective_nights import persistence_of, worth
from sweeper.analysis.statistics.estimates import Scatter
from sweeper.analysis.statistics.steps import Steady, steps


def series(values, se_db=0.5, beside=None):
    day = np.arange(len(values), dtype=float) + 100.0
    return Steady(day, np.asarray(values, dtype=float), np.full(len(values), se_db), beside)


def only_step(one, least_db=1.0, chance=1e-2, joint=0.01):
    (found,) = steps([one], least_db, chance, joint)
    return found


HALVES = [0.0] * 4 + [2.0] * 4
T = 2.0 / (0.5 * np.sqrt(1 / 4 + 1 / 4))
"""Two sides of four nights, each known to 0.5 dB."""


def test_a_step_between_nights_that_stand_still_has_students_chance_times_its_places():
    """Six degrees of freedom, five places (two nights on each side at least); errors are believed as stated."""
    step = only_step(series(HALVES))
    assert (step.day, step.size_db) == (104.0, pytest.approx(2.0))
    assert step.chance == pytest.approx(5 * 2 * stats.t.sf(T, 6))
    assert only_step(series([-value for value in HALVES])).size_db == pytest.approx(-2.0)


def test_errors_that_are_stated_too_small_are_taken_from_the_nights():
    values = np.array([0.0, 1.0, 0.0, 1.0, 5.0, 6.0, 5.0, 6.0])
    step = only_step(series(values, se_db=0.01))
    assert step.chance == pytest.approx(5 * stats.ttest_ind(values[:4], values[4:]).pvalue)


def test_a_step_counts_from_its_least_size_and_chance_on():
    assert only_step(series(HALVES), least_db=1.99) is not None
    assert only_step(series(HALVES), least_db=2.01) is None
    due = 5 * 2 * stats.t.sf(T, 6)
    assert only_step(series(HALVES), chance=due * 1.01, joint=0.0) is not None
    assert only_step(series(HALVES), chance=due * 0.99, joint=0.0) is None


def test_two_series_that_step_in_one_night_are_surer_than_either():
    """Twelve degrees of freedom: t of each alone, F of the mean of both squares, five places each."""
    alone, joint = 5 * 2 * stats.t.sf(T, 12), 5 * stats.f.sf(T**2, 2, 12)
    chance = np.sqrt(alone * joint)
    assert joint < 0.2 * alone
    together = steps([series(HALVES), series(HALVES)], 1.0, chance, 0.01)
    assert [step.day for step in together] == [104.0, 104.0]
    assert together[0].chance == pytest.approx(alone / 5)
    assert steps([series(HALVES), series(HALVES)], 1.0, 0.99 * joint, 0.01) == [None, None]
    still = series([0.0, 0.1] * 4)
    assert steps([series(HALVES), still], 1.0, chance, 0.01) == [None, None]


def test_series_whose_errors_are_stated_too_small_are_held_together_by_how_they_scatter():
    """Half a decibel about each side: a variance of a third on six degrees of freedom, in each series."""
    values = [0.0, 1.0, 0.0, 1.0, 3.0, 4.0, 3.0, 4.0]
    square = 3.0**2 / (1 / 3 * (1 / 4 + 1 / 4))
    alone, joint = 5 * 2 * stats.t.sf(np.sqrt(square), 12), 5 * stats.f.sf(square, 2, 12)
    assert 1.01 * joint < 0.99 * alone
    for se_db in (0.01, 0.1):
        pair = [series(values, se_db)] * 2
        assert [step.day for step in steps(pair, 1.0, 1.01 * joint, 0.01)] == [104.0, 104.0]
        assert steps(pair, 1.0, 0.99 * joint, 0.01) == [None, None]


def test_of_several_nights_the_clearest_of_all_series_together_is_the_step():
    """The nights beside it are clear enough as well: three fifths of its square."""
    alone = 5 * 2 * stats.t.sf(T, 18)
    assert 5 * stats.f.sf(0.6 * T**2, 3, 18) < 0.9 * alone
    found = steps([series(HALVES)] * 3, 1.0, 0.9 * alone, 0.01)
    assert [step.day for step in found] == [104.0] * 3


def test_a_night_that_one_series_alone_tells_of_is_no_common_one():
    """The first steps by nine decibels when the second has ended; the second by two, two nights before that."""
    longer, shorter = series([0.0] * 6 + [9.0] * 2), series([0.0] * 4 + [2.0] * 2)
    first, second = steps([longer, shorter], 1.0, 1e-3, 0.01)
    assert (first.day, second.day) == (106.0, 104.0)
    assert steps([shorter], 1.0, 1e-3, 0.01) == [None]


@pytest.mark.parametrize("nights", [3, 4])
def test_four_nights_are_the_fewest(nights):
    values = [0.0, 0.0, 9.0, 9.0][:nights]
    assert (only_step(series(values), chance=1.0) is not None) == (nights == 4)
    follows = np.array([[0.0], [1.0], [1.0], [0.0]])[:nights]  # one degree of freedom less
    assert only_step(series(values, beside=follows), chance=1.0) is None


def test_steps_lie_two_nights_from_either_end():
    assert only_step(series([9.0, 0.0, 0.0, 0.0, 0.0, 0.0]), chance=1e-3) is None
    assert only_step(series([9.0, 9.0, 0.0, 0.0, 0.0, 0.0]), chance=1e-3).day == 102.0
    assert only_step(series([0.0, 0.0, 0.0, 0.0, 9.0, 9.0]), chance=1e-3).day == 104.0


def test_what_a_value_follows_is_taken_out_before_a_step_is_looked_for():
    follows = np.array([[0.0], [3.0], [1.0], [2.0], [2.0], [1.0], [3.0], [0.0]])
    bent = np.array(HALVES) + 1.5 * follows[:, 0]
    assert only_step(series(bent, beside=follows), chance=0.05).size_db == pytest.approx(2.0)
    assert only_step(series(bent, beside=follows), chance=0.05).chance == pytest.approx(
        5 * 2 * stats.t.sf(T, 5)
    )
    only_follows = 1.5 * follows[:, 0]
    assert only_step(series(only_follows, beside=follows), least_db=0.0) is None


@pytest.mark.parametrize(("apart", "looked_for"), [(1.4, True), (1.6, False)])
def test_sides_further_apart_than_they_are_wide_are_not_compared(apart, looked_for):
    """Sides whose pooled standard deviation is 1, apart by one and a half of it, in what the value follows."""
    wide = np.sqrt(3 / 4)
    side = np.array([-wide, wide, -wide, wide])
    follows = np.concatenate([side, side + apart])[:, None]
    found = only_step(series(HALVES, beside=follows), least_db=0.0, chance=1.0)
    assert (found is not None and found.day == 104.0) == looked_for


def test_what_all_series_show_together_needs_less_of_each():
    weak = [0.0] * 4 + [1.2] * 4
    assert only_step(series(weak), chance=1e-4) is None
    together = steps([series(weak)] * 4, 1.0, 1e-3, 0.03)
    own = 2 * stats.t.sf(1.2 / (0.5 * np.sqrt(1 / 2)), 24)
    assert [(each.day, each.size_db, each.chance) for each in together] == [
        (104.0, pytest.approx(1.2), pytest.approx(own))
    ] * 4
    assert steps([series(weak)] * 4, 1.0, 1e-3, own * 0.99) == [None] * 4
    assert steps([series(weak)] * 4, 1.21, 1e-3, 0.03) == [None] * 4
    joint = stats.f.sf((1.2 / (0.5 * np.sqrt(1 / 2))) ** 2, 4, 24) * 5
    assert steps([series(weak)] * 4, 1.0, joint * 0.99, 0.03) == [None] * 4
    assert steps([series(weak)] * 4, 1.0, joint * 1.01, 0.03) != [None] * 4


def test_a_series_too_short_is_passed_over_among_others():
    found = steps([series([0.0, 9.0]), series(HALVES)], 1.0, 0.01, 0.01)
    assert found[0] is None and found[1].day == 104.0


def test_no_night_one_night_and_independent_nights_are_worth_what_they_are():
    for count in (0, 1, 5):
        found = worth(np.arange(float(count)), 0.6 if count < 2 else 0.0)
        assert (found.nights, found.spread, found.freedom, found.count) == (float(count), 1.0, 1.0, count)


def test_two_nights_that_are_half_alike_are_worth_one_and_a_third():
    """n²/Σρ = 4/(2 + 2·0.5); the sample variance has 1 − 0.5 of what it should."""
    found = worth(np.array([40.0, 41.0]), 0.5)
    assert (found.nights, found.spread, found.freedom) == pytest.approx((4 / 3, 2.0, 1.0))
    assert worth(np.array([40.0, 43.0]), 0.5).nights == pytest.approx(4 / (2 + 2 * 0.125))
    assert found.all_nights(Scatter(0.5, 1.0)) == Scatter(1.0, 1.0)
    assert found.mean_of(0.3, 7.0) == pytest.approx((0.3 + (2 / (4 / 3) * 2 - 1) * 0.3, 7.0))


def test_three_nights_have_the_trace_and_freedom_of_their_correlations():
    found = worth(np.arange(3.0), 0.5)
    alike = np.array([[1, 0.5, 0.25], [0.5, 1, 0.5], [0.25, 0.5, 1]])
    centre = np.eye(3) - 1 / 3
    left = centre @ alike
    assert found.spread == pytest.approx(2 / np.trace(left))
    assert found.freedom == pytest.approx(np.trace(left) ** 2 / np.trace(left @ left) / 2)


def test_a_mean_of_one_night_or_without_variance_is_left_as_it_is():
    assert worth(np.array([1.0]), 0.5).mean_of(0.3, 7.0) == (0.3, 7.0)
    assert worth(np.array([]), 0.5).mean_of(0.3, 7.0) == (0.3, 7.0)
    assert worth(np.arange(5.0), 0.5).mean_of(0.0, 7.0) == (0.0, 7.0)
    assert worth(np.arange(5.0), 0.5).mean_of(0.2, 7.0, own=0.4) == (0.2, 7.0)


def test_persistence_is_found_from_the_latest_sixty_nights_and_from_three_on():
    rng = np.random.default_rng(3)
    day, value = np.arange(100.0), rng.standard_normal(100)
    value[:40] = np.cumsum(rng.standard_normal(40)) * 5
    assert persistence_of([(day, value)]) == persistence_of([(day[40:], value[40:])])
    assert persistence_of([(day, value)]) != persistence_of([(day[39:], value[39:])][:0])
    three = (np.arange(3.0), np.array([0.0, 5.0, 0.0]))
    assert persistence_of([three]) != persistence_of([])


def test_beforehand_each_dependence_has_the_chance_that_its_table_says():
    courses, weights = np.array(dependent.courses()), dependence([]).weights
    assert len(courses) == 4 + 7 * 2 * 4 and weights.sum() == pytest.approx(1.0)
    rho, own, kappa = courses.T
    believed = {0.0: 0.26, 0.15: 0.2, 0.3: 0.16, 0.45: 0.13, 0.6: 0.11, 0.7: 0.07, 0.8: 0.05, 0.9: 0.02}
    for value, chance in believed.items():
        assert weights[rho == value].sum() == pytest.approx(chance)
    for value, chance in zip((0.0, 0.03, 0.06, 0.12), (0.5, 0.25, 0.15, 0.1), strict=True):
        assert weights[kappa == value].sum() == pytest.approx(chance)
    assert weights[own == 0.4].sum() == pytest.approx(0.74 / 2)
    assert dependence([]).trend_chance == pytest.approx(0.5)
    assert dependence([]).persistence == pytest.approx((weights * (1 - own) * rho).sum())
    steady = dependence([]).without_trend()
    assert steady.trend_chance == 0.0 and steady.weights.sum() == pytest.approx(1.0)
    assert steady.persistence == pytest.approx(dependence([]).persistence)


def one_course(course):
    """All weight on one dependence."""
    return Dependence(np.array([each == course for each in dependent.courses()], dtype=float))


@pytest.mark.parametrize("course", [(0.6, 0.4, 0.0), (0.3, 0.0, 0.12), (0.0, 0.0, 0.06)])
def test_a_dependence_is_generalised_least_squares_with_its_covariance(course):
    """The textbook formulas, matrix by matrix, with the covariance that the module's opening lines write down."""
    rho, own, kappa = course
    rng = np.random.default_rng(4)
    day = np.array([0.0, 1.0, 2.0, 4.0, 5.0, 9.0, 10.0, 11.0])
    value, design = rng.standard_normal(8), np.column_stack([np.ones(8), day >= 5])
    apart = np.abs(np.subtract.outer(day, day))
    alike = rho**apart if rho else np.eye(8)
    covariance = (1 - own) * alike + own * np.eye(8) + kappa**2 * np.outer(day - day.mean(), day - day.mean())
    inverse = np.linalg.inv(covariance)
    gram = np.linalg.inv(design.T @ inverse @ design)
    beta = gram @ design.T @ inverse @ value
    left = value - design @ beta
    scale = np.sqrt(left @ inverse @ left / 6 * gram[1, 1])
    found = coefficient(NightlySeries(day, value, design), one_course(course), 1)
    assert (found.value, found.se, found.dof) == pytest.approx((beta[1], scale, 6.0))


def test_values_all_alike_scatter_by_two_hundredths_of_a_decibel():
    day = np.arange(10.0)
    still = NightlySeries(day, np.zeros(10), np.column_stack([np.ones(10), day >= 5]))
    found = coefficient(still, one_course((0.0, 0.0, 0.0)), 1)
    assert found.se == pytest.approx(0.02 * np.sqrt(10 / 8 * (1 / 5 + 1 / 5)))


def test_series_that_are_partly_alike_are_worth_less_by_what_exceeds_chance():
    """Two series of five nights whose correlation is r: 4/(2 + 2·(r² − (1 − r²)/4))."""
    first = np.array([2.0, -1.0, -1.0, 0.0, 0.0])
    second = np.array([0.0, 1.0, -1.0, 1.0, -1.0])
    day = np.arange(5.0)

    def of(*values):
        return dependent.worth([NightlySeries(day, value, np.ones((5, 1))) for value in values])

    assert of(first, second) == pytest.approx(2.0)
    mixed = 0.8 * first / np.sqrt(6) + 0.6 * second / 2
    assert of(first, mixed) == pytest.approx(4 / (2 + 2 * (0.64 - 0.36 / 4)))
    assert of(first, first, first) == pytest.approx(1.0)
    assert of(first, np.zeros(5)) == 1.0


def test_a_mixture_of_two_laws_has_their_mean_spread_and_quantiles():
    mixed = MixedEstimate(np.array([0.0, 2.0]), np.array([1.0, 0.5]), np.array([0.75, 0.25]), 5.0)
    assert mixed.value == pytest.approx(0.5)
    assert mixed.se == pytest.approx(np.sqrt(0.75 * (1 + 0.25) + 0.25 * (0.25 + 2.25)))
    ends = mixed.interval(0.1)
    for end, chance in ((ends.low, 0.05), (ends.high, 0.95)):
        assert 0.75 * stats.t.cdf(end, 5) + 0.25 * stats.t.cdf((end - 2) / 0.5, 5) == pytest.approx(
            chance, abs=1e-5
        )
    below = 0.75 * stats.t.cdf(3.0, 5) + 0.25 * stats.t.cdf(2.0, 5)
    assert mixed.level_beyond(3.0) == pytest.approx(2 * (1 - below))
    wider = mixed.widened(3.0)
    assert wider.scales == pytest.approx(np.sqrt(np.array([4.0, 3.25]))) and wider.dof == 5.0
    one = MixedEstimate(np.array([1.0, 9.0]), np.array([0.5, 1.0]), np.array([1.0, 0.0]), 5.0)
    assert one.interval(0.05).high == pytest.approx(1.0 + 0.5 * stats.t.isf(0.025, 5))


def test_drawn_series_are_as_dependent_as_they_are_said_to_be():
    drawn = simulated(np.arange(6.0), one_course((0.6, 0.0, 0.0)), 4000, np.random.default_rng(5))
    assert drawn.shape == (4000, 6)
    assert np.corrcoef(drawn[:, 0], drawn[:, 1])[0, 1] == pytest.approx(0.6, abs=0.05)
    assert drawn.std() == pytest.approx(1.0, abs=0.05)


def test_one_degree_of_freedom_is_enough_to_be_asked_and_none_is_not():
    day = np.arange(3.0)
    three = NightlySeries(day, np.array([0.0, 1.0, 5.0]), np.column_stack([np.ones(3), day >= 1]))
    assert coefficient(three, dependence([]), 1) is not None and three.dof_left == 1
    two_left = NightlySeries(day, np.array([0.0, 1.0, 5.0]), np.ones((3, 1)))
    assert not np.allclose(dependence([two_left]).weights, dependence([]).weights)
    two = NightlySeries(day[:2], np.array([0.0, 1.0]), np.ones((2, 2)))
    assert np.allclose(dependence([two]).weights, dependence([]).weights)


@pytest.mark.parametrize(("apart", "looked_for"), [(1.0, True), (2.5, False)])
def test_no_step_is_looked_for_where_what_a_value_follows_stands_apart_itself(apart, looked_for):
    """Sides of width 1 (SciPy's pooled scatter of 0, 1, 2 is 1): apart by less than 1.5 of that, or by more."""
    follows = 10.0 + np.array([0.0, 1.0, 2.0, 0.0 + apart, 1.0 + apart, 2.0 + apart])
    values = np.array([0.0, 0.0, 0.1, 9.0, 9.0, 9.1])
    found = only_step(series(values, beside=follows[:, None]), least_db=0.0, chance=1.0)
    assert (found is not None and found.day == 103.0) == looked_for
