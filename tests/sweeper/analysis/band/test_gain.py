"""Gain found four ways, combined by what each can know; disagreement is named, not averaged away."""

from dataclasses import replace
from datetime import timedelta

import numpy as np
import polars as pl
import pytest

from sweeper.analysis.band.cells import nightly_snr_change
from sweeper.analysis.band.gain import combine, quieter_antenna, weighted
from sweeper.analysis.band.gain_agreement import reconcile
from sweeper.analysis.band.gain_methods import GainEstimate, GainMethods
from sweeper.analysis.band.switching_threshold import (
    crossing_rise_db,
    predicted_snr_change_db,
    switching_threshold,
)
from sweeper.analysis.day.reduce import summarise_day
from sweeper.analysis.findings.claims import rule_by_eye
from sweeper.analysis.findings.tables import gains_table
from sweeper.analysis.physics.friis import snr_lost_db
from tests.sweeper.analysis.nights import Night, facts, readings, summary

pytestmark = pytest.mark.slow


def season(night, nights=4):
    return pl.concat(
        [
            summary(replace(night, seed=night.seed + nth, begins=night.begins + timedelta(days=nth)))
            for nth in range(nights)
        ]
    )


def test_load_and_carriers_agree_on_a_healthy_stage():
    night = Night(external_k=20_000)
    gain = combine(GainMethods(season(night)), facts(night))
    assert gain.gain_db == pytest.approx(15.0, abs=3 * gain.se_db)
    assert gain.se_db < 0.1
    assert gain.flags == ()
    assert {part.source for part in gain.parts} == {"carriers", "load"}


def test_without_load_gain_rests_on_carriers():
    night = Night(external_k=20_000, loads=False)
    gain = combine(GainMethods(season(night)), facts(night))
    assert gain.source == "carriers"
    assert gain.gain_db == pytest.approx(15.0, abs=3 * gain.se_db)


def test_with_neither_load_nor_carriers_the_label_is_no_evidence():
    night = Night(loads=False, carriers=False)
    assert combine(GainMethods(season(night, 1)), facts(night, rated_gain_db=15.0)) is None


def test_a_gain_that_is_not_the_rated_one_names_the_fault_to_look_for():
    night = Night(external_k=20_000)
    gain = combine(GainMethods(season(night)), facts(night, rated_gain_db=25.0))
    assert gain.gain_db == pytest.approx(15.0, abs=3 * gain.se_db)
    assert gain.flags == ("gain-off-label",)
    assert "measures +15.0 dB where its label says +25.0 dB" in gain.sentences[0]


def test_with_nothing_at_all_no_gain_is_claimed():
    night = Night(loads=False, carriers=False)
    assert combine(GainMethods(season(night, 1)), facts(night, rated_gain_db=None)) is None


def test_noise_no_higher_than_the_receivers_own_says_nothing_about_gain():
    night = Night(external_k=300, carriers=False)
    assert combine(GainMethods(season(night)), facts(night)) is None


@pytest.mark.parametrize("gain_db", [-10.0, 0.0, 20.0])
def test_a_stage_of_any_gain_is_measured_by_the_same_code(gain_db):
    night = Night(external_k=200_000, gain=10 ** (gain_db / 10))
    gain = combine(GainMethods(season(night)), facts(night))
    assert gain.gain_db == pytest.approx(gain_db, abs=3 * gain.se_db)


def test_ways_that_disagree_are_named_and_widen_the_uncertainty():
    gain = weighted((GainEstimate("carriers", 12.0, 0.2, 9, 10), GainEstimate("load", 15.0, 0.1, 9, 10)))
    assert gain.flags == ("gain-disagrees",)
    assert gain.se_db > 1
    assert "12.0 dB by carriers" in gain.sentences[0]


def test_ways_that_agree_are_weighted_by_their_uncertainty():
    gain = weighted((GainEstimate("carriers", 15.4, 0.4, 9, 10), GainEstimate("load", 15.0, 0.1, 9, 10)))
    assert gain.gain_db == pytest.approx(15.0235, abs=0.001)
    assert gain.flags == ()


def test_the_s_unit_meter_finds_the_gain_within_what_it_claims():
    night = Night(external_k=20_000, step_db=6.0)
    gain = combine(GainMethods(season(night)), facts(night))
    assert gain.gain_db == pytest.approx(15.0, abs=3 * gain.se_db)


def measured_change_db(gain_db, bypass_db, stage_db):
    """What the program makes of these two levels of antenna noise in one hour of one night."""
    row = pl.DataFrame({"band": ["40 m"], "difference_db": [stage_db - bypass_db]})
    gain = weighted((GainEstimate("carriers", gain_db, 0.1, 9, 10),))
    return nightly_snr_change(row, {"40 m": gain})["snr_change_db"].item()


