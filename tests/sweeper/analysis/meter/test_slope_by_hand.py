"""Slopes of a meter and the scales that they leave open, from rows written down: each figure found by hand."""

from dataclasses import replace

import numpy as np
import polars as pl
import pytest

from sweeper.analysis.facts import MeterFacts
from sweeper.analysis.meter.scales import PLAIN, Scale, on_scale, scales_open, with_beyond
from sweeper.analysis.meter.slope import (
    PATHS,
    PRIOR_ROWS,
    VISIT_VARIANCE,
    SlopeAt,
    common_slope,
    honest_together,
    maybe_stretched,
    noise_spread_db,
    slopes_of,
)

METER = MeterFacts("dB-over-S9", False, 0.1, None, None, 0.02, "rms")
UNTOLD = MeterFacts("dB-over-S9", False, 0.1, None, None, None, "rms")


def rows(*told: tuple[str, float, float, int], step_db: float | None = 0.0, passes: int = 4) -> pl.DataFrame:
    """A row for each (path, level, squared slope, visits)."""
    columns: dict[str, list[object]] = {}
    for path in PATHS:
        for name, at in (("level", 1), ("scatter", 2), ("scatter_visits", 3)):
            columns[f"{name}_{path}"] = [each[at] if each[0] == path else None for each in told]
    count = len(told)
    types = dict.fromkeys(columns, pl.Float64)
    return pl.DataFrame(
        {**columns, "passes": [passes] * count, "step_db": [step_db] * count, "bandwidth_hz": [2400] * count},
        schema_overrides=types,
    )


def test_levels_within_four_decibels_are_taken_together_weighted_by_visits() -> None:
    first, second = slopes_of(
        rows(
            ("load_bypass", -50.0, 0.8, 10), ("load_bypass", -46.0, 1.4, 20), ("load_stage", -45.9, 0.49, 5)
        ),
        METER,
    )
    assert (first.low_db, first.high_db, first.visits) == (-50.0, -46.0, 30)
    assert first.middle_db == -48.0
    assert first.slope == pytest.approx(np.sqrt((0.8 * 10 + 1.4 * 20) / 30))
    assert (second.low_db, second.high_db, second.visits, second.slope) == (
        -45.9,
        -45.9,
        5,
        pytest.approx(0.7),
    )


def test_the_error_mixes_what_is_believed_of_visits_with_how_rows_differ() -> None:
    (found,) = slopes_of(rows(("load_bypass", -50.0, 0.8, 10), ("load_bypass", -49.0, 1.4, 20)), METER)
    mean = 1.2
    seen = 10 * (0.8 - mean) ** 2 + 20 * (1.4 - mean) ** 2
    variance = (seen + PRIOR_ROWS * VISIT_VARIANCE * mean**2) / (1 + PRIOR_ROWS)
    assert found.se == pytest.approx(np.sqrt(variance / 30) / (2 * np.sqrt(mean)))


def test_steps_widen_the_error_by_what_rounding_leaves() -> None:
    """Widrow's next term, half of its worst; the step in standard deviations of noise, here 48 samples'."""
    step = 1.5 / noise_spread_db(2400, METER)
    (found,) = slopes_of(rows(("load_bypass", -50.0, 1.0, 40), step_db=1.5), METER)
    of_visit = VISIT_VARIANCE * (1 + step**2 / 12) ** 2
    se = np.sqrt(PRIOR_ROWS * of_visit / PRIOR_ROWS / 40)
    left = 0.5 * (step**2 / np.pi**2 + 4) * np.exp(-2 * np.pi**2 / step**2)
    assert left > 0.2 * se
    assert found.se == pytest.approx(np.hypot(se, left) / 2)


