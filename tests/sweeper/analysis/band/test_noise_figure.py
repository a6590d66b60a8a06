"""Noise figures, from a source, from a calibrated load, or only relative; and fa from them."""

from dataclasses import replace

import numpy as np
import polars as pl
import pytest
from scipy.special import stdtrit

from sweeper.analysis.band.gain import Gain, combine
from sweeper.analysis.band.gain_methods import GainMethods
from sweeper.analysis.band.noise_figure import figures, load_difference_of
from sweeper.analysis.band.switching_threshold import crossing_rise_db, switching_threshold
from sweeper.analysis.meter.scale import ANOTHER_UNIT
from sweeper.analysis.physics.external_noise import expected, fa_from_rise_db, standing
from sweeper.analysis.physics.friis import factor_by_source
from tests.sweeper.analysis.band.test_gain import season
from tests.sweeper.analysis.nights import Night, facts
from tests.sweeper.analysis.summaries import Place, made
from tests.sweeper.analysis.summaries import facts as facts_of_nights

NIGHT = Night(external_k=20_000)  # receiver 2610 K: 10 dB; stage 290 K: 3.01 dB


def test_a_calibrated_load_gives_both_noise_figures():
    summaries = season(NIGHT)
    found = figures(summaries, combine(GainMethods(summaries), facts(NIGHT)), facts(NIGHT))
    assert found.receiver_db.value == pytest.approx(10.0, abs=0.05)
    assert found.stage_db.value == pytest.approx(3.01, abs=0.1)
    assert found.receiver_db.low < 9.5
    assert found.found_by == "load"


def test_an_uncalibrated_meter_gives_none_but_says_what_the_stage_does_to_the_chain():
    told = facts(NIGHT, unit="dB-over-S9")
    summaries = season(NIGHT)
    found = figures(summaries, combine(GainMethods(summaries), told), told)
    assert found.receiver_db is None
    assert found.stage_db is None
    true_db = 10 * np.log10((580 + 2610 / 31.6228) / 2900)
    assert found.chain_change_db.value == pytest.approx(true_db, abs=0.1)


def test_a_noise_source_needs_no_calibration():
    night = replace(NIGHT, source_k=290 * (1 + 10**1.5))
    told = facts(night, unit="dB-over-S9", source_enr_db=15.0)
    summaries = season(night)
    found = figures(summaries, combine(GainMethods(summaries), told), told)
    assert found.receiver_db.value == pytest.approx(10.0, abs=0.05)
    assert found.stage_db.value == pytest.approx(3.01, abs=0.1)
    assert found.found_by == "source"


def test_a_receiver_quieter_than_physics_means_a_wrong_calibration():
    told = facts(NIGHT)
    summaries = season(NIGHT)
    shifted = summaries.with_columns(summaries["level_load_bypass"] - 14)
    found = figures(shifted, combine(GainMethods(summaries), told), told)
    assert found.receiver_db is None
    assert found.flags == ("implausible-calibration",)


def test_readings_taken_for_dbm_that_are_none_give_no_noise_figure():
    """dB over S9 read as dBm make a receiver of 83 dB."""
    off = season(NIGHT).with_columns(pl.col("level_load_bypass") + 73.0)
    found = figures(off, combine(GainMethods(off), facts(NIGHT)), facts(NIGHT))
    assert found.flags == ("implausible-calibration",)
    assert found.receiver_db is None
    assert "60 dB" in found.sentences[0]


def test_readings_of_another_unit_do_not_touch_the_noise_figure():
    made = season(NIGHT)
    off = made.with_columns(
        pl.col("level_load_bypass") + 73.0, pl.lit(ANOTHER_UNIT).cast(pl.Int64).alias("scale")
    )
    gain = combine(GainMethods(made), facts(NIGHT))
    alone, beside = (figures(rows, gain, facts(NIGHT)).receiver_db for rows in (made, pl.concat([made, off])))
    assert beside.value == pytest.approx(alone.value)


def test_without_load_there_are_no_noise_figures():
    night = replace(NIGHT, loads=False)
    summaries = season(night, 1)
    found = figures(summaries, combine(GainMethods(summaries), facts(night)), facts(night))
    assert (found.receiver_db, found.stage_db, found.chain_change_db) == (None, None, None)


def test_a_source_no_hotter_than_the_load_gives_no_noise_figure():
    assert np.isnan(factor_by_source(31.6, 1.0))


def test_external_noise_comes_out_of_the_noise_rise():
    external_k, receiver_k = 20_000.0, 2_610.0
    rise_db = 10 * np.log10((external_k + receiver_k) / (290 + receiver_k))
    true_db = 10 * np.log10(external_k / 290)
    assert fa_from_rise_db(np.array([rise_db]), 10.0)[0] == pytest.approx(true_db)


def test_no_noise_over_the_receivers_own_gives_no_external_noise():
    assert np.isnan(fa_from_rise_db(np.array([0.0, -1.0]), 10.0)).all()


def test_the_diagnosis_says_how_far_a_place_stands_from_what_is_expected():
    total = expected(7.1e6, "rural").total
    here = expected(7.1e6, "rural")

    deciles = np.array([total.upper_db, total.lower_db])
    usual = np.hypot(deciles, [here.place_upper_db, here.place_lower_db])

    def said(over_db):
        return standing(total.median_db + over_db, total.median_db, tuple(deciles), tuple(usual))

    assert "15 dB above" in said(15) and "look for a local source" in said(15)
    assert "within what P.372 expects here (−3 dB from its median)" in said(-3)
    assert "9 dB below" in said(-9) and "quiet" in said(-9)


