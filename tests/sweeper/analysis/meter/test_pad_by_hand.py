"""A scale by a pad where every number can be found by hand: readings without scatter, levels in a row."""

import numpy as np
import pytest

from sweeper.analysis.meter.calibration import BudgetLine, Curve, Implausible
from sweeper.analysis.meter.pad import ANCHOR_LINE, PadStep, pad_lines, scale_of


def row(*levels: float, slope: float = 1.0, pad_db: float = 10.0, count: int = 2) -> list[PadStep]:
    """Steps of the pad from each level as an even meter shows them."""
    return [PadStep((slope * level,) * count, (slope * (level - pad_db),) * count) for level in levels]


def budget(curve: Curve) -> dict[str, float]:
    return {line.what: line.standard_db for line in curve.budget}


@pytest.mark.parametrize("anchor", [(0.0, -73.0), (-15.0, -88.0), (12.0, -61.0), (-42.0, -115.0)])
def test_an_even_meter_has_an_even_scale_wherever_it_is_anchored(anchor: tuple[float, float]) -> None:
    curve = scale_of(row(-20, -10, 0), 10.0, anchor)
    assert np.array(curve.pairs) == pytest.approx(
        np.array([(-30, -103), (-20, -93), (-10, -83), (0, -73)]), abs=0.002
    )
    assert curve.residuals_db == pytest.approx((0.0,) * 4, abs=1e-3)
    assert (curve.floor, curve.top, curve.remarks) == (None, None, ())


def test_a_meter_of_half_the_slope_is_stretched() -> None:
    curve = scale_of(row(-20, -10, 0, slope=0.5), 10.0, (5.0, -63.0))
    assert np.array(curve.pairs) == pytest.approx(
        np.array([(-15, -103), (-10, -93), (-5, -83), (0, -73)]), abs=0.002
    )


def test_a_meter_whose_lower_half_is_slower_has_its_knee_where_it_is() -> None:
    steps = [PadStep((level,), (level - span,)) for level, span in ((0, 10), (-10, 10), (-20, 5), (-25, 5))]
    curve = scale_of(steps, 10.0, (0.0, -73.0))
    reading, dbm = np.array(curve.pairs).T
    assert np.interp([-30, -25, -20, -10, 0], reading, dbm) == pytest.approx(
        [-113, -103, -93, -83, -73], abs=0.05
    )


def test_what_is_known_and_what_the_readings_add_stand_in_the_budget() -> None:
    known = (BudgetLine("the pad", 0.2, "B"),)
    curve = scale_of(row(-30, -20, -10, 0, slope=0.5), 10.0, (0.0, -73.0), known, step_db=0.3)
    assert [(line.what, line.kind) for line in curve.budget] == [
        ("the pad", "B"), ("repeatability of the readings", "A"), ("scale between the levels", "B"),
        ("step of the meter", "B"),
    ]  # fmt: skip
    found = budget(curve)
    assert found["repeatability of the readings"] == 0.0
    assert found["scale between the levels"] < 0.01
    assert found["step of the meter"] == pytest.approx(0.3 / np.sqrt(6) / 0.5)
    assert "step of the meter" not in budget(scale_of(row(-20, -10, 0), 10.0, (0.0, -73.0)))


def test_readings_that_scatter_count_by_their_number_and_single_ones_for_half_a_decibel() -> None:
    """GUM 4.2.3: the mean of n readings; a difference has two of them."""
    told = [PadStep((level - 0.3, level + 0.3), (level - 10.3, level - 9.7)) for level in (-20.0, -10.0, 0.0)]
    assert budget(scale_of(told, 10.0, (0.0, -73.0)))["repeatability of the readings"] == pytest.approx(
        np.sqrt(2) * 0.3 * np.sqrt(2 / 2)
    )
    once = scale_of(row(-20, -10, 0, count=1), 10.0, (0.0, -73.0))
    assert budget(once)["repeatability of the readings"] == pytest.approx(0.5 * np.sqrt(2))


def test_a_scale_between_levels_is_as_unsure_as_a_step_is_foretold_by_those_beside_it() -> None:
    far = [PadStep((level,), (level - 10.0,)) for level in (-60.0, -30.0, 0.0)]
    assert budget(scale_of(far, 10.0, (0.0, -73.0)))["scale between the levels"] == pytest.approx(
        0.0, abs=0.05
    )
    uneven = [PadStep((level,), (level - span,)) for level, span in ((0, 10), (-10, 4), (-14, 10))]
    missed = budget(scale_of(uneven, 10.0, (0.0, -73.0)))["scale between the levels"]
    assert missed == pytest.approx(6.0, abs=0.6)  # four decibels shown where its neighbours foretell ten


