"""A stage that changes on the way: seen by load, carriers or noise alone; not by weather, fixes or loud nights."""

from functools import cache

import polars as pl
import pytest

from sweeper.analysis import findings_from, summarise_day, table_of
from sweeper.analysis.band.stage_steps import STEPPED, stage_steps
from sweeper.simulation.campaign.course import BandTruth, Course
from sweeper.simulation.campaign.draw import campaign
from tests.benchmarks.campaigns import facts_of

pytestmark = pytest.mark.slow

BANDS = (BandTruth("low", 12.0), BandTruth("high", 3.0))


@cache
def summaries(nights=8, **course):
    thrown = campaign(Course(BANDS, nights=nights, hours=(20, 22), **course), 3)
    facts = facts_of(thrown)
    return pl.concat([summarise_day(thrown.night(n), facts) for n in range(nights)]), facts, thrown


def steps_of(rows):
    return stage_steps({str(band): part for (band,), part in rows.partition_by("band", as_dict=True).items()})


@pytest.mark.parametrize("load_every", [4, 0])
def test_a_gain_that_falls_by_four_decibels_is_seen_three_nights_later(load_every):
    rows, _, thrown = summaries(gain_step_at_night=5, gain_step_db=-4.0, load_every=load_every)
    found = steps_of(rows)
    assert {band: step.night for band, step in found.items()} == dict.fromkeys(
        ("low", "high"), thrown.dates[5]
    )
    assert all(step.size_db < -1.0 for step in found.values())
    assert all("2026-01-15" in step.sentence and "−" in step.sentence for step in found.values())


@pytest.mark.parametrize(
    "course",
    [
        {},
        {"load_every": 0},
        {"fix_at_night": 4, "fix_db": 10.0},
        {"fix_at_night": 4, "fix_db": 10.0, "load_every": 0},
        {"trend_db_per_night": 1.0, "load_every": 0},
        {"loud_share": 0.5, "load_every": 0},
        {"load_drift_sd_db": 2.0},
    ],
    ids=str,
)
def test_what_is_no_matter_of_the_stage_is_no_step(course):
    assert steps_of(summaries(**course)[0]) == {}


def test_figures_are_of_the_nights_since_and_say_so():
    rows, facts, thrown = summaries(gain_step_at_night=5, gain_step_db=-4.0)
    table = table_of(rows, facts)
    found = findings_from(table, rows, facts)
    for band in found.bands:
        assert STEPPED in band.flags
        assert all(period.nights == 3 for period in band.periods)
        assert "stage" in band.recommendation and "2026-01-15" in band.recommendation
        interval = band.gain_db
        assert interval is not None and interval.low <= 11.0 <= interval.high
    before = table.nights.filter(pl.col("night") < thrown.dates[5])
    assert before["difference_db"].null_count() == before.height
    assert before["level_antenna_bypass"].null_count() == 0


def test_the_latest_of_two_steps_counts():
    rows, _, thrown = summaries(nights=8, gain_step_at_night=5, gain_step_db=-4.0)
    earlier = rows.with_columns(
        pl.when(pl.col("night") < thrown.dates[2])
        .then(pl.col("load_difference_db") + 5.0)
        .otherwise("load_difference_db")
    )
    assert {step.night for step in steps_of(earlier).values()} == {thrown.dates[5]}
