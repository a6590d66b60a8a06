"""The estimate of a change put together by hand: its level, control, trend, weights and kinds of day."""

from dataclasses import replace
from datetime import timedelta

import numpy as np
import polars as pl
import pytest
from scipy.stats import norm

from sweeper.analysis.change.before_after import (
    MatchedNights,
    before_after,
    control_of,
    matched_nights,
    shared_dependence,
)
from sweeper.analysis.statistics.dependent_nights import (
    Dependence,
    NightlySeries,
    coefficient,
    courses,
    dependence,
)
from sweeper.analysis.statistics.group_sequential import boundaries, spent_late
from tests.sweeper.analysis.change.test_before_after import levels

APART = Dependence(np.array([each == (0.0, 0.0, 0.0) for each in courses()], dtype=float))
"""Nights that know nothing of each other."""
SLOPING = Dependence(np.array([each == (0.0, 0.0, 0.06) for each in courses()], dtype=float))
SCATTER = np.random.default_rng(7).normal(0.0, 1.0, 20)


def nights(values: np.ndarray, before: int, **more: object) -> MatchedNights:
    day = np.arange(float(len(values))) - before
    series = NightlySeries(day, values, np.column_stack([np.ones(len(values)), day >= 0]))
    told = MatchedNights(series, before, len(values) - before, False, False, True)
    return replace(told, **more)  # type: ignore[arg-type]


@pytest.mark.parametrize("after", [3, 4, 8])
def test_the_level_is_what_is_left_to_spend_after_so_many_mornings(after: int) -> None:
    found = before_after(nights(SCATTER[: 6 + after], 6), APART, 0.05)
    looks = range(3, after + 1)
    edge = boundaries([1 / (1 / 6 + 1 / n) for n in looks], [spent_late(n, 0.05) for n in looks])[-1]
    assert found.level == pytest.approx(2 * norm.sf(edge))
    if after == 3:
        assert found.level == pytest.approx(0.05 * 9 / (9 + 49))
    assert before_after(nights(SCATTER[:8], 6), APART, 0.05).level == 0.025


def test_without_a_control_the_estimate_is_the_step_of_the_nights() -> None:
    found = before_after(nights(SCATTER, 9), APART, 0.05)
    assert found.estimate is not None
    assert found.estimate.value == pytest.approx(SCATTER[9:].mean() - SCATTER[:9].mean())
    pooled = (SCATTER[:9].var() * 9 + SCATTER[9:].var() * 11) / 18
    assert found.estimate.se == pytest.approx(np.sqrt(pooled * (1 / 9 + 1 / 11)))
    assert (found.estimate.dof, found.trend_db, found.control_moved) == (18.0, None, False)


def controlled(follows: float, moved: float = 0.0) -> tuple[MatchedNights, MatchedNights]:
    """A band that follows its control by so much, and the control, which moved by so much at the fix."""
    control = np.random.default_rng(11).normal(0.0, 2.0, 20) + moved * (np.arange(20) >= 9)
    return nights(SCATTER * 0.3 + follows * control - 2.0 * (np.arange(20) >= 9), 9), nights(control, 9)


@pytest.mark.parametrize("follows", [0.5, 1.0, 2.0])
def test_what_a_control_tells_is_taken_out_by_its_own_weight_and_what_it_hides_widens_the_error(
    follows: float,
) -> None:
    """At the fix itself a control may step by 0.7 dB unseen, less what its own nights rule out."""
    band, other = controlled(follows)
    control = control_of(other, APART)
    assert control is not None and band.series is not None and other.series is not None
    beside = other.series.value - other.series.value.mean()
    series = replace(band.series, design=np.column_stack([band.series.design, beside]))
    step, weight = coefficient(series, APART, 1), coefficient(series, APART, 2)
    assert step is not None and weight is not None
    unseen = 1 / (1 / 0.7**2 + 1 / control.step.se**2)
    found = before_after(band, APART, 0.05, control)
    assert found.estimate is not None and found.matched.controlled
    assert found.estimate.value == pytest.approx(step.value)
    assert found.estimate.se == pytest.approx(np.sqrt(step.se**2 + weight.value**2 * unseen))
    assert weight.value == pytest.approx(follows, abs=0.2)


