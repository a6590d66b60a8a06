"""A day of readings becomes hours that say what was measured, and no more."""

from dataclasses import replace
from datetime import date

import numpy as np
import polars as pl
import pytest

from sweeper.analysis.day.columns import KEYS, NAMES, schema
from sweeper.analysis.day.reduce import summarise_day
from tests.sweeper.analysis.nights import Night, facts, readings

pytestmark = pytest.mark.slow


def noise_rows(summary):
    return summary.filter(pl.col("for") == "noise")


def test_a_night_reduces_to_one_row_per_hour_and_channel_with_the_agreed_columns():
    night = Night()
    summary = summarise_day(readings(night), facts(night))
    assert tuple(summary.columns) == NAMES
    assert dict(summary.schema) == schema()
    assert summary.select(KEYS).is_unique().all()
    assert summary["night"].unique().to_list() == [date(2026, 11, 1)]
    assert summary["passes"].sum() == 3 * 60


def test_no_readings_give_no_rows():
    night = Night()
    assert summarise_day(readings(night).head(0), facts(night)).is_empty()


def test_days_summarised_apart_are_the_days_summarised_together():
    first, second = Night(passes=12), Night(passes=12, seed=2, begins=date(2026, 11, 2))
    told = facts(first)
    later = readings(second).with_columns(pl.col("pass") + 100)
    together = summarise_day(pl.concat([readings(first), later]), told)
    apart = pl.concat([summarise_day(readings(first), told), summarise_day(later, told)])
    column = "difference_db"
    assert together.select(KEYS).equals(apart.select(KEYS))
    assert together[column].to_list() == pytest.approx(apart[column].to_list(), nan_ok=True)


@pytest.mark.parametrize("drift_db_a_visit", [0.0, 1.5])
def test_steady_drift_through_a_pass_cancels(drift_db_a_visit):
    night = Night(wander=0.0)
    drifting = readings(night).with_columns(
        (
            pl.col("dbm")
            + drift_db_a_visit * (pl.col("time") - pl.col("time").min().over("pass")).dt.total_seconds() / 20
        ).alias("dbm")
    )
    found = noise_rows(summarise_day(drifting, facts(night)))["difference_db"].mean()
    true = 10 * np.log10((31.6228 * (1e7 + 290) + 2610) / (1e7 + 2610))
    assert found == pytest.approx(true, abs=0.05)


def test_gain_comes_out_by_load_by_source_and_by_carriers():
    night = Night(external_k=20_000, source_k=30_000.0, passes=140)
    summary = summarise_day(readings(night), facts(night))
    assert summary["load_gain_db"].mean() == pytest.approx(15.0, abs=0.1)
    assert summary["source_gain_db"].mean() == pytest.approx(15.0, abs=0.1)
    error = summary["carrier_gain_se_db"].mean() / np.sqrt(summary["carrier_gain_db"].count())
    assert summary["carrier_gain_db"].mean() == pytest.approx(15.0, abs=3 * error)


def test_bursts_show_as_impulsiveness_and_not_in_the_difference():
    night = Night(burst_share=0.08, external_k=20_000)
    quiet = noise_rows(summarise_day(readings(replace(night, burst_share=0.0)), facts(night)))
    noisy = noise_rows(summarise_day(readings(night), facts(night)))
    assert noisy["impulsiveness_db"].mean() > 3
    assert quiet["impulsiveness_db"].mean() == pytest.approx(0.0, abs=0.05)
    assert noisy["difference_db"].mean() == pytest.approx(quiet["difference_db"].mean(), abs=0.1)


def test_a_signal_in_a_noise_channel_is_set_aside_for_that_pass():
    night = Night(external_k=20_000)
    signal = (
        (pl.col("pass").is_in([20, 21, 22])) & (pl.col("hz") == 7_000_000) & (pl.col("source") == "antenna")
    )
    wandered_in = readings(night).with_columns(
        pl.when(signal).then(pl.col("dbm") + 15).otherwise("dbm").alias("dbm")
    )
    clean = noise_rows(summarise_day(readings(night), facts(night)))
    summary = noise_rows(summarise_day(wandered_in, facts(night)))
    assert summary.filter(pl.col("hz") == 7_000_000)["occupied_passes"].sum() >= 3
    assert summary["level_antenna_bypass"].to_list() == pytest.approx(
        clean["level_antenna_bypass"].to_list(), abs=0.3
    )


def test_keying_in_a_noise_channel_follows_no_noise_statistics():
    night = Night(external_k=20_000)
    keyed = (pl.col("pass") < 30) & (pl.col("hz") == 7_000_000) & (pl.int_range(pl.len()) % 2 == 0)
    table = readings(night).with_columns(
        pl.when(keyed).then(pl.col("dbm") + 20).otherwise("dbm").alias("dbm")
    )
    summary = noise_rows(summarise_day(table, facts(night))).filter(pl.col("hz") == 7_000_000)
    assert summary["occupied_passes"].sum() >= 29


def test_an_hour_of_pure_noise_is_not_called_occupied():
    night = Night(external_k=20_000, passes=140)
    summary = noise_rows(summarise_day(readings(night), facts(night)))
    assert summary["occupied_passes"].sum() <= 2


