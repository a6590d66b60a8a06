"""Drawn campaigns hold the statistics they were asked for, and their truth is the truth."""

import math
from dataclasses import replace

import numpy as np
import polars as pl
import pytest
from scipy import stats

from sweeper.simulation.campaign.course import BandTruth, Course
from sweeper.simulation.campaign.draw import campaign
from sweeper.store.frames import schema

pytestmark = pytest.mark.slow

CALM = Course(
    bands=(BandTruth("low", rise_db=10.0), BandTruth("high", rise_db=3.0)),
    nights=3,
    hours=(20, 21),
    step_db=0.001,
    floor_db=-200.0,
    night_sd_db=0.0,
    drift_sd_db=0.0,
    crashes_per_s=0.0,
    occupied=0.0,
    missing=0.0,
    carriers_absent=0.0,
    carrier_night_sd_db=0.0,
)


def mean_power(frame: pl.DataFrame, band: str, source: str, route: str) -> float:
    chosen = frame.filter(
        (pl.col("for") == "noise")
        & (pl.col("band") == band)
        & (pl.col("source") == source)
        & (pl.col("route") == route)
    )
    return float((10 ** (chosen["reading"] / 10)).mean())


def db(ratio: float) -> float:
    return 10 * math.log10(ratio)


def test_a_campaign_has_the_columns_of_the_readings_table_in_order_of_time() -> None:
    readings = campaign(Course(bands=(BandTruth("a", 5.0),), nights=2), 1).readings
    assert readings.schema == schema()
    assert readings["time"].is_sorted()
    assert readings["pass"].is_sorted()
    lost = campaign(Course(bands=(BandTruth("a", 5.0),), nights=1, nights_lost=1.0), 1).night(0)
    assert lost.schema == schema()
    assert lost.is_empty()


def test_one_seed_is_one_campaign_and_a_night_does_not_depend_on_the_others() -> None:
    course = Course(bands=(BandTruth("a", 5.0),), nights=4)
    assert campaign(course, 5).night(3).equals(campaign(course, 5).readings.filter(pl.col("pass") > 3 * 32))
    assert not campaign(course, 5).night(0).equals(campaign(course, 6).night(0))


def test_every_path_stands_where_the_chain_says() -> None:
    # The table of the chain, in units of kT0B: load-bypass fr, antenna-bypass fa + fr - 1, load-stage g fs + fr - 1,
    # antenna-stage g (fa + fs - 1) + fr - 1.
    made = campaign(replace(CALM, nights=40), 3)
    readings = made.readings
    fr, fs, g = 10**1.5, 10**0.3, 10**1.5
    for band, rise_db in (("low", 10.0), ("high", 3.0)):
        fa = fr * (10 ** (rise_db / 10) - 1) + 1
        load = mean_power(readings, band, "load", "bypass")
        expected = {
            ("antenna", "bypass"): (fa + fr - 1) / fr,
            ("load", "stage"): (g * fs + fr - 1) / fr,
            ("antenna", "stage"): (g * (fa + fs - 1) + fr - 1) / fr,
        }
        for path, ratio in expected.items():
            assert db(mean_power(readings, band, *path) / load) == pytest.approx(db(ratio), abs=0.03)
        # So, by definition: S/N change = gain - (antenna-stage - antenna-bypass).
        change_db = 15.0 - db(expected["antenna", "stage"] / expected["antenna", "bypass"])
        assert made.snr_change_db(band, 20) == pytest.approx(change_db, abs=1e-9)
        assert made.snr_change_on(band, 21, 2) == pytest.approx(change_db, abs=1e-9)
        assert made.noise_rise_db(band, 20) == pytest.approx(rise_db, abs=1e-9)


