"""What a listener is told, from the summaries of nights."""

import json
import math
from dataclasses import replace

import polars as pl
import pytest
from scipy import stats

from sweeper.analysis import evidence
from sweeper.analysis.day import columns
from sweeper.analysis.day.reduce import summarise_day
from sweeper.analysis.findings.as_json import findings_json
from sweeper.analysis.findings.build import find
from sweeper.analysis.physics.radiometer import thermal_dbm
from sweeper.simulation.campaign.course import BandTruth, Course
from sweeper.simulation.campaign.draw import campaign
from tests.sweeper.analysis.summaries import T0_K, Place, facts, made

pytestmark = pytest.mark.slow

DEAF = Place("10 m", antenna_k=3_000.0)
NOISY = Place("80 m", antenna_k=1_000_000.0)
PAD = Place("40 m", antenna_k=9_000.0, gain=0.1, stage_k=290.0 * 9.0)


def verdicts(summaries, station):
    found, _ = find(summaries, station)
    return {(band.band, period.hour_utc): period.verdict for band in found.bands for period in band.periods}


def test_a_deaf_receiver_gains_and_a_noisy_band_does_not():
    found = verdicts(made(DEAF, NOISY), facts(DEAF, NOISY))
    assert {found["10 m", hour] for hour in (18, 19, 20)} == {"stage"}
    assert {found["80 m", hour] for hour in (18, 19, 20)} == {"either"}


def test_an_attenuator_ahead_of_a_deaf_receiver_costs():
    assert set(verdicts(made(PAD), facts(PAD)).values()) == {"bypass"}


def test_the_s_n_change_is_gain_minus_difference():
    """The worked reading: antenna 4 dB over load, noise rises 13 dB with 15 dB of gain: +2 dB, 2.2 dB at most."""
    load_stage_db, antenna_bypass_db, antenna_stage_db = 3.6342, 4.0, 17.0  # over the load in bypass
    values = {
        "difference_db": antenna_stage_db - antenna_bypass_db,
        "load_difference_db": load_stage_db,
        "noise_rise_db": antenna_bypass_db,
        "power_rise_db": antenna_bypass_db,
        "stage_noise_rise_db": antenna_stage_db - load_stage_db,
        "stage_power_rise_db": antenna_stage_db - load_stage_db,
    }
    bare = replace(DEAF, error_db=0.01, night_sd_db=0.0, carrier=False)
    summaries = made(bare).with_columns([pl.lit(value).alias(name) for name, value in values.items()])
    found, _ = find(summaries, facts(replace(DEAF, carrier=False)))
    period = found.bands[0].periods[0]
    assert period.snr_change_db is not None
    assert found.bands[0].gain_db is not None
    assert found.bands[0].gain_db.value == pytest.approx(15.0, abs=1e-3)
    assert period.snr_change_db.value == pytest.approx(2.0, abs=1e-3)
    assert period.snr_change_db.value < 2.2


def test_one_reading_each_way_decides_nothing():
    """A fading carrier read once with the stage in and once out, 21 dB apart: undecided, not +6 dB."""
    once = Place(load=False)
    row = made(once, nights=1, hours=(20,)).with_columns(
        pl.lit(1).alias("passes"),
        pl.lit(None, dtype=pl.Float64).alias("difference_se_db"),
        pl.when(pl.col("for") == "carrier").then(21.0).alias("carrier_gain_db"),
        pl.lit(None, dtype=pl.Float64).alias("carrier_gain_se_db"),
    )
    assert set(verdicts(row, facts(once)).values()) == {"undecided"}


def test_before_three_nights_only_those_nights_are_spoken_of():
    found, _ = find(made(DEAF, nights=2), facts(DEAF))
    for period in found.bands[0].periods:
        assert "these-nights-only" in period.flags
    assert "on the 2 nights measured" in found.bands[0].recommendation


def test_a_meter_on_its_floor_gives_a_bound_and_no_value():
    floored = replace(DEAF, bound="at least")
    found, _ = find(made(floored), facts(floored))
    for period in found.bands[0].periods:
        assert period.snr_change_db is None
        assert period.verdict in ("undecided", "bypass")


def test_without_load_or_carrier_the_gain_is_unknown_and_says_what_to_do():
    blind = replace(DEAF, load=False, carrier=False)
    found, _ = find(made(blind), facts(blind))
    assert found.bands[0].gain_db is None
    assert {period.verdict for period in found.bands[0].periods} == {"undecided"}
    assert "load position" in found.bands[0].periods[0].reason


def test_good_news_is_withheld_while_the_stage_overloads():
    """Products of strong carriers lift the noise behind the stage by 10 dB in one hour of a deaf band."""
    band = BandTruth("10 m", rise_db=1.0, overloaded_hours=(19,), products_db=10.0)
    thrown = campaign(Course((band,), nights=5, hours=(17, 18, 19, 20)), 4)
    station = facts(channels=thrown.channels)
    found, _ = find(pl.concat([summarise_day(thrown.night(n), station) for n in range(5)]), station)
    by_hour = {period.hour_utc: period for period in found.bands[0].periods}
    assert "overload" in by_hour[19].flags
    assert by_hour[19].verdict == "undecided"
    assert by_hour[19].snr_change_db is None
    assert by_hour[17].snr_change_db is not None