def test_a_slope_near_nought_is_as_unsure_as_one_of_three_tenths() -> None:
    (found,) = slopes_of(rows(("load_bypass", -50.0, -0.02, 40), step_db=1.0), METER)
    step = 1.0 / noise_spread_db(2400, METER)
    se = np.sqrt(VISIT_VARIANCE * (step**2 / 12) ** 2 / 40)
    left = 0.5 * (step**2 / np.pi**2 + 4 * 0.09) * np.exp(-2 * np.pi**2 * 0.09 / step**2)
    assert found.slope == 0.0
    assert found.se == pytest.approx(np.hypot(se, left) / 0.6)


def test_a_load_counts_before_an_antenna_that_scatters_more_and_not_before_one_that_scatters_less() -> None:
    quiet, loud = ("load_bypass", -50.0, 1.0, 10), ("antenna_bypass", -50.0, 2.0, 30)
    assert slopes_of(rows(quiet, loud), METER)[0].slope == pytest.approx(1.0)
    less = ("antenna_bypass", -50.0, 0.5, 30)
    assert slopes_of(rows(quiet, less), METER)[0].slope == pytest.approx(np.sqrt(25 / 40))
    (alone,) = slopes_of(rows(loud), METER)
    assert alone.open_low and not slopes_of(rows(quiet), METER)[0].open_low
    assert not slopes_of(rows(less), METER)[0].open_low


def test_how_far_the_scatter_of_antennas_strays_from_hour_to_hour_is_held_against_chance() -> None:
    hours = ("antenna_bypass", -50.0, 2.0, 10), ("antenna_bypass", -49.0, 4.0, 10)
    (found,) = slopes_of(rows(*hours), METER)
    assert found.strays == pytest.approx((10 * 1.0 + 10 * 1.0) / (VISIT_VARIANCE * 3.0**2))
    (lone,) = slopes_of(rows(hours[0]), METER)
    assert lone.open_low and lone.strays == 0.0


def test_rows_without_passes_or_visits_tell_nothing() -> None:
    assert slopes_of(rows(("load_bypass", -50.0, 1.0, 10), passes=0), METER) == ()
    assert slopes_of(rows(("load_bypass", -50.0, 1.0, 0)), METER) == ()
    assert slopes_of(rows(("load_bypass", -50.0, 1.0, 1), step_db=None), METER)[0].visits == 1


def test_an_averaging_time_that_nobody_told_is_taken_for_fifty_milliseconds() -> None:
    assert noise_spread_db(2400, METER) == pytest.approx(4.343 / np.sqrt(48), rel=0.01)
    assert noise_spread_db(2400, UNTOLD) == pytest.approx(4.343 / np.sqrt(120), rel=0.01)


def at(
    slope: float, se: float = 0.01, low_db: float = -50.0, visits: int = 30, open_low: bool = False
) -> SlopeAt:
    return SlopeAt(low_db, low_db + 4.0, slope, se, visits, open_low)


@pytest.mark.parametrize(
    ("slope", "honest", "dead", "unsure"),
    [
        (at(1.0), True, False, False), (at(1.079), True, False, False), (at(1.081), False, False, False),
        (at(0.919), False, False, False), (at(0.86, 0.05), True, False, False), (at(0.84, 0.05), False, False, False),
        (at(1.5, open_low=True), True, False, False), (at(0.8, open_low=True), False, False, False),
        (at(0.34), False, True, False), (at(0.35), False, False, False), (at(0.3, visits=5), False, False, False),
        (at(0.3, visits=6), False, True, False), (at(1.0, 0.13), True, False, True),
        (at(1.0, 0.12), True, False, False),
        (at(1.0, 0.13, visits=23), True, False, False), (at(1.0, 0.13, visits=24), True, False, True),
    ],
)  # fmt: skip
def test_what_a_slope_is_called(slope: SlopeAt, honest: bool, dead: bool, unsure: bool) -> None:
    assert (slope.honest, slope.dead, slope.unsure) == (honest, dead, unsure)