def test_a_control_that_moved_more_than_the_band_is_told() -> None:
    still = controlled(1.0)
    control = control_of(still[1], APART)
    assert control is not None and not before_after(still[0], APART, 0.05, control).control_moved
    band, other = controlled(1.0, moved=4.0)
    control = control_of(other, APART)
    assert control is not None and control.stepped
    assert before_after(band, APART, 0.05, control).control_moved


def test_a_control_that_fell_more_than_the_band_is_told_as_one_that_rose() -> None:
    band, other = controlled(1.0, moved=4.0)
    fallen, other_fallen = (
        replace(each, series=replace(each.series, value=-each.series.value))
        for each in (band, other)
        if each.series is not None
    )
    control = control_of(other_fallen, APART)
    assert control is not None and control.step.value < 0.0
    assert before_after(fallen, APART, 0.05, control).control_moved


def test_a_control_counts_as_stepped_at_one_chance_in_five() -> None:
    for moved in (0.0, 3.0):
        control = control_of(controlled(1.0, moved)[1], APART)
        assert control is not None
        assert control.stepped == (control.step.level_beyond(0.0) < 0.2)
    assert control_of(nights(SCATTER[:5], 3), APART) is None


def test_a_control_with_too_few_of_the_bands_nights_is_left_out() -> None:
    band, other = controlled(1.0)
    assert other.series is not None
    for kept in (slice(7, 20), slice(0, 11)):  # two nights on one side
        fewer = NightlySeries(other.series.day[kept], other.series.value[kept], other.series.design[kept])
        control = control_of(other, APART)
        assert control is not None
        found = before_after(band, APART, 0.05, replace(control, series=fewer))
        assert found.matched is band
    elsewhere = NightlySeries(other.series.day + 100, other.series.value, other.series.design)
    assert before_after(band, APART, 0.05, replace(control, series=elsewhere)).matched is band
    gap = NightlySeries(other.series.day[1:], other.series.value[1:], other.series.design[1:])
    some = before_after(band, APART, 0.05, replace(control, series=gap)).matched
    assert (some.before, some.after) == (8, 11)


def test_a_trend_is_taken_out_where_it_is_likely_and_told() -> None:
    falling = nights(SCATTER - 0.5 * np.arange(20), 9)
    found = before_after(falling, SLOPING, 0.05)
    assert found.trend_db is not None and found.trend_db < 0.0 and found.leaning_db is None
    assert falling.series is not None
    day = falling.series.day
    series = replace(falling.series, design=np.column_stack([falling.series.design, day - day.mean()]))
    step, slope = coefficient(series, SLOPING, 1), coefficient(series, SLOPING, 2)
    assert step is not None and slope is not None and found.estimate is not None
    assert (found.estimate.value, found.trend_db) == (pytest.approx(step.value), pytest.approx(slope.value))
    assert before_after(falling, APART, 0.05).trend_db is None


def test_nights_without_matching_hours_have_no_estimate_even_where_a_trend_is_likely() -> None:
    rows, first = levels([(17,)] * 4 + [(23,)] * 4, after=4)
    matched = matched_nights(rows, first, ("hour_utc",))
    found = before_after(matched, SLOPING, 0.05)
    assert (matched.series, found.estimate, matched.before, matched.after) == (None, None, 4, 4)
    few = before_after(nights(SCATTER[:5], 3), SLOPING, 0.05)
    assert before_after(nights(SCATTER[:3], 2), SLOPING, 0.05).estimate is None
    assert few.estimate is None and shared_dependence([matched]).weights == pytest.approx(
        dependence([]).weights
    )