def test_readings_of_noise_are_gamma_distributed() -> None:
    # Power averaged over B and tau: scaled chi-squared with 2 B tau degrees of freedom. Kolmogorov-Smirnov, SciPy.
    course = replace(CALM, averaging_s=0.002, nights=20, load_every=0)
    readings = campaign(course, 8).readings
    chosen = readings.filter(
        (pl.col("for") == "noise") & (pl.col("band") == "low") & (pl.col("route") == "bypass")
    )
    power = 10 ** (chosen["reading"].to_numpy() / 10)
    shape = 2400 * 0.002
    assert stats.kstest(power / power.mean(), stats.gamma(shape, scale=1 / shape).cdf).pvalue > 0.001


def test_nights_differ_as_asked_and_share_what_was_asked() -> None:
    course = replace(CALM, nights=400, night_sd_db=4.0, shared_by_bands=0.5)
    made = campaign(course, 2)
    deviations = np.array(
        [[made.noise_rise_on(band, 20, night) for band in ("low", "high")] for night in range(course.nights)]
    )
    high_noise = campaign(replace(course, bands=(BandTruth("a", 25.0), BandTruth("b", 25.0))), 2)
    levels = np.array([[high_noise.noise_rise_on(b, 20, n) for b in "ab"] for n in range(course.nights)])
    assert levels.std(axis=0, ddof=1) == pytest.approx([4.0, 4.0], rel=0.1)
    assert np.corrcoef(levels.T)[0, 1] == pytest.approx(0.5, abs=0.1)
    # The population's mean is what nights average to.
    expected = [made.noise_rise_db(band, 20) for band in ("low", "high")]
    error = deviations.std(axis=0, ddof=1) / math.sqrt(course.nights)
    assert np.all(np.abs(deviations.mean(axis=0) - expected) < 4 * error)


def test_the_meter_steps_and_stops_at_its_ends() -> None:
    course = replace(CALM, step_db=1.0, floor_db=-51.0, top_db=-40.0)
    readings = campaign(course, 4).readings
    assert set((readings["reading"] % 1.0).unique()) == {0.0}
    at_floor = readings.filter(pl.col("reading") == -51.0)
    assert at_floor.height > 0
    assert set(at_floor["flags"]) == {"floor"}
    assert set(readings.filter(pl.col("reading") == -40.0)["flags"]) == {"clipped"}
    assert readings["reading"].min() == -51.0
    assert readings["reading"].max() == -40.0


def test_a_fix_lowers_external_noise_from_its_night_on() -> None:
    course = replace(CALM, bands=(BandTruth("a", 25.0),), nights=6, fix_at_night=3, fix_db=3.0)
    made = campaign(course, 1)
    before, after = (
        mean_power(made.readings.filter(keep), "a", "antenna", "bypass")
        for keep in (pl.col("time") < made.fix, pl.col("time") >= made.fix)
    )
    assert db(after / before) == pytest.approx(-3.0, abs=0.1)


def test_overload_lifts_noise_behind_the_stage_more_than_gain_would() -> None:
    band = BandTruth("a", 10.0, overloaded_hours=(21,), products_db=6.0)
    made = campaign(replace(CALM, bands=(band,), nights=30), 9)
    assert made.overload("a", 21)
    assert not made.overload("a", 20)
    hours = made.readings.with_columns(hour=pl.col("time").dt.hour())
    lift = {
        hour: db(
            mean_power(hours.filter(pl.col("hour") == hour), "a", "antenna", "stage")
            / mean_power(hours.filter(pl.col("hour") == hour), "a", "antenna", "bypass")
        )
        for hour in (20, 21)
    }
    assert lift[21] > lift[20] + 5.0
    assert made.snr_change_db("a", 21) < made.snr_change_db("a", 20) - 5.0


def test_missing_passes_leave_gaps_and_passers_by_show() -> None:
    course = replace(CALM, nights=20, missing=0.3, occupied=0.2)
    made = campaign(course, 6)
    done = made.readings["pass"].n_unique() / (20 * 8)
    assert done == pytest.approx(0.7, abs=0.1)
    noise = made.readings.filter((pl.col("for") == "noise") & (pl.col("source") == "antenna"))
    spread = noise.group_by("band", "route").agg(
        pl.col("reading").quantile(0.98) - pl.col("reading").median()
    )
    assert spread["reading"].min() > 3.0
