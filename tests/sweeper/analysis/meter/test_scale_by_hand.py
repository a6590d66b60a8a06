"""The step of a meter and the scale of its levels, from readings written down."""

from dataclasses import replace

import numpy as np
import polars as pl
import pytest

from sweeper.analysis.facts import MeterFacts
from sweeper.analysis.meter.scale import ANOTHER_UNIT, levels_of, present_dbm, scales_of, step_of, with_step
from tests.sweeper.analysis.summaries import facts

NAN = float("nan")
PLAIN = MeterFacts("dB-over-S9", False, None, None, None, 0.02, "rms")
IN_DBM = replace(PLAIN, unit="dBm", calibrated=True)
CURVED = replace(PLAIN, calibrated=True, curve=((0.0, -120.0), (10.0, -100.0), (20.0, -90.0)))


@pytest.mark.parametrize(
    ("values", "each", "often", "step"),
    [
        ([0.0, 1.0], 8, 8, 1.0), ([0.0, 1.0], 7, 8, None), ([0.0, 1.0], 2, 2, 1.0), ([0.0], 100, 8, None),
        ([0.0, 0.4, 1.2], 8, 8, 0.4), ([0.0, 2.0, 5.0], 8, 8, 1.0), ([-3.0, -6.0, 9.0], 8, 8, 3.0),
        ([0.0, 0.01], 8, 8, 0.01), ([0.0, 0.009], 8, 8, None), ([0.0, 2000.0], 8, 8, 2000.0),
        ([0.0, 2000.001], 8, 8, None), ([], 1, 8, None), ([NAN, 0.0, 1.0], 8, 5, 1.0),
    ],
)  # fmt: skip
def test_the_step_is_the_greatest_that_divides_all_differences(
    values: list[float], each: int, often: int, step: float | None
) -> None:
    assert step_of(np.array(values * each), often) == step


def test_eight_readings_for_each_value_are_wanted_where_nothing_else_is_asked() -> None:
    assert step_of(np.array([0.0, 1.0] * 8)) == 1.0
    assert step_of(np.array([0.0, 1.0] * 7 + [0.0])) is None


def test_along_a_curve_and_off_its_ends() -> None:
    found = present_dbm(np.array([0.0, 5.0, 15.0, 20.0, -0.1, 20.1]), CURVED)
    assert found[:4].tolist() == [-120.0, -110.0, -95.0, -90.0] and np.isnan(found[4:]).all()
    same = np.array([1.0, 2.0])
    assert present_dbm(same, PLAIN) is same


def test_levels_are_stored_dbm_and_else_what_the_present_curve_says() -> None:
    shown, stored = np.array([5.0, 10.0]), np.array([-108.0, NAN])
    assert levels_of(shown, stored, CURVED).tolist() == [-108.0, -100.0]
    assert levels_of(shown, np.array([-108.0, -99.0]), CURVED).tolist() == [-108.0, -99.0]
    assert levels_of(shown, None, CURVED).tolist() == [-110.0, -100.0]
    assert levels_of(shown, stored, PLAIN).tolist() == [5.0, 10.0]


def scales(
    shown: list[float], stored: list[float] | None, meter: MeterFacts, starts: tuple[int, ...] = (0, 2)
) -> list[int]:
    given = None if stored is None else np.array(stored)
    return scales_of(np.array(shown), given, np.array(starts), meter).tolist()


def test_without_stored_dbm_only_a_meter_in_dbm_is_on_another_scale() -> None:
    shown = [5.0, 6.0, 7.0, 8.0]
    assert scales(shown, None, PLAIN) == scales(shown, None, CURVED) == [0, 0]
    assert scales(shown, None, IN_DBM) == [ANOTHER_UNIT] * 2


@pytest.mark.parametrize(
    ("off", "scale"),
    [(0.0, 0), (0.05, 0), (-0.05, 0), (0.06, 1), (-0.06, -1), (1.0, 1), (1.01, 2), (-3.2, -4)],
)
def test_stored_dbm_off_the_present_curve_are_on_a_scale_of_whole_decibels(off: float, scale: int) -> None:
    on_curve = [-120.0, -110.0, -100.0, -95.0]
    shown = [0.0, 5.0, 10.0, 15.0]
    stored = [dbm + off for dbm in on_curve[:2]] + on_curve[2:]
    assert scales(shown, stored, CURVED) == [scale, 0]


def test_a_visit_that_was_stored_in_part_is_judged_by_that_part() -> None:
    shown = [0.0, 5.0, 10.0, 15.0]
    assert scales(shown, [-118.0, NAN, NAN, NAN], CURVED) == [2, 0]
    assert scales(shown, [-118.0, NAN, NAN, -95.0], CURVED) == [2, 0]


def test_a_reading_off_the_curve_leaves_its_visit_on_a_scale_nobody_knows() -> None:
    assert scales([30.0, 5.0, 10.0, 15.0], [-80.0, -110.0, -100.0, -95.0], CURVED) == [ANOTHER_UNIT, 0]


def test_a_meter_in_dbm_without_stored_values_in_a_visit_was_read_in_another_unit() -> None:
    shown = [-100.0, -101.0, -102.0, -103.0]
    assert scales(shown, [NAN, NAN, -102.0, -103.0], IN_DBM) == [ANOTHER_UNIT, 0]
    assert scales(shown, [-99.0, -100.0, -102.0, -103.0], IN_DBM) == [1, 0]


def test_dbm_that_equal_what_an_uncalibrated_meter_showed_came_from_a_meter_in_dbm() -> None:
    shown = [-100.0, -101.0, -30.0, -31.0]
    assert scales(shown, [-100.0, -101.0, -103.0, -104.0], PLAIN) == [ANOTHER_UNIT, 0]
    assert scales(shown, [NAN, NAN, NAN, NAN], PLAIN) == [0, 0]


def test_a_step_that_the_file_tells_is_not_looked_for_and_one_in_s_units_is_turned_into_decibels() -> None:
    readings = pl.DataFrame({"reading": [0.0, 1.0, None] * 8})
    told = facts(meter=replace(PLAIN, step_db=0.2))
    assert with_step(told, readings) is told
    assert with_step(facts(meter=PLAIN), readings).meter.step_db == 1.0
    # the middle of 2 and 1 dB for each unit
    assert with_step(facts(meter=CURVED), readings).meter.step_db == pytest.approx(1.5)
    still = facts(meter=PLAIN)
    assert with_step(still, pl.DataFrame({"reading": [1.0] * 9})) is still