def test_only_the_ninety_nights_nearest_to_the_fix_are_compared() -> None:
    rows, first = levels([(18,)] * 220, after=110)
    found = matched_nights(rows, first, ("hour_utc",))
    assert (found.before, found.after) == (90, 90)
    assert found.nights[0].night == first - timedelta(days=90)
    assert found.nights[-1].night == first + timedelta(days=89)
    assert found.series is not None and found.series.day.tolist() == list(range(-90, 90))


def test_bands_weigh_by_how_little_they_wander() -> None:
    """1/(variance + 0.25), the step taken out: a band that stands still against one that scatters by √3."""
    still, first = levels([(18,)] * 8, after=4, change_db=-4.0)
    wild = still.with_columns(
        pl.lit("10 m").alias("band"), pl.Series("level", [1.5, -1.5] * 4) * np.sqrt(7 / 8 * 4 / 3)
    )
    found = matched_nights(pl.concat([still, wild]), first, ("band", "hour_utc"))
    first_night = [night.level_db for night in found.nights]
    swing = abs(first_night[0] - first_night[1])
    variances = []
    for rows in (still, wild):
        pooled = (-4.0 + 0.0) / 2  # the slope of all bands together
        left = rows["level"].to_numpy() - pooled * (np.arange(8) >= 4)
        variances.append(left.var(ddof=1))
    weight = 1 / (np.array(variances) + 0.25)
    assert swing == pytest.approx(3.0 * np.sqrt(7 / 8 * 4 / 3) * weight[1] / weight.sum(), rel=0.01)


@pytest.mark.parametrize("hours", [(18,), (18, 19, 20)])
@pytest.mark.parametrize(("nights_each", "matched"), [(5, False), (6, False), (7, True), (14, True)])
def test_weekdays_are_matched_where_each_kind_has_two_nights_on_both_sides(
    nights_each: int, matched: bool, hours: tuple[int, ...]
) -> None:
    """However many hours there are of each."""
    rows, first = levels([hours] * (2 * nights_each), after=nights_each)
    assert matched_nights(rows, first, ("hour_utc",)).kinds_matched == matched


def test_where_kinds_of_day_are_matched_the_weekend_is_a_column_and_costs_a_degree_of_freedom() -> None:
    rows, first = levels([(18,)] * 28, after=14, change_db=-4.0)
    scatter = np.random.default_rng(5).normal(0.0, 1.0, 28)
    weekend = rows["weekend"].to_numpy()
    found = matched_nights(
        rows.with_columns(pl.col("level") + pl.Series(scatter + 3.0 * weekend)), first, ("hour_utc",)
    )
    told = before_after(found, APART, 0.05).estimate
    design = np.column_stack([np.ones(28), np.arange(28) >= 14, weekend])
    by_hand = np.linalg.lstsq(design, scatter + 3.0 * weekend - 4.0 * design[:, 1], rcond=None)[0]
    assert told is not None
    assert (told.value, told.dof) == (pytest.approx(by_hand[1]), 25.0)


def test_what_nights_rest_on_is_told_only_where_all_of_them_do() -> None:
    rows, first = levels([(18, 19)] * 6)
    one = pl.col("hour_utc") == 18
    for flag in ("controlled", "external"):
        some = rows.with_columns(pl.when(one).then(False).otherwise(True).alias(flag))
        found = matched_nights(some, first, ("hour_utc",))
        assert (found.controlled, found.external) == (flag != "controlled", flag != "external")


def test_a_slope_within_both_sides_that_goes_the_other_way_or_may_be_chance_is_not_told() -> None:
    steady = np.array([0.3, -0.3] * 10)
    slope = -0.2 * np.arange(20)
    falls = -3.0 * (np.arange(20) >= 10)
    assert before_after(nights(steady + slope + falls, 10), APART, 0.05).leaning_db == pytest.approx(
        -0.2, abs=0.03
    )
    assert before_after(nights(steady - slope + 4 * falls, 10), APART, 0.05).leaning_db is None
    assert before_after(nights(steady + falls, 10), APART, 0.05).leaning_db is None