def test_a_worked_reading():
    """Antenna 4 dB over load in bypass; noise rises 13 dB with a stage of 15 dB gain (measurement.md)."""
    assert measured_change_db(15.0, -94.0, -81.0) == pytest.approx(2.0)
    assert snr_lost_db(4.0) == pytest.approx(2.2, abs=0.005)


def test_an_amplified_noise_that_rises_by_exactly_the_gain_changes_nothing():
    """Common practice."""
    assert measured_change_db(15.0, -91.5, -76.5) == 0.0


def test_a_load_at_minus_94_an_antenna_at_minus_91_5_and_minus_79_with_the_stage():
    """Common practice: 15 to 16 dB of gain make +2.5 to +3.5 dB, and no stage could reach 3.6 dB."""
    assert measured_change_db(15.0, -91.5, -79.0) == pytest.approx(2.5)
    assert measured_change_db(16.0, -91.5, -79.0) == pytest.approx(3.5)
    assert 3.55 < snr_lost_db(2.5) < 3.6


@pytest.mark.parametrize(
    ("rise_db", "lost_db"), [(1, 6.87), (2, 4.33), (3, 3.02), (4, 2.20), (6, 1.26), (10, 0.46), (20, 0.04)]
)
def test_what_the_chains_own_noise_costs(rise_db, lost_db):
    """measurement.md, computed from L(Y) = Y − 10·log₁₀(10^(Y/10) − 1)."""
    assert snr_lost_db(float(rise_db)) == pytest.approx(lost_db, abs=0.006)


def test_no_noise_rise_means_that_everything_is_lost():
    assert np.isinf(snr_lost_db(0.0))
    assert np.isinf(snr_lost_db(-1.0))


def test_the_curve_falls_to_nothing_as_external_noise_grows():
    curve = predicted_snr_change_db(np.array([0.01, 3.0, 10.0, 40.0]), 15.0, 8.6)
    assert (np.diff(curve) < 0).all()
    assert curve[-1] == pytest.approx(0.0, abs=0.01)
    assert curve[0] == pytest.approx(15 - 8.6, abs=0.1)


def test_the_curve_passes_through_the_worthwhile_change_at_its_crossing():
    crossing = crossing_rise_db(1.0, 15.0, 8.6)
    assert predicted_snr_change_db(np.array([crossing]), 15.0, 8.6)[0] == pytest.approx(1.0)


def test_a_stage_that_is_no_quieter_than_the_receiver_never_crosses():
    assert np.isnan(crossing_rise_db(1.0, 15.0, 14.5))


def test_the_rule_by_eye_names_the_meter_reading_of_the_crossing():
    night = Night(external_k=20_000)
    summaries = season(night)
    threshold = switching_threshold(summaries, combine(GainMethods(summaries), facts(night)), facts(night))
    # kelvin: load 2900 in bypass; S/N change 1 dB where g·T/(g·(T − 2900) + d) = 10^0.1
    g, d = 31.6228, 31.6228 * (290 + 290) + 2610
    at_k = 1.2589 * (g * 2900 - d) / (g * 0.2589)
    true_dbm = 10 * np.log10(1.380649e-20 * 2400 * at_k)
    assert threshold.reading.value == pytest.approx(true_dbm, abs=0.15)
    assert threshold.reading.low < true_dbm < threshold.reading.high
    assert "Stage in while the noise in bypass reads below" in rule_by_eye(threshold, "dBm", 1.0)


def test_a_useless_stage_has_no_rule_but_a_sentence():
    night = Night(external_k=20_000, stage_k=290_000)
    summaries = season(night, 1)
    threshold = switching_threshold(summaries, combine(GainMethods(summaries), facts(night)), facts(night))
    assert threshold.reading is None
    assert "Leave it out" in rule_by_eye(threshold, "dBm", 1.0)
    assert threshold.best_db.high < 0.0


def test_a_gain_that_is_hardly_known_never_makes_the_stage_useless():
    """Best of all, with no noise from outside, −1.2 dB (−9 to 6.6): that settles nothing."""
    night = Night(external_k=20_000)
    summaries = season(night, 1)
    loose = replace(combine(GainMethods(summaries), facts(night)), gain_db=8.0, se_db=3.5)
    threshold = switching_threshold(summaries, loose, facts(night))
    assert threshold.best_db.low < 0.0 < threshold.best_db.high
    assert threshold.crossing_db is None
    assert rule_by_eye(threshold, "dBm", 1.0).startswith("Not settled yet")