def test_a_few_quiet_visits_to_the_load_do_not_outweigh_all_that_the_antenna_told() -> None:
    """Ten visits of seven degrees of freedom: a variance of half its law is three standard deviations off, no more."""
    antenna = [("antenna_bypass", -44.0 + n / 10, 1.0, 8) for n in range(20)]
    load = [("load_bypass", -44.0, squared, 1) for squared in (0.2, 0.8)]
    (few,) = slopes_of(rows(*antenna, *load * 5), METER)
    (many,) = slopes_of(rows(*antenna, *load * 30), METER)
    assert (few.honest, many.honest) == (True, False)
    assert many.slope == pytest.approx(np.sqrt(0.5))


def test_rows_that_differ_among_themselves_are_no_excuse_for_a_bend_within_their_levels() -> None:
    """125 visits know an honest variance to 0.05; that half of them lie above a bend does not make it 0.24."""
    beyond = [("antenna_bypass", -33.0, squared, 5) for squared in (0.9, 0.1)] * 12
    (found,) = slopes_of(rows(*beyond), METER)
    assert found.chance_se == pytest.approx(np.sqrt(0.35 / 120), rel=0.01)
    assert found.slope == pytest.approx(np.sqrt(0.5)) and not found.honest


def test_levels_tell_sooner_together_than_each_by_itself_that_decibels_are_none() -> None:
    """A variance of 0.72 where 1 is due, known to 0.1: 2.8 standard errors each, nine for ten of them."""
    slope = np.sqrt(0.72)
    few = [replace(at(slope, 0.04, low_db=-60.0 + 5 * n), chance_se=0.1) for n in range(10)]
    assert all(each.honest for each in few)
    assert not honest_together(few) and honest_together(few[:1])
    assert not honest_together([at(1.0), at(0.5)])
    assert len(scales_open(few, METER, (-60.0, -10.0))) == 3
    assert scales_open(few[:1], METER, (-60.0, -56.0)) == (PLAIN,)


def test_one_slope_at_all_levels_is_their_weighted_mean() -> None:
    assert common_slope([at(0.5, 0.02), at(0.53, 0.01)]) == pytest.approx((0.5 / 4 + 0.53) / (1 / 4 + 1))
    assert common_slope([at(0.5), at(0.8)]) is None
    assert common_slope([at(0.5, 0.001), at(0.53, 0.01)]) == pytest.approx(
        0.515
    )  # no error below a hundredth


SPAN = (-60.0, -20.0)


def ends(scales: tuple[Scale, ...]) -> list[tuple[float, ...]]:
    return [tuple(round(slope, 4) for slope in each.slopes) for each in scales]


def test_which_scales_are_left_open() -> None:
    assert ends(scales_open((), METER, SPAN)) == [(), (0.5, 0.5), (1.7, 1.7), (0.5, 1.7), (1.7, 0.5)]
    assert scales_open((at(1.02), at(0.97, low_db=-40.0)), METER, SPAN) == (PLAIN,)
    assert ends(scales_open((at(1.0),), UNTOLD, SPAN)) == [(), (0.5, 0.5), (1.7, 1.7)]
    assert {each.levels_db for each in scales_open((), METER, SPAN)} == {(), SPAN}
    below = scales_open((at(0.6, 0.02), at(0.6, 0.02, -40.0)), METER, SPAN)
    assert ends(below) == [(), (0.6, 0.6), tuple([round(0.6 - 3 * 0.02 / np.sqrt(2), 4)] * 2)]
    above = scales_open((at(1.4, 0.02), at(1.4, 0.02, -40.0)), METER, SPAN)
    assert ends(above) == [(), (1.4, 1.4), tuple([round(1.4 + 3 * 0.02 / np.sqrt(2), 4)] * 2)]


