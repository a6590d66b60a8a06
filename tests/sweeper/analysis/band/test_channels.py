"""Noise channels held against each other: a signal that stays, and gains that differ."""

from datetime import date, timedelta

import numpy as np
import polars as pl
import pytest

from sweeper.analysis.band.channels import Channels, channels


def rows(above_db=0.0, apart_db=0.0, load=True, hours=(20, 21), nights=6, hz=(7_050_000, 7_060_000)):
    """Two channels; the second stands `above_db` over the first at the first hour, and differs by `apart_db`."""
    rng = np.random.default_rng(2)
    start, told = date(2026, 1, 5), []
    for night in range(nights):
        for hour in hours:
            outside = rng.normal(0.0, 3.0)
            for place in range(2):
                level = outside + rng.normal(0.0, 0.2) + above_db * place * (hour == hours[0])
                told.append(
                    {
                        "night": start + timedelta(days=night),
                        "hour_utc": hour,
                        "hz": hz[place],
                        "for": "noise",
                        "passes": 4,
                        "scale": 0,
                        "difference_bound": "",
                        "noise_rise_bound": "",
                        "resolution_db": 0.05,
                        "level_antenna_bypass": level - 100.0,
                        "noise_rise_db": level + 6.0 if load else None,
                        "difference_db": 10.0 + apart_db * place + rng.normal(0.0, 0.2),
                    }
                )
    return pl.DataFrame(told, schema_overrides={"noise_rise_db": pl.Float64})


@pytest.mark.parametrize("load", [True, False])
@pytest.mark.parametrize("above_db", [3.0, -3.0])
def test_a_channel_above_its_fellow_is_left_out_at_that_hour(load, above_db):
    made = rows(above_db, load=load)
    found = channels(made)
    loud = 7_060_000 if above_db > 0 else 7_050_000
    assert found.occupied == {(20, loud): pytest.approx(3.0, abs=0.3)}
    left = found.without_occupied(made)
    assert set(left.filter(pl.col("hour_utc") == 20)["hz"]) == {7_050_000, 7_060_000} - {loud}
    assert left.filter(pl.col("hour_utc") == 21)["hz"].n_unique() == 2
    assert f"{loud / 1e3:g} kHz" in found.sentences[0] and "20 UTC" in found.sentences[0]


def test_channels_on_which_a_carrier_stands_are_left_out_as_well():
    made = rows()
    told = Channels({(20, 7_050_000): 3.0}, {}, {(21, 7_060_000): 9.0})
    left = told.without_occupied(made)
    assert set(left.select("hour_utc", "hz").iter_rows()) == {(20, 7_060_000), (21, 7_050_000)}
    assert Channels({}, {}, {(20, 7_050_000): 9.0}).without_occupied(made).height == made.height * 3 // 4


def test_without_load_gains_apart_leave_no_verdict_and_a_load_tells_them():
    assert channels(rows(apart_db=4.0, load=False)).apart == {
        hour: pytest.approx(4.0, abs=0.3) for hour in (20, 21)
    }
    assert channels(rows(apart_db=4.0)).apart == {}


@pytest.mark.parametrize("load", [True, False])
def test_channels_alike_say_nothing(load):
    found = channels(rows(1.0, 1.0, load))
    assert (found.occupied, found.apart, found.sentences) == ({}, {}, ())


@pytest.mark.parametrize("load", [True, False])
def test_noise_that_falls_with_frequency_is_no_signal_on_the_lower_channel(load):
    """Man-made noise falls by 27.7 dB a decade (ITU-R P.372, Table 1), so by 13.6 dB from 522.5 to 1616 kHz."""
    assert 27.7 * np.log10(1616 / 522.5) == pytest.approx(13.6, abs=0.05)
    assert channels(rows(-13.6, load=load, hz=(522_500, 1_616_000))).occupied == {}
    # and by 2.0 dB between channels 18 % apart, of which a third, near one of them, would be a fellow
    assert channels(rows(-2.0, load=load, hz=(1_810_000, 1_990_000))).occupied == {}


def test_one_channel_or_two_nights_say_nothing():
    assert channels(rows(3.0).filter(pl.col("hz") == 7_060_000)).occupied == {}
    assert channels(rows(3.0, nights=2)).occupied == {}
    assert channels(rows(3.0).head(0)).occupied == {}


def test_hours_with_a_channel_occupied_are_told_in_their_order():
    found = Channels(
        {(22, 7_050_000): 4.0, (3, 7_050_000): 6.0}, {}, {(21, 7_060_000): 9.0, (2, 7_060_000): 12.0}
    )
    occupied, held = found.sentences
    assert "7050 kHz stands 6.0 dB above" in occupied and "(03, 22 UTC)" in occupied
    assert "7060 kHz" in held and "(02, 21 UTC)" in held and "up to 12 dB over the noise" in held
    (apart,) = Channels({}, {3: 2.0, 4: 5.0}).sentences
    assert "differ by up to 5.0 dB" in apart


@pytest.mark.parametrize(
    "spoilt", [{"passes": 0}, {"difference_bound": "at least"}, {"scale": 1}, {"for": "carrier"}]
)
def test_hours_that_were_not_measured_alike_are_held_against_nothing(spoilt):
    made = rows(3.0)
    assert (
        channels(made.with_columns(**{name: pl.lit(value) for name, value in spoilt.items()})).occupied == {}
    )
    bounded = made.with_columns(noise_rise_bound=pl.lit("at least"))
    assert channels(bounded).occupied == {(20, 7_060_000): pytest.approx(3.0, abs=0.3)}  # by the levels then


@pytest.mark.parametrize(("resolution_db", "told"), [(0.25, True), (0.7, False), (None, True)])
def test_the_step_of_the_meter_hides_what_is_no_greater_than_chance_makes_of_it(resolution_db, told):
    """Student's t of ten degrees of freedom exceeds 7.5 once in 10⁵; the steps of two readings make √2 of one."""
    made = rows(3.0).with_columns(pl.lit(resolution_db, pl.Float64).alias("resolution_db"))
    assert bool(channels(made).occupied) == told


@pytest.mark.parametrize(("above_db", "told"), [(1.3, False), (1.7, True)])
def test_channels_count_as_apart_from_one_and_a_half_decibels_on(above_db, told):
    assert bool(channels(rows(above_db, nights=30)).occupied) == told
    assert bool(channels(rows(apart_db=above_db, load=False, nights=30)).apart) == told


@pytest.mark.parametrize("load", [True, False])
@pytest.mark.parametrize(("high", "fellows"), [(7_650_000, True), (7_750_000, False)])
def test_channels_more_than_a_tenth_apart_are_not_held_against_each_other(high, fellows, load):
    assert bool(channels(rows(6.0, load=load, hz=(7_000_000, high))).occupied) == fellows
    # and exactly a tenth is no more than a tenth
    assert channels(rows(6.0, load=load, hz=(10_000_000, 11_000_000))).occupied != {}