def test_a_gain_that_differs_by_channel_is_told_by_channel():
    night = Night(external_k=200_000)
    tilted = pl.col("dbm") + pl.when((pl.col("hz") == 7_000_000) & (pl.col("route") == "stage")).then(
        -4.0
    ).otherwise(0)
    days = [
        summarise_day(
            readings(replace(night, seed=nth, begins=night.begins + timedelta(days=nth))).with_columns(
                tilted.alias("dbm")
            ),
            facts(night),
        )
        for nth in range(3)
    ]
    gain = combine(GainMethods(pl.concat(days).filter(pl.col("for") == "noise")), facts(night))
    assert gain.flags == ("gain-varies",)
    assert gain.at(7_000_000) == pytest.approx(11.0, abs=0.15)
    assert gain.at(7_010_000) == pytest.approx(15.0, abs=0.15)
    assert gain.sentences[-1].endswith("Each channel is computed with its own; +13.0 dB is their mean.")
    shown = gains_table({"40 m": gain}, 0.95)
    assert shown.filter(pl.col("method") == "channel")["hz"].to_list() == [7_000_000, 7_010_000]


def test_a_steady_carrier_on_a_coarse_meter_is_no_surer_than_the_step():
    night = Night(external_k=20_000, step_db=1.0, loads=False)
    steady = pl.when(pl.col("for") == "carrier").then(
        ((pl.when(pl.col("route") == "stage").then(14.4).otherwise(0.0)) - 70.0).round()
    )
    days = [
        summarise_day(
            readings(replace(night, seed=nth, begins=night.begins + timedelta(days=nth))).with_columns(
                steady.otherwise("dbm").alias("dbm")
            ),
            facts(night),
        )
        for nth in range(4)
    ]
    gain = combine(GainMethods(pl.concat(days)), facts(night))
    assert gain.source == "carriers"
    assert gain.se_db > 0.3
    assert abs(gain.gain_db - 14.4) < 2 * gain.se_db


def test_a_carrier_that_fades_decides_nothing_in_one_glance():
    """A worked reading (measurement.md): once with the stage in and once out, 21 dB apart with a 15 dB stage."""
    night = Night(loads=False, passes=1)
    once = readings(night).with_columns(
        pl.when(pl.col("for") == "carrier")
        .then(pl.when(pl.col("route") == "stage").then(-59.0).otherwise(-80.0))
        .otherwise("dbm")
        .alias("dbm")
    )
    gain = combine(GainMethods(summarise_day(once, facts(night))), facts(night))
    assert gain.interval(0.95).high - gain.interval(0.95).low > 12


def test_the_direct_and_the_predicted_snr_change_agree_on_a_healthy_stage():
    night = Night(external_k=20_000)
    found = reconcile(GainMethods(season(night)))
    true_db = 10 * np.log10((20_000 + 2610) / (20_000 + 290 + 2610 / 31.6228))
    assert found.agree is True
    assert found.sentence == ""
    assert found.hours["predicted_db"].mean() == pytest.approx(true_db, abs=0.1)
    assert found.hours["direct_db"].mean() == pytest.approx(true_db, abs=1.2)


def test_intermodulation_sets_the_two_routes_apart():
    night = Night(external_k=20_000, intermodulation_k=31.6228 * 60_000)
    found = reconcile(GainMethods(season(night, 8)))
    assert found.agree is False
    assert "predict" in found.sentence


def test_without_a_load_there_is_only_the_direct_route():
    found = reconcile(GainMethods(season(Night(external_k=20_000, loads=False), 2)))
    assert found.agree is None
    assert found.hours["predicted_db"].null_count() == found.hours.height


@pytest.mark.parametrize("carriers", [True, False])
def test_a_choke_has_no_gain_and_a_quieter_antenna(carriers):
    """Signals stay, antenna noise falls by 4 dB, the load sees no difference."""
    night = Night(external_k=2_000_000, gain=1.0, stage_k=0.0, carriers=carriers)

    def choked(table):
        hit = (pl.col("route") == "stage") & (pl.col("source") == "antenna") & (pl.col("for") == "noise")
        return table.with_columns(pl.when(hit).then(pl.col("dbm") - 4).otherwise("dbm").alias("dbm"))

    days = [
        summarise_day(
            choked(readings(replace(night, seed=n, begins=night.begins + timedelta(days=n)))), facts(night)
        )
        for n in range(4)
    ]
    methods, told = GainMethods(pl.concat(days)), facts(night, rated_gain_db=0.0)
    assert quieter_antenna(methods, told)
    gain = combine(methods, told)
    if not carriers:
        assert gain is None  # the label says 0 dB, but only carriers could
        return
    assert gain.flags == ("quieter-antenna",)
    assert gain.gain_db == pytest.approx(0.0, abs=3 * gain.se_db)
    assert "4.0 dB quieter" in gain.sentences[0]


def test_an_attenuator_is_no_choke():
    night = Night(external_k=2_000_000, gain=0.5, stage_k=290.0)
    gain = combine(GainMethods(season(night)), facts(night, rated_gain_db=-3.0))
    assert gain.flags == ()
    assert gain.gain_db == pytest.approx(-3.01, abs=3 * gain.se_db)