def test_a_scale_that_bends_is_open_by_its_errors_either_way_and_tilted() -> None:
    bent = (at(0.5, 0.05), at(1.0, 0.01, -40.0))
    found = scales_open(bent, METER, SPAN)
    assert {each.levels_db for each in found} == {(-48.0, -38.0)}
    # twice the error, or 8 % where that is more
    assert ends(found) == [(0.5, 1.0), (0.4, 0.92), (0.6, 1.08), (0.4, 1.08), (0.6, 0.92)]
    assert ends(scales_open(bent, UNTOLD, SPAN))[5:] == [(0.25, 0.5), (0.85, 1.7)]
    assert min(ends(scales_open((at(0.1), at(1.0)), METER, SPAN))[1]) == 0.2
    assert max(ends(scales_open((at(3.0), at(1.0)), METER, SPAN))[0]) == 2.5


def crackling(slope: float, low_db: float, strays: float, visits: int = 30) -> SlopeAt:
    return SlopeAt(low_db, low_db + 4.0, slope, 0.01, visits, open_low=True, strays=strays)


def test_what_scatters_alike_each_hour_may_be_a_stretched_scale_and_what_comes_and_goes_is_crackle() -> None:
    steady = (crackling(1.8, -50.0, 1.0), crackling(1.3, -40.0, 1.5))
    assert maybe_stretched(steady)
    assert not maybe_stretched([replace(each, strays=2.0) for each in steady])
    assert not maybe_stretched((crackling(1.8, -50.0, 5.0, visits=20), crackling(1.3, -40.0, 0.5, visits=30)))
    assert maybe_stretched((crackling(1.8, -50.0, 5.0, visits=20), crackling(1.3, -40.0, 0.5, visits=60)))
    assert not maybe_stretched((crackling(1.05, -50.0, 1.0), at(1.3, low_db=-40.0)))
    assert not maybe_stretched(())


def test_a_scale_that_may_be_stretched_is_open_as_its_scatter_shows_it_too() -> None:
    """Without a load it may also be crackle, so the scale of slope 1 stays open beside it."""
    steady = (crackling(1.8, -50.0, 1.0), crackling(1.3, -40.0, 1.0), crackling(1.05, -30.0, 1.0))
    found = ends(scales_open(steady, METER, SPAN))
    assert found[0] == (1.0, 1.0, 1.0) and found[5] == (1.8, 1.3, 1.0) and len(found) == 6
    wild = tuple(replace(each, strays=3.0) for each in steady)
    assert (1.8, 1.3, 1.0) not in ends(scales_open(wild, METER, SPAN))
    of_one = (crackling(1.35, -50.0, 1.0), crackling(1.35, -40.0, 1.0))
    assert scales_open(of_one, METER, SPAN) == (PLAIN,)


def test_above_the_levels_that_were_tested_the_slope_may_be_any_real_one() -> None:
    more = with_beyond((PLAIN, Scale(SPAN, (0.6, 0.6))), -30.0)
    assert more[:2] == (PLAIN, Scale(SPAN, (0.6, 0.6)))
    assert [each.beyond for each in more[2:]] == [0.5, 1.7, 0.5, 1.7]
    assert [each.levels_db for each in more[2:]] == [(-130.0, -30.0)] * 2 + [SPAN] * 2
    plain, steep = more[2], more[3]
    assert np.diff(plain.level_db(np.array([-50.0, -40.0, -30.0, -20.0]))) == pytest.approx(
        [10, 10, 20], abs=0.2
    )
    assert np.diff(steep.level_db(np.array([-40.0, -30.0, -20.0]))) == pytest.approx([10, 10 / 1.7], abs=0.2)


def test_true_levels_follow_the_slope_and_slopes_below_a_fifth_count_as_one() -> None:
    scale = Scale((-50.0, -40.0), (0.5, 1.0))
    assert scale.slope_at(np.array([-80.0, -50.0, -45.0, -40.0, 0.0])) == pytest.approx(
        [0.5, 0.5, 0.75, 1, 1]
    )
    true = scale.level_db(np.array([-60.0, -50.0, -40.0, -30.0]))
    assert np.diff(true) == pytest.approx([20.0, 20 * np.log(2), 10.0], rel=1e-3)
    assert np.isnan(scale.level_db(np.array([np.nan]))).all()
    assert Scale((-50.0,), (0.05,)).slope_at(np.array([-50.0]))[0] == 0.2
    assert PLAIN.plain and not scale.plain


