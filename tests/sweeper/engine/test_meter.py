"""Readings become dBm only where the meter was compared with something, and a meter at its end says so."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sweeper.engine import Meter
from sweeper.engine.meter import stuck_readings

S_METER = Meter(in_dbm=False, curve=((0.0, -127.0), (9.0, -73.0), (15.0, -13.0)), floor=0.0, top=15.0)
"""S0 to S9 in steps of 6 dB below S9 = -73 dBm (IARU Region 1 Technical Recommendation R.1), then +60 dB."""


@pytest.mark.parametrize(("s_units", "dbm"), [(9, -73.0), (8, -79.0), (5, -97.0), (1, -121.0), (0.5, -124.0)])
def test_s_units_are_six_decibels_apart_below_s9(s_units: float, dbm: float) -> None:
    assert S_METER.dbm(s_units) == pytest.approx(dbm)


@pytest.mark.parametrize(("s_units", "dbm"), [(10, -63.0), (12, -43.0), (14.5, -18.0), (15, -13.0)])
def test_above_s9_the_second_stretch_of_the_curve_holds(s_units: float, dbm: float) -> None:
    assert S_METER.dbm(s_units) == pytest.approx(dbm)


@pytest.mark.parametrize("reading", [-0.1, 15.1])
def test_a_reading_off_the_curve_has_no_dbm(reading: float) -> None:
    assert S_METER.dbm(reading) is None


def test_uncalibrated_means_no_dbm_and_a_meter_in_dbm_needs_no_curve() -> None:
    assert Meter(in_dbm=False).dbm(-90.0) is None
    assert Meter(in_dbm=True).dbm(-90.0) == -90.0


def test_a_reading_at_the_end_of_the_scale_says_so() -> None:
    assert [S_METER.flag(value) for value in (0.0, 0.1, 14.9, 15.0, -3.0, 16.0)] == [
        "floor", "", "", "clipped", "floor", "clipped",
    ]  # fmt: skip


@given(st.floats(0, 15))
def test_more_on_the_meter_is_never_less_power(reading: float) -> None:
    here, above = S_METER.dbm(reading), S_METER.dbm(min(reading + 0.5, 15.0))
    assert here is not None and above is not None and above >= here


def test_one_coarse_value_through_a_visit_is_no_fault() -> None:
    # Two visits alike: a 1 dB meter on two quiet channels.
    assert stuck_readings([3, 3, 3, 3, 5], [0, 0, 1, 1, 2], [""] * 5) == [False] * 5


def test_quiet_channels_on_a_meter_of_whole_decibels_are_no_dead_meter() -> None:
    assert not any(stuck_readings([4, 7, 7, 7, 7, 7, 7, 8], [0, 0, 1, 1, 2, 2, 3, 3], [""] * 8))


def test_a_meter_of_whole_decibels_that_shows_one_value_all_through_the_pass_is_dead() -> None:
    assert all(stuck_readings([7] * 8, [0, 0, 1, 1, 2, 2, 3, 3], [""] * 8))


def test_three_whole_visits_alike_are_a_dead_meter_from_where_it_died() -> None:
    values = [1, 1.1, 7, 7, 7, 7, 7, 7, 7]
    visits = [0, 0, 0, 1, 1, 2, 2, 3, 3]
    assert stuck_readings(values, visits, [""] * 9) == [False, False, *[True] * 7]


def test_a_meter_that_was_dead_from_the_first_reading_and_came_to_life_is_dead_till_then() -> None:
    values = [7, 7, 7, 7, 7, 7, 7.1, 7.3]
    assert stuck_readings(values, [0, 0, 1, 1, 2, 2, 3, 3], [""] * 8) == [*[True] * 6, False, False]


def test_a_meter_that_rests_on_its_floor_is_not_dead() -> None:
    assert not any(stuck_readings([0] * 8, [0, 0, 1, 1, 2, 2, 3, 3], ["floor"] * 8))


def test_part_of_a_visit_counts_as_none() -> None:
    assert not any(stuck_readings([1, 7, 7, 7, 7, 7.1], [0, 0, 1, 1, 2, 2], [""] * 6))


@given(st.lists(st.sampled_from([1.0, 1.1]), min_size=1, max_size=40), st.integers(1, 4))
def test_whatever_is_called_stale_repeats_its_neighbour(values: list[float], a_visit: int) -> None:
    stale = stuck_readings(values, [n // a_visit for n in range(len(values))], [""] * len(values))
    for n, still in enumerate(stale):
        if still:
            neighbours = [values[m] for m in (n - 1, n + 1) if 0 <= m < len(values) and stale[m]]
            assert values[n] in neighbours


def test_a_meter_whose_ends_nobody_knows_is_at_neither() -> None:
    assert [Meter(in_dbm=True).flag(value) for value in (-1e9, 0.0, 1e9)] == ["", "", ""]


def test_three_whole_visits_alike_after_others_are_a_dead_meter() -> None:
    values = [1, 1.1, 7, 7, 7, 7, 7, 7]
    assert stuck_readings(values, [0, 0, 1, 1, 2, 2, 3, 3], [""] * 8) == [False, False, *[True] * 6]


@pytest.mark.parametrize(
    ("reading", "dbm"), [(0.0, -127.0), (9.0, -73.0), (15.0, -13.0), (4.5, -100.0), (12.0, -43.0)]
)
def test_the_points_of_a_curve_are_on_it_and_straight_lines_lie_between(reading: float, dbm: float) -> None:
    assert S_METER.dbm(reading) == dbm


@pytest.mark.parametrize(("apart", "dead"), [(0.49, True), (0.5, False)])
def test_a_meter_is_coarse_from_half_a_unit_on(apart: float, dead: bool) -> None:
    values = [7.0] * 6 + [7.0 + apart] * 2
    assert any(stuck_readings(values, [0, 0, 1, 1, 2, 2, 3, 3], [""] * 8)) == dead


@pytest.mark.parametrize(
    ("values", "visits", "stale"),
    [
        ([1.1, 7, 7, 7, 1.2], [0, 1, 2, 3, 4], [1, 2, 3]), ([1.1, 7, 7, 1.2], [0, 1, 2, 3], []),
        ([7, 7, 7, 1.1, 1.2], [0, 1, 2, 3, 4], [0, 1, 2]), ([1.1, 1.2, 7, 7, 7], [0, 1, 2, 3, 4], [2, 3, 4]),
        # a row that begins amid a visit, or ends amid one, has one whole visit less
        ([1.1, 7, 7, 7, 7, 1.2], [0, 0, 1, 2, 3, 4], [1, 2, 3, 4]), ([1.1, 7, 7, 7, 1.2], [0, 0, 1, 2, 3], []),
        ([1.1, 7, 7, 7, 7, 1.2], [0, 1, 2, 3, 4, 4], [1, 2, 3, 4]), ([1.1, 7, 7, 7, 1.2], [0, 1, 2, 3, 3], []),
    ],
)  # fmt: skip
def test_three_whole_visits_in_a_row_are_wanted(
    values: list[float], visits: list[int], stale: list[int]
) -> None:
    found = stuck_readings(values, visits, [""] * len(values))
    assert [place for place, still in enumerate(found) if still] == stale


def test_a_flag_on_the_first_of_them_forgives_a_row_that_stands_still() -> None:
    visits = [0, 0, 1, 1, 2, 2, 3, 3]
    values = [7, 7, 7, 7, 7, 7, 1.1, 1.2]
    assert not any(stuck_readings(values, visits, ["clipped"] * 6 + [""] * 2))
    assert any(stuck_readings(values, visits, [""] * 8))
    assert stuck_readings([], [], []) == []
