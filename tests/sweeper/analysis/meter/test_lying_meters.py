"""Meters whose decibels are none: what their readings tell of them, and that no verdict is wrong for it."""

from dataclasses import replace

import numpy as np
import polars as pl
import pytest

from sweeper.analysis import findings_from, summarise_day, table_of
from sweeper.analysis.facts import StationFacts
from sweeper.analysis.meter.floor import floor_of
from sweeper.analysis.meter.scales import PLAIN, Scale, on_scale, scales_open
from sweeper.analysis.meter.slope import SlopeAt, common_slope, slopes_of
from sweeper.analysis.results import Findings
from sweeper.simulation.campaign.course import BandTruth, Course
from sweeper.simulation.campaign.draw import campaign
from tests.benchmarks.campaigns import facts_of
from tests.benchmarks.meters import seen_in

pytestmark = pytest.mark.slow

QUIET = BandTruth("40 m", rise_db=12.0)
ON_A_FLOOR = -38.0
"""Above the load (about −52 dB over S9 here) and above most antenna readings in bypass (about −40)."""


def measured(load: bool = True, **more: object) -> tuple[pl.DataFrame, pl.DataFrame, StationFacts]:
    """Readings without floor flags, their summaries, and what a newcomer's station file says."""
    values: dict[str, object] = {"floor_db": -160.0, "nights": 3, "hours": (19, 23)}
    course = Course((QUIET,), load_every=2 if load else 0, **(values | more))  # type: ignore[arg-type]
    thrown = campaign(course, 5)
    told = facts_of(thrown)
    told = replace(told, meter=replace(told.meter, floor=None))
    readings = thrown.readings.with_columns(flags=pl.lit(""))
    days = [
        summarise_day(thrown.night(n).with_columns(flags=pl.lit("")), told)
        for n in range(thrown.course.nights)
    ]
    return readings, pl.concat(days), told


def found(summaries: pl.DataFrame, told: StationFacts) -> Findings:
    return findings_from(table_of(summaries, told), summaries, told)


def slopes(summaries: pl.DataFrame, told: StationFacts) -> tuple[SlopeAt, ...]:
    return slopes_of(summaries.filter(pl.col("for") == "noise"), told.meter)


@pytest.mark.parametrize("step_db", [0.1, 0.4, 1.0])
def test_an_honest_scale_is_seen_to_be_one(step_db: float) -> None:
    _, summaries, told = measured(step_db=step_db)
    assert all(each.honest for each in slopes(summaries, told))
    assert table_of(summaries, told).meter.scales == (PLAIN,)


@pytest.mark.parametrize("slope", [0.5, 0.7, 1.35])
def test_the_slope_is_read_from_scatter_alone(slope: float) -> None:
    """Against the slope that was put in: scatter is 4.34/√(Bτ) dB times it (Dicke 1946)."""
    bend = tuple((level, -40.0 + slope * (level + 40.0)) for level in (-160.0, 60.0))
    _, summaries, told = measured(bend=bend, step_db=0.1)
    common = common_slope(slopes(summaries, told))
    assert common == pytest.approx(slope, rel=0.08)
    assert len(table_of(summaries, told).meter.scales) > 1


def test_a_soft_knee_is_dead_below_and_honest_above() -> None:
    _, summaries, told = measured(bend=((-160.0, -68.8), (-46.0, -46.0), (60.0, 60.0)), step_db=0.1)
    seen = slopes(summaries, told)
    assert seen[0].dead and not seen[-1].dead
    periods = [p for band in found(summaries, told).bands for p in band.periods]
    assert {p.verdict for p in periods} == {"undecided"}
    assert all("meter-dead-zone" in p.flags for p in periods)


def test_levels_are_put_right_by_the_slopes() -> None:
    """A scale of half the slope below −40 dB: 10 dB shown there are 20."""
    _, summaries, _ = measured(step_db=0.1)
    half = Scale((-90.0, -40.001, -40.0, 0.0), (0.5, 0.5, 1.0, 1.0))
    assert half.level_db(np.array([-50.0]))[0] - half.level_db(np.array([-60.0]))[0] == pytest.approx(
        20.0, abs=0.2
    )
    assert half.level_db(np.array([-10.0]))[0] - half.level_db(np.array([-20.0]))[0] == pytest.approx(
        10.0, abs=0.2
    )
    right = on_scale(summaries, half)
    assert right.schema == summaries.schema
    low = summaries["level_load_bypass"].drop_nulls().max()
    assert isinstance(low, float) and low < -41.0
    rise, before = right["noise_rise_db"].drop_nulls().mean(), summaries["noise_rise_db"].drop_nulls().mean()
    assert isinstance(rise, float) and isinstance(before, float) and rise > 1.2 * before


def test_a_scale_nobody_tested_is_left_open_as_far_as_real_meters_go() -> None:
    open_ = scales_open((), facts_of(campaign(Course((QUIET,)), 1)).meter, (-60.0, -20.0))
    assert open_[0] == PLAIN
    assert {slope for scale in open_ for slope in scale.slopes} == {0.5, 1.7}


def test_without_averaging_time_scatter_tells_a_bend_but_no_slope() -> None:
    _, summaries, told = measured(step_db=0.1)
    assert scales_open(slopes(summaries, told), replace(told.meter, averaging_s=None), (-60.0, -20.0))[1:]


def test_a_floor_is_found_and_not_believed_to_be_a_level() -> None:
    readings, summaries, told = measured(floor_db=ON_A_FLOOR)
    assert floor_of(readings, told) == ON_A_FLOOR
    assert int(summaries["floor_passes"].sum()) > 0
    assert {p.verdict for band in found(summaries, told).bands for p in band.periods} == {"undecided"}


def test_no_floor_is_found_where_there_is_none() -> None:
    readings, _, told = measured()
    assert floor_of(readings, told) is None


def test_where_only_carriers_tell_the_gain_an_untested_scale_gives_no_verdict() -> None:
    _, summaries, told = measured(load=False, nights=8)
    periods = [p for band in found(summaries, told).bands for p in band.periods]
    assert {p.verdict for p in periods} == {"undecided"}
    assert all("scale-untested" not in p.flags or "calibrate" in p.reason for p in periods)


def test_a_scale_stretched_at_its_foot_is_not_taken_for_crackle_where_no_load_tells() -> None:
    """Noise stands where a decibel shows as two to one, carriers where it shows as less than one."""
    cells = [
        cell for n in (0, 4, 10) for cell in seen_in(("S-units of 1.5 to 9.5 dB", "quiet", False, n, 23))
    ]
    told = [cell.missed for cell in cells if cell.missed is not None]
    assert len(told) >= 4 and sum(told) == 0


def test_coarse_steps_test_nothing() -> None:
    _, summaries, told = measured(step_db=6.0)
    assert slopes(summaries, told) == ()
    assert summaries["scatter_visits_load_bypass"].sum() == 0
