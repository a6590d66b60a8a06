"""A calibration in numbers that can be worked out, each refusal at its bound. Budgets after JCGM 100:2008 (GUM)."""

import math

import pytest

from sweeper.analysis.meter.calibration import (
    BudgetLine,
    Curve,
    Implausible,
    KnownLevel,
    bandwidth_uncertainty_db,
    combined_db,
    curve_of,
    flatness_line,
    mismatch_line,
    noise_bandwidth_hz,
)


def levels(*pairs: tuple[float, float], apart: float = 0.0) -> list[KnownLevel]:
    """Two readings a level, `apart` from each other."""
    return [KnownLevel(dbm, (reading - apart / 2, reading + apart / 2)) for dbm, reading in pairs]


def lines(curve: Curve) -> dict[str, tuple[float, str]]:
    return {line.what: (line.standard_db, line.kind) for line in curve.budget}


EVEN = ((-120.0, -47.0), (-110.0, -37.0), (-100.0, -27.0), (-90.0, -17.0))


def test_an_even_meter_keeps_its_points_and_owes_nothing() -> None:
    curve = curve_of(levels(*EVEN))
    assert [dbm for _, dbm in curve.pairs] == [-120.0, -110.0, -100.0, -90.0]
    assert [reading for reading, _ in curve.pairs] == pytest.approx(
        [-47.0, -36.999, -26.998, -16.997], abs=1e-6
    )
    assert curve.residuals_db == pytest.approx((0.0,) * 4)
    assert lines(curve)["repeatability of the readings"] == (0.0, "A")
    assert lines(curve)["straight lines between the points"][0] == pytest.approx(0.0, abs=1e-9)
    assert (curve.floor, curve.top, curve.remarks) == (None, None, ())


def test_scatter_step_and_slope_make_the_budget() -> None:
    """A meter of half the slope; two readings 0.4 apart scatter by 0.4/√2, their mean by half of that."""
    half = [(dbm, reading / 2) for dbm, reading in EVEN]
    known = (BudgetLine("generator", 0.5, "B"),)
    curve = curve_of(levels(*half, apart=0.4), 0.2, known)
    found = lines(curve)
    slope = (5.0 + 1e-3) / 10
    assert found["repeatability of the readings"] == (pytest.approx(0.2 / slope), "A")
    assert found["step of the meter"] == (pytest.approx(0.2 / math.sqrt(12) / slope), "B")
    assert found["generator"] == (0.5, "B")
    assert curve.residuals_db == pytest.approx((0.4 / math.sqrt(2) / slope,) * 4)
    assert curve.uncertainty_db == pytest.approx(combined_db(curve.budget))
    assert "step of the meter" not in lines(curve_of(levels(*half)))


def test_straight_lines_miss_a_quarter_of_what_a_line_over_the_neighbours_misses() -> None:
    bent = ((-120.0, -50.0), (-110.0, -40.0), (-100.0, -25.0), (-90.0, -10.0))
    found = lines(curve_of(levels(*bent)))["straight lines between the points"]
    first = -120.0 + 20.0 * 10 / 25 + 110.0  # read −40 between −50 and −25: −112 instead of −110
    second = -110.0 + 20.0 * 15 / 30 + 100.0
    assert found == (pytest.approx(math.sqrt((first**2 + second**2) / 2) / 4, rel=1e-3), "B")


def test_levels_read_once_scatter_as_the_others_and_leave_nothing_over() -> None:
    some = [KnownLevel(-120.0, (-47.0,)), *levels(*EVEN[1:], apart=0.4)]
    curve = curve_of(some)
    scatter = 0.4 / math.sqrt(2)
    mean = math.sqrt((scatter**2 + 3 * scatter**2 / 2) / 4)
    assert lines(curve)["repeatability of the readings"][0] == pytest.approx(mean / 1.0001, rel=1e-3)
    assert math.isnan(curve.residuals_db[0]) and not math.isnan(curve.residuals_db[1])


@pytest.mark.parametrize(("moves", "floor"), [(0.49, True), (0.51, False)])
def test_an_end_that_moves_less_than_half_a_decibel_is_floor_or_top(moves: float, floor: bool) -> None:
    low = curve_of(levels((-125.0, -47.0 - moves), *EVEN))
    high = curve_of(levels(*EVEN, (-87.0, -17.0 + moves)))
    assert (low.floor is not None, high.top is not None) == (floor, floor)
    if floor:
        assert low.floor == pytest.approx(-47.49) and high.top == pytest.approx(-16.51)
        assert low.remarks == ("Below -47 the meter stands still: that is its floor, and was cut off.",)
        assert high.remarks == ("Above -17 the meter stands still: that is its top, and was cut off.",)
        assert len(low.pairs) == len(high.pairs) == 4


def refused(*pairs: tuple[float, float], apart: float = 0.0, step_db: float | None = None) -> str:
    with pytest.raises(Implausible) as told:
        curve_of(levels(*pairs, apart=apart), step_db)
    return " ".join(told.value.problems)


def test_a_curve_folds_back_where_it_falls_by_more_than_a_tenth_a_step_or_two_scatters() -> None:
    def falling(by: float) -> tuple[tuple[float, float], ...]:
        return (*EVEN[:2], (-105.0, -37.0 - by), *EVEN[2:])

    assert "from -110 to -105 dBm the reading falls from -37 to -37.11" in refused(*falling(0.11))
    for by, apart, step_db in ((0.09, 0.0, None), (0.4, 0.3, None), (0.4, 0.0, 0.5)):
        assert len(curve_of(levels(*falling(by), apart=apart), step_db).pairs) == 5
    assert "folds back" in refused(*falling(0.45), apart=0.3)
    assert "folds back" in refused(*falling(0.55), step_db=0.5)