def test_a_carrier_that_does_not_stand_clear_says_nothing_about_gain():
    night = Night(carrier_over_external=1.0)
    summary = summarise_day(readings(night), facts(night)).filter(pl.col("for") == "carrier")
    assert summary["carrier_gain_db"].null_count() == summary.height
    assert summary["absent_passes"].sum() == 60


def test_a_load_on_the_floor_of_the_meter_makes_noise_rise_a_bound():
    night = Night(external_k=200_000, floor=-125.0)
    summary = noise_rows(summarise_day(readings(night), facts(night)))
    assert (summary["noise_rise_bound"] == "at least").all()
    assert summary["floor_passes"].sum() > 0


def test_bypass_noise_on_the_floor_makes_the_difference_a_bound():
    night = Night(external_k=2_000, floor=-120.0)
    summary = noise_rows(summarise_day(readings(night), facts(night)))
    assert (summary["difference_bound"] == "at least").all()


@pytest.mark.parametrize("rotten", [None, float("nan"), float("inf"), float("-inf")])
def test_readings_that_are_no_numbers_are_left_out(rotten):
    night = Night(external_k=20_000, passes=24)
    table = readings(night).with_columns(
        pl.when(pl.int_range(pl.len()) % 7 == 0)
        .then(pl.lit(rotten, dtype=pl.Float64))
        .otherwise("dbm")
        .alias("dbm")
    )
    clean = noise_rows(summarise_day(readings(night), facts(night)))["difference_db"].mean()
    summary = summarise_day(table, facts(night))
    assert noise_rows(summary)["difference_db"].mean() == pytest.approx(clean, abs=0.05)
    assert not any(summary[name].is_nan().any() for name in NAMES if name.endswith("_db"))


def test_nothing_but_rotten_readings_gives_no_rows():
    night = Night(passes=3)
    table = readings(night).with_columns(
        pl.lit(float("nan")).alias("dbm"), pl.lit(float("nan")).alias("reading")
    )
    assert summarise_day(table, facts(night)).is_empty()


def test_one_reading_a_visit_and_one_pass_still_reduce():
    night = Night(readings=1, passes=1)
    summary = summarise_day(readings(night), facts(night))
    assert summary.height == 3
    assert noise_rows(summary)["difference_db"].null_count() == 0


def test_mixed_bandwidths_on_one_channel_are_flagged():
    night = Night(passes=12)
    table = readings(night).with_columns(
        pl.when(pl.col("route") == "stage").then(500).otherwise(2400).alias("bandwidth_hz")
    )
    summary = noise_rows(summarise_day(table, facts(night)))
    assert (summary["flags"] == "mixed-bandwidth").all()
    assert summary["difference_db"].null_count() == summary.height


def test_a_load_is_not_carried_over_to_another_bandwidth():
    night = Night(passes=24, external_k=20_000)
    later = pl.col("pass") >= 12
    table = (
        readings(night)
        .filter((pl.col("source") != "load") | later.not_())
        .with_columns(
            pl.when(later).then(500).otherwise(2400).alias("bandwidth_hz"),
            pl.when(later).then(pl.col("dbm") + 10 * np.log10(500 / 2400)).otherwise("dbm").alias("dbm"),
        )
    )
    summary = noise_rows(summarise_day(table, facts(night)))
    assert summary.filter(pl.col("bandwidth_hz") == 500)["noise_rise_db"].null_count() > 0
    assert summary["noise_rise_db"].drop_nulls().min() > 5


def test_an_unknown_averaging_time_is_read_off_the_scatter_of_the_load():
    night = Night(external_k=20_000)
    told = facts(night)
    untold = replace(told, meter=replace(told.meter, averaging_s=None))
    known = noise_rows(summarise_day(readings(night), told))["level_antenna_bypass"].mean()
    unknown = noise_rows(summarise_day(readings(night), untold))["level_antenna_bypass"].mean()
    assert unknown == pytest.approx(known, abs=0.03)


def test_standard_errors_within_the_hour_match_the_scatter_between_hours():
    night = Night(external_k=20_000, wander=0.0, passes=140)
    summary = noise_rows(summarise_day(readings(night), facts(night))).filter(pl.col("passes") == 6)
    scatter = summary["difference_db"].std()
    assert summary["difference_se_db"].mean() == pytest.approx(scatter, rel=0.35)


def test_an_hour_without_the_carrier_does_not_make_the_others_sure():
    """One look at a fading carrier in each of a few hours leaves decibels of doubt."""
    night = Night(passes=24)
    seldom = (pl.col("for") == "noise") | (pl.col("pass") % 12 == 0)
    faint = pl.when(pl.col("for") == "carrier").then(pl.col("dbm")).otherwise("dbm")
    table = readings(night).filter(seldom | (pl.col("pass") % 6 == 1)).with_columns(faint.alias("dbm"))
    gone = (pl.col("for") == "carrier") & (pl.col("pass") % 6 == 1)
    table = table.with_columns(pl.when(gone).then(pl.col("dbm") - 60).otherwise("dbm").alias("dbm"))
    summary = summarise_day(table, facts(night)).filter(pl.col("for") == "carrier")
    assert summary["absent_passes"].sum() > 0
    assert summary["carrier_gain_se_db"].drop_nulls().min() > 1
