"""Noise from outside, whatever the stage adds to it."""

import polars as pl
import pytest

from sweeper.analysis.band.nightly import nightly
from sweeper.analysis.change.compare import compare
from sweeper.analysis.change.levels import noise_levels
from sweeper.analysis.day.reduce import summarise_day
from sweeper.analysis.findings.build import find
from sweeper.simulation.campaign.course import BandTruth, Course
from sweeper.simulation.campaign.draw import campaign
from tests.sweeper.analysis.summaries import Place, facts, made

HOURS = (18, 19, 20, 21, 22, 23, 0, 1)


def fixed_by_three_decibels(overloaded_hours):
    """Two weeks of three bands, a fix of 3 dB in the middle; 15 m overloads at the hours named."""
    bands = (
        BandTruth("80 m", 12.0),
        BandTruth("40 m", 8.0),
        BandTruth("15 m", 3.0, overloaded_hours=overloaded_hours),
    )
    course = Course(
        bands, nights=16, hours=HOURS, fix_at_night=8, fix_db=3.0, night_sd_db=1.5, passes_per_hour=3
    )
    thrown = campaign(course, 5)
    rig = facts(channels=thrown.channels)
    return pl.concat([summarise_day(thrown.night(n), rig) for n in range(16)]), rig, thrown.fix


def hour_of_day(evidence):
    """How much of the noise of 15 m goes with the hour of the day."""
    part = (pl.col("band") == "15 m") & (pl.col("part") == "hour of day")
    return evidence.parts.filter(part)["share"].item()


@pytest.mark.slow
def test_products_of_an_overloaded_stage_are_no_noise_from_outside():
    """The same nights with and without two overloaded hours: the fix and its hours come out the same."""
    clean, rig, fix = fixed_by_three_decibels(())
    hit, _, _ = fixed_by_three_decibels((19, 20))
    truth, found = (
        {band.band: band for band in compare(each, rig, fix).bands}["15 m"] for each in (clean, hit)
    )
    assert found.change_db.value == pytest.approx(truth.change_db.value, abs=0.2)
    for there, here in zip(truth.periods, found.periods, strict=True):
        assert here.change_db.value == pytest.approx(there.change_db.value, abs=0.8)
    assert hour_of_day(find(hit, rig)[1]) == pytest.approx(hour_of_day(find(clean, rig)[1]), abs=0.03)


def test_an_hour_read_in_bypass_stands_on_the_same_zero_as_its_neighbours():
    calm = Place("10 m", antenna_k=9_000.0, night_sd_db=0.0, error_db=0.01)
    nights = nightly(made(calm))
    plain, bypassed = (noise_levels(nights, hours) for hours in ((), [("10 m", 19)]))
    usual = plain["level"].mean()
    assert bypassed.filter(pl.col("hour_utc") == 19)["level"].mean() == pytest.approx(usual, abs=0.1)


def test_an_overloaded_hour_that_bypass_cannot_hear_is_left_out():
    deaf = Place("10 m", antenna_k=800.0, night_sd_db=0.0, error_db=0.01)
    found = noise_levels(nightly(made(deaf)), [("10 m", 19)])
    assert set(found["hour_utc"]) == {18, 20}


def of_passes(summaries, floor_passes, rise_bound=""):
    """The same summaries with so many passes of each channel and hour, of four, on the meter's floor."""
    return summaries.with_columns(
        pl.lit(floor_passes).alias("floor_passes"), pl.lit(rise_bound).alias("noise_rise_bound")
    )


def two_channels(summaries):
    second = summaries.filter(pl.col("for") == "noise").with_columns(pl.col("hz") + 10_000)
    return pl.concat([summaries, second])


def test_a_few_passes_on_the_floor_cost_no_night_however_many_channels_the_band_has():
    """Half of the passes of each of two channels touch the floor somewhere: as many as one channel has passes."""
    calm = made(Place("10 m", antenna_k=9_000.0, night_sd_db=0.0))
    whole = noise_levels(nightly(calm))
    for summaries in (calm, two_channels(calm)):
        assert noise_levels(nightly(of_passes(summaries, 2))).height == whole.height > 0


def test_an_antenna_on_the_floor_in_bypass_is_no_level_however_many_channels_the_band_has():
    quiet = Place("10 m", antenna_k=9_000.0, night_sd_db=0.0, gain=0.5)
    for summaries in (made(quiet), two_channels(made(quiet))):
        assert noise_levels(nightly(of_passes(summaries, 2, "at most"))).is_empty()


def test_a_stage_lifts_noise_off_the_floor():
    calm = made(Place("10 m", antenna_k=9_000.0, night_sd_db=0.0))
    levels = noise_levels(nightly(of_passes(calm, 4, "at most")))
    assert levels["external"].all() and levels.height == noise_levels(nightly(calm)).height


def test_a_load_on_the_floor_controls_nothing():
    loud = made(Place("10 m", night_sd_db=0.0, gain=0.5))
    levels = noise_levels(nightly(of_passes(loud, 4, "at least")))
    assert levels.height and not levels["controlled"].any() and not levels["external"].any()