def test_the_evidence_has_the_columns_it_states():
    _, tables = find(made(DEAF, NOISY), facts(DEAF, NOISY))
    for name in (
        "LEVELS",
        "NIGHTS",
        "CURVE",
        "POINTS",
        "CROSSINGS",
        "HEALTH",
        "GAINS",
        "MONTHS",
        "PARTS",
    ):
        frame = getattr(tables, name.lower())
        assert dict(frame.schema) == getattr(evidence, name), name
    assert tables.levels.height and tables.nights.height and tables.months.height


def test_what_the_stage_does_to_the_chains_noise_figure_needs_no_calibration():
    """Friis 1944: 9290 K alone; with the stage 580 K and the receiver's 9000 K over its gain; both over 290 K."""
    found, _ = find(made(DEAF), facts(DEAF))
    (band,) = json.loads(findings_json(found))["bands"]
    true_db = 10 * math.log10((290 + DEAF.stage_k + DEAF.receiver_k / DEAF.gain) / (290 + DEAF.receiver_k))
    change = band["chain_noise_figure_change_db"]
    assert change["value"] == pytest.approx(true_db, abs=0.3)
    assert change["low"] < change["value"] < change["high"]
    assert band["receiver_noise_figure_db"] is None and band["stage_noise_figure_db"] is None


def test_how_impulsive_noise_is_goes_with_the_levels_of_the_antenna():
    summaries = made(DEAF).with_columns(
        pl.lit(0.8).alias("impulsiveness_db"), pl.lit(0.3).alias("stage_impulsiveness_db")
    )
    _, tables = find(summaries, facts(DEAF))
    crackle = {row["path"]: row["impulsiveness_db"] for row in tables.levels.iter_rows(named=True)}
    assert crackle == {
        "antenna-bypass": pytest.approx(0.8), "antenna-stage": pytest.approx(0.3),
        "load-bypass": None, "load-stage": None,
    }  # fmt: skip


def test_a_single_night_has_intervals_of_the_antennas_levels_from_its_passes():
    """Of one night the mean is as sure as its passes: 0.1 dB and 3 degrees of freedom, Student's t of SciPy."""
    _, tables = find(made(DEAF, nights=1), facts(DEAF))
    reach = {
        row["path"]: row["high"] - row["level"]
        for row in tables.levels.drop_nulls("high").filter(pl.col("hour_utc") == 18).iter_rows(named=True)
    }
    t = stats.t.ppf(0.975, 3)
    assert reach == {
        "antenna-bypass": pytest.approx(0.1 * t), "antenna-stage": pytest.approx(math.hypot(0.1, 0.14) * t)
    }  # fmt: skip


def test_a_calibrated_station_is_told_how_it_stands_to_what_is_expected():
    # 12 dB over the median of ITU-R P.372 at 15 MHz, rural: 67.2 − 27.7·log₁₀ 15, and the galaxy beside it.
    outside_db = 10 * math.log10(
        10 ** ((67.2 - 27.7 * math.log10(15)) / 10) + 10 ** ((52 - 23 * math.log10(15)) / 10)
    )
    loud = replace(DEAF, antenna_k=290.0 * 10 ** ((outside_db + 15.0) / 10), night_sd_db=0.1)
    place = facts(*[replace(DEAF, name=f"{n}") for n in range(4)], loud)
    calibrated = replace(place, meter=replace(place.meter, unit="dBm", calibrated=True, uncertainty_db=0.1))
    summaries = made(*[replace(DEAF, name=f"{n}") for n in range(4)], loud)
    moved = thermal_dbm(2400) + 100.0 - 10 * math.log10(T0_K)  # `made` has 1 K at −100 dB
    levels = [name for name in summaries.columns if name.startswith("level_") and not name.endswith("_se_db")]
    _, tables = find(summaries.with_columns(pl.col(name) + moved for name in levels), calibrated)
    assert "look for a local source" in tables.standing["10 m"]
    _, uncalibrated = find(summaries, place)
    assert uncalibrated.standing == {}


def test_nothing_measured_is_no_error():
    found, tables = find(pl.DataFrame(schema=columns.schema()), facts(DEAF))
    assert [band.recommendation for band in found.bands] == ["Nothing measured here yet."]
    assert tables.levels.is_empty()


def test_the_json_has_the_fixed_keys_and_no_nan():
    found, _ = find(made(DEAF), facts(DEAF))
    written = json.loads(findings_json(found), parse_constant=lambda word: pytest.fail(f"{word} in JSON"))
    assert written["format"] == "sweeper-findings-1"
    assert set(written) == {"format", "station", "from", "to", "confidence", "worthwhile_db", "bands"}
    assert set(written["bands"][0]) == {
        *("band", "gain_db", "gain_from", "stage_noise_figure_db", "receiver_noise_figure_db", "flags"),
        *("periods", "recommendation", "chain_noise_figure_change_db"),
    }
    assert set(written["bands"][0]["periods"][0]) == {
        *(
            "hour_utc",
            "passes",
            "nights",
            "snr_change_db",
            "snr_change_measured_db",
            "noise_rise_db",
            "fa_db",
            "verdict",
            "verdict_measured",
            "flags",
            "reason",
        ),
    }
    assert set(written["bands"][0]["gain_db"]) == {"value", "low", "high"}


def test_the_order_of_the_rows_does_not_matter():
    summaries = made(DEAF, NOISY)
    shuffled = summaries.sample(fraction=1.0, shuffle=True, seed=3)
    first, second = (find(each, facts(DEAF, NOISY))[0] for each in (summaries, shuffled))
    for one, other in zip(first.bands, second.bands, strict=True):
        assert one.recommendation == other.recommendation