def test_an_end_that_falls_is_no_floor_and_no_top_but_folds_back() -> None:
    assert "from -125 to -120 dBm the reading falls from -40 to -47" in refused((-125.0, -40.0), *EVEN)
    assert "from -90 to -85 dBm the reading falls from -17 to -25" in refused(*EVEN, (-85.0, -25.0))


def test_what_was_pulled_to_rise_is_left_over() -> None:
    curve = curve_of(levels(*EVEN[:2], (-105.0, -37.08), *EVEN[2:]))
    slope = sorted((10 / 10, 0.0, 10 / 5, 10 / 10))
    assert curve.residuals_db[1] == pytest.approx(0.04 / ((slope[1] + slope[2]) / 2), rel=0.01)


@pytest.mark.parametrize(
    ("pairs", "words"),
    [
        (((-120.0, -47.0), (-110.0, -37.0)), "2 levels are too few"),
        (((-120.0, -47.0), (-120.0, -46.0), (-110.0, -37.0), (-100.0, -27.0)), "given twice"),
        (((float("nan"), -47.0), *EVEN), "is no number"),
        (((-120.0, float("nan")), *EVEN[1:]), "At -120 dBm there is no reading"),
        (((-120.0, -47.0), (-110.0, 4.0), (-100.0, 14.0)), "From -120 to -110 dBm the reading moves by 51"),
        (
            ((-120.0, -47.0), (-110.0, -45.1), (-100.0, -35.0)),
            "From -120 to -110 dBm the reading moves by 1.9",
        ),
    ],
)
def test_what_no_meter_does_is_told(pairs: tuple[tuple[float, float], ...], words: str) -> None:
    assert words in refused(*pairs)


def test_slopes_up_to_their_bounds_and_flat_stretches_of_five_decibels_are_taken() -> None:
    assert curve_of(levels((-120.0, -47.0), (-110.0, 3.0), (-100.0, 13.0))).pairs
    assert curve_of(levels((-120.0, -47.0), (-110.0, -45.0), (-100.0, -35.0))).pairs
    assert curve_of(levels((-120.0, -47.0), (-110.0, -37.0), (-105.0, -36.4), (-95.0, -26.0))).pairs


def test_levels_span_enough_and_three_of_them_move() -> None:
    assert "choose levels between its floor and top" in refused(
        (-120.0, -47.0), (-110.0, -47.0), (-100.0, -37.0)
    )
    assert "The levels span" in refused((-102.0, -47.0), (-101.0, -46.0), (-100.0, -45.0))


def test_a_level_without_readings_is_told() -> None:
    with pytest.raises(Implausible, match="read that level again"):
        curve_of([KnownLevel(-120.0, ()), *levels(*EVEN[1:])])


def test_a_mismatch_is_u_shaped_and_return_losses_add() -> None:
    """Return losses of 20 and 14 dB: reflections of 0.1 and 0.2, so ±0.172 dB, over √2."""
    line = mismatch_line(20.0, 20 * math.log10(5))
    assert line.standard_db == pytest.approx(20 * math.log10(1.02) / math.sqrt(2))
    assert (line.what, line.kind) == ("mismatch", "B")


@pytest.mark.parametrize(
    ("calibrated_hz", "channels", "counts"),
    [(7_000_000, [7_000_000], False), (7_000_000, [28_000_000], True), (7_000_000, [1_800_000], True), (None, [], True),
     (7_000_000, [7_050_000, 7_100_000], False), (7_000_000, [7_000_000, 14_000_000], True)],
)  # fmt: skip
def test_flatness_counts_away_from_the_frequency_of_the_calibration(
    calibrated_hz: int | None, channels: list[int], counts: bool
) -> None:
    line = flatness_line(calibrated_hz, channels, 1.5)
    assert line.standard_db == pytest.approx(1.5 / math.sqrt(3) if counts else 0.0)


def test_a_bandwidth_is_what_rose_over_the_sources_density() -> None:
    """kT₀ is −173.975 dBm in 1 Hz; an excess noise ratio of 15 dB in 2400 Hz is −125.17 dBm."""
    added = 10 ** ((-173.975 + 15.0 + 10 * math.log10(2400)) / 10)
    cold = 10 ** (-125.0 / 10)
    assert noise_bandwidth_hz(10 * math.log10(cold + added), -125.0, 15.0) == pytest.approx(2400, rel=1e-3)
    with pytest.raises(Implausible, match="does not raise the level"):
        noise_bandwidth_hz(-125.0, -125.0, 15.0)


def test_a_bandwidth_is_as_unsure_as_curve_source_and_the_readings_difference() -> None:
    found = bandwidth_uncertainty_db([9.0, 11.0], [1.0, 3.0], 0.3, 0.4)
    repeated = 10 / math.log(10) * math.sqrt(2 / 2 + 2 / 2) / 8
    assert found == pytest.approx(math.sqrt(0.3**2 + 0.4**2 + repeated**2))
    assert bandwidth_uncertainty_db([9.0], [1.0], 0.3, 0.4) == pytest.approx(0.5)