def test_places_of_a_kind_differ_too():
    """ITU-R P.372, Table 2 (from memory): rural noise strays by 9.2 dB upwards in time, 6.8 dB from place to place,
    together √(9.2² + 6.8²) = 11.4 dB; of what comes from the sky no place changes anything.
    """
    here = expected(7.1e6, "rural")
    assert (here.place_upper_db, here.place_lower_db) == (pytest.approx(6.8), pytest.approx(6.8))
    deciles = here.total.upper_db, here.total.lower_db
    assert deciles == (pytest.approx(9.2), pytest.approx(4.6))

    def said(over_db):
        usual = np.hypot(deciles, [here.place_upper_db, here.place_lower_db])
        return standing(40.0 + over_db, 40.0, deciles, tuple(usual))

    assert "local source or the place" in said(11.3) and "look for a local source" in said(11.5)
    assert "within" in said(-8.1) and "below" in said(-8.3)
    sky = expected(25e6, "quiet-rural")
    assert sky.place_upper_db < 6.8 and sky.place_lower_db < 6.8


def test_few_nights_widen_the_figure_of_the_chain_by_students_law():
    """Three nights have two degrees of freedom: SciPy's t quantile, not the normal one."""
    told, three = facts(NIGHT), season(NIGHT).filter(pl.col("night") < pl.col("night").unique().sort().get(3))
    scattered = three.with_columns(
        pl.col("load_difference_db") + pl.col("night").rank("dense").cast(pl.Float64).sin() * 2.0,
        pl.lit(0.0).alias("load_resolution_db"),
        pl.lit(0.01).alias("load_difference_se_db"),
    )
    gain = Gain(15.0, 1e-6, 1e6, "load", ())
    mean = load_difference_of(scattered.filter(pl.col("for") == "noise"))
    found = figures(scattered, gain, told).chain_change_db
    assert mean.dof == pytest.approx(2.0, rel=0.01)
    assert found.high - found.value == pytest.approx(float(stdtrit(mean.dof, 0.975)) * mean.se, rel=1e-3)


def test_a_detector_that_averages_decibels_shows_noise_2_51_db_low():
    """The well-known correction of noise on a log-averaging detector: common practice in spectrum analysis."""
    rms, made = facts(NIGHT), season(NIGHT)
    log = replace(rms, meter=replace(rms.meter, detector="log-average", averaging_s=None))
    gain = combine(GainMethods(made), rms)
    difference = figures(made, gain, log).receiver_db.value - figures(made, gain, rms).receiver_db.value
    assert difference == pytest.approx(2.51, abs=0.005)


def test_a_noise_bandwidth_half_as_wide_as_the_pass_band_makes_the_receiver_3_db_noisier():
    rms, made = facts(NIGHT), season(NIGHT)
    half = replace(rms, meter=replace(rms.meter, noise_bandwidth_hz=made["bandwidth_hz"][0] / 2))
    gain = combine(GainMethods(made), rms)
    difference = figures(made, gain, half).receiver_db.value - figures(made, gain, rms).receiver_db.value
    assert difference == pytest.approx(10 * np.log10(2), abs=1e-6)


def test_nights_do_not_resolve_what_the_step_of_the_meter_hides():
    """A load stands on one step of 1 dB, in both routes, all nights long: 1/√12 dB a route stays (Widrow 1956)."""
    step_hides_db = 1 / np.sqrt(12) * np.sqrt(2)
    error_db = np.hypot(0.4, step_hides_db)
    still = made(Place(error_db=0.0, night_sd_db=0.0), nights=25).with_columns(
        pl.lit(error_db).alias("load_difference_se_db"), pl.lit(step_hides_db).alias("load_resolution_db")
    )
    found = load_difference_of(still.filter(pl.col("for") == "noise"))
    assert found.se == pytest.approx(np.hypot(0.4 / np.sqrt(25), step_hides_db))


def test_the_rule_by_eye_is_no_surer_than_the_step_of_the_meter_after_a_season():
    """What the step hides of the load difference moves the crossing by its slope there, however many nights."""
    told = facts_of_nights(Place())
    fine = made(Place(night_sd_db=0.5), nights=25)
    coarse = fine.with_columns(
        pl.lit(0.41).alias("load_resolution_db"), pl.lit(0.45).alias("load_difference_se_db")
    )
    gain = combine(GainMethods(fine), told)
    crossing = switching_threshold(coarse, gain, told).crossing_db
    difference_db = fine["load_difference_db"].drop_nulls().mean()
    slope = (crossing_rise_db(1.0, gain.gain_db, difference_db + 0.01) - crossing.value) / 0.01
    assert (crossing.high - crossing.low) / 2 >= 1.95 * abs(slope) * 0.41


def test_a_coarse_meter_hides_its_step_from_the_load_of_every_night():
    hidden = season(replace(NIGHT, step_db=1.0))["load_resolution_db"].drop_nulls()
    assert len(hidden) and hidden.max() <= np.sqrt(2 / 12) + 1e-9
    assert season(NIGHT)["load_resolution_db"].max() < 0.05