def summary(**levels: float | None) -> pl.DataFrame:
    paths = (*PATHS, "noise_bypass", "noise_stage")
    names = (
        "difference_db", "difference_se_db", "resolution_db", "carrier_gain_db", "carrier_gain_se_db",
        "load_difference_db", "load_difference_se_db", "load_resolution_db", "noise_rise_db", "noise_rise_se_db",
        "power_rise_db", "stage_noise_rise_db", "stage_noise_rise_se_db", "stage_power_rise_db", "load_gain_db",
        "load_gain_se_db", "gain_resolution_db", "source_gain_db", "source_gain_se_db", "level_antenna_bypass_se_db",
        "edge_gain_db", "edge_gain_se_db", "edge_lag_db", "edge_lag_se_db",
    )  # fmt: skip
    return pl.DataFrame(
        {f"level_{path}": [levels.get(path)] for path in paths}
        | {name: [1.0] for name in names}
        | {"strongest_carrier_db": [-20.0]},
        schema_overrides={f"level_{path}": pl.Float64 for path in paths},
    )


def test_differences_gains_and_errors_follow_the_slope_between_their_own_paths() -> None:
    """A meter of slope 0.5 up to −40 and of 1 above it: 2 true decibels for each shown below, 1 above."""
    bent = Scale((-40.001, -40.0), (0.5, 1.0))
    row = summary(
        antenna_bypass=-50.0, antenna_stage=-46.0, load_bypass=-60.0, load_stage=-30.0, noise_bypass=-20.0,
        noise_stage=-30.1,
    )  # fmt: skip
    found = on_scale(row, bent).row(0, named=True)
    for name in (
        "difference_db",
        "difference_se_db",
        "resolution_db",
        "carrier_gain_db",
        "carrier_gain_se_db",
        "edge_gain_db",
        "edge_lag_db",
    ):
        assert found[name] == pytest.approx(2.0, abs=0.01), name
    for name in ("load_difference_db", "load_difference_se_db", "load_resolution_db"):
        assert found[name] == pytest.approx((20 * 2 + 10) / 30, abs=0.01), name
    for name in ("noise_rise_db", "noise_rise_se_db", "power_rise_db"):
        assert found[name] == pytest.approx(2.0, abs=0.01), name
    staged = (6 * 2 + 10) / 16
    for name in ("stage_noise_rise_db", "stage_noise_rise_se_db", "stage_power_rise_db"):
        assert found[name] == pytest.approx(staged, abs=0.01), name
    for name in ("load_gain_db", "load_gain_se_db", "gain_resolution_db"):
        assert found[name] == pytest.approx((2.0 + staged) / 2, abs=0.01), name
    for name in ("source_gain_db", "source_gain_se_db"):  # hardly apart: by the slopes there
        assert found[name] == pytest.approx(1.0, abs=0.01), name
    assert found["level_antenna_bypass_se_db"] == pytest.approx(2.0)
    assert found["level_antenna_stage"] - found["level_antenna_bypass"] == pytest.approx(8.0, abs=0.05)
    assert found["strongest_carrier_db"] - found["level_load_stage"] == pytest.approx(10.0, abs=0.05)


def test_on_a_plain_scale_nothing_moves_and_what_is_missing_stays_so() -> None:
    row = summary(antenna_bypass=-50.0)
    assert on_scale(row, PLAIN) is row
    found = on_scale(row, Scale((-50.0,), (0.5,))).row(0, named=True)
    assert found["level_load_bypass"] is None and found["noise_rise_db"] is None
    assert on_scale(row.clear(), Scale((-50.0,), (0.5,))).is_empty()