@pytest.mark.parametrize("standing_on", [-40.0, -45.0])
def test_a_floor_is_named_and_cut_off(standing_on: float) -> None:
    shown = [
        PadStep((max(level, standing_on),), (max(level - 10.0, standing_on),)) for level in range(-60, 1, 10)
    ]
    curve = scale_of(shown, 10.0, (0.0, -73.0))
    assert (curve.floor, curve.top) == (standing_on, None)
    assert curve.remarks == (
        f"Around {standing_on:g} the meter does not follow: that is its floor, and was cut off.",
    )
    assert min(curve.pairs)[0] > standing_on - 1.0


@pytest.mark.parametrize("standing_on", [-10.0, -15.0])
def test_a_top_is_named_and_cut_off(standing_on: float) -> None:
    shown = [
        PadStep((min(level, standing_on),), (min(level - 10.0, standing_on),)) for level in range(-50, 11, 10)
    ]
    curve = scale_of(shown, 10.0, (-30.0, -103.0))
    assert (curve.floor, curve.top) == (None, standing_on)
    assert curve.remarks == (
        f"Around {standing_on:g} the meter does not follow: that is its top, and was cut off.",
    )
    assert max(curve.pairs)[0] < standing_on + 1.0


def test_one_step_that_ends_on_the_lowest_reading_makes_no_floor() -> None:
    assert scale_of(row(-20, -10, 0), 10.0, (0.0, -73.0)).floor is None


def test_what_rises_with_the_pad_in_is_told_by_its_readings() -> None:
    wrong = [*row(-20, -10), PadStep((0.0,), (7.5,))]
    with pytest.raises(Implausible, match=r"rose from 0 to 7\.5: in and out were exchanged"):
        scale_of(wrong, 10.0, (0.0, -73.0))
    # single readings scatter by half a decibel as far as anybody knows: one decibel is no rise
    with pytest.raises(Implausible, match="2 levels"):
        scale_of([*row(-20, -10, count=1), PadStep((0.0,), (0.9,))], 10.0, (0.0, -73.0))


def test_three_levels_are_enough_and_two_are_not() -> None:
    assert len(scale_of(row(-20, -10, 0), 10.0, (0.0, -73.0)).pairs) == 4
    with pytest.raises(Implausible, match="2 levels at which the meter moves are too few: give at least 3"):
        scale_of(row(-10, 0), 10.0, (0.0, -73.0))


@pytest.mark.parametrize("side", [(), (float("nan"), 1.0), (float("inf"),)])
def test_a_side_without_readings_is_told_on_either_side(side: tuple[float, ...]) -> None:
    for broken in (PadStep(side, (1.0,)), PadStep((1.0,), side)):
        with pytest.raises(Implausible, match="lacks readings"):
            scale_of([*row(-20, -10, 0), broken], 10.0, (0.0, -73.0))


def test_the_pad_itself_has_its_tolerance_and_is_uneven_by_a_fiftieth() -> None:
    assert [line.standard_db for line in pad_lines(10.0, 0.3)] == pytest.approx(
        [0.3 / np.sqrt(3), 0.2 / np.sqrt(3)]
    )
    assert {line.kind for line in pad_lines(10.0, 0.3)} == {"B"}
    assert ANCHOR_LINE.standard_db == pytest.approx(10.0 / np.sqrt(3))


def sides(*pairs: tuple[float, float]) -> list[PadStep]:
    return [PadStep((high,) * 2, (low,) * 2) for high, low in pairs]


@pytest.mark.parametrize(
    ("pairs", "floor", "top"),
    [
        (((-40, -40), (-20, -30), (-10, -20), (0, -10)), -40.0, None),  # one step that stands still
        (
            ((-35, -40), (-32, -40), (-20, -30), (-10, -20), (0, -10)),
            -40.0,
            None,
        ),  # two that end on one value
        (((-39.2, -40), (-40, -40), (-20, -30), (-10, -20), (0, -10)), -40.0, None),
        (((-31, -40), (-30.5, -40), (-20, -30), (-10, -20)), None, None),  # two that were the same level
        (((5, 5), (-20, -30), (-10, -20), (0, -10)), None, 5.0),
        (((5, -2), (5, -5), (-20, -30), (-10, -20), (0, -10)), None, 5.0),
        (((0, -10), (0, -9.5), (-20, -30), (-10, -20)), None, None),
    ],
)
def test_what_stands_still_or_ends_on_one_value_from_several_levels_is_an_end_of_the_scale(
    pairs: tuple[tuple[float, float], ...], floor: float | None, top: float | None
) -> None:
    curve = scale_of(sides(*pairs), 10.0, (-10.0, -83.0))
    assert (curve.floor, curve.top) == (floor, top)
    assert len(curve.remarks) == (floor is not None) + (top is not None)
