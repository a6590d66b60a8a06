"""The rule by eye: stage in while noise reads below this, in the unit that the meter shows."""

from dataclasses import replace

import numpy as np
import polars as pl
import pytest
from scipy import stats

from sweeper.analysis.band.gain import combine
from sweeper.analysis.band.gain_methods import GainMethods
from sweeper.analysis.band.noise_figure import load_difference_of
from sweeper.analysis.band.switching_threshold import (
    crossing_rise_db,
    on_every_scale,
    predicted_snr_change_db,
    switching_threshold,
)
from sweeper.analysis.facts import MeterFacts
from sweeper.analysis.findings.claims import rule_by_eye
from sweeper.analysis.statistics.group_sequential import look_level
from sweeper.analysis.statistics.interval import Interval
from tests.sweeper.analysis.summaries import Place, facts, made

PLACE = Place(error_db=0.02, night_sd_db=0.5)


def rule(unit="dBm", **more):
    told = facts(PLACE, meter=MeterFacts(unit, unit == "dBm", 1.0, None, None, 0.02, "rms"), **more)
    summaries = made(PLACE)
    return switching_threshold(summaries, combine(GainMethods(summaries), told), told)


@pytest.mark.parametrize("worthwhile_db", [0.5, 1.0, 2.0, 3.0])
def test_the_crossing_is_where_the_change_is_what_matters_to_the_listener(worthwhile_db):
    """By temperatures: change = (fa + fr) over (fa + f of the whole chain), noise rise = (fa + fr) over (T0 + fr)."""
    total_k = PLACE.stage_k + PLACE.receiver_k / PLACE.gain
    ratio = 10 ** (worthwhile_db / 10)
    outside_k = (PLACE.receiver_k - ratio * total_k) / (ratio - 1)
    rise_lin = (outside_k + PLACE.receiver_k) / (290.0 + PLACE.receiver_k)
    found = rule(worthwhile_db=worthwhile_db)
    assert 10 ** (found.crossing_db.value / 10) == pytest.approx(rise_lin, rel=0.02)
    assert f"there it brings {worthwhile_db:g} dB or more" in rule_by_eye(found, "dBm", worthwhile_db)


@pytest.mark.parametrize(
    ("unit", "words"),
    [
        ("dB-over-S9", "dB over S9, give or take"),
        ("dBm", "dBm (give or take"),
        ("raw", "on the meter (give or take"),
    ],
)
def test_the_reading_is_told_in_the_unit_of_the_meter(unit, words):
    assert f" {words}" in rule_by_eye(rule(unit), unit, 1.0)


def test_the_reading_of_the_crossing_is_the_loads_and_the_noise_rise_there():
    found = rule()
    load = made(PLACE)["level_load_bypass"].drop_nulls().mean()
    assert found.reading.value == pytest.approx(load + found.crossing_db.value, abs=0.05)


def test_on_a_meter_with_a_curve_the_reading_is_what_it_shows_there():
    """Half a decibel a count, -110 dBm at nought: a level is twice as many counts as it lies decibels above that."""
    plain = rule()
    curve = ((0.0, -110.0), (400.0, 90.0))
    meter = MeterFacts("raw", True, 0.5, None, None, 0.02, "rms", curve=curve)
    told = facts(PLACE, meter=meter)
    counts = ((pl.col("level_antenna_bypass") + 110.0) * 2).alias("meter_reading_bypass")
    summaries = made(PLACE).with_columns(counts)
    found = switching_threshold(summaries, combine(GainMethods(summaries), told), told)
    assert found.reading.value == pytest.approx(2 * (plain.reading.value + 110.0), abs=0.1)
    assert found.reading.high - found.reading.value == pytest.approx(
        2 * (plain.reading.high - plain.reading.value), rel=0.2
    )
    points = replace(told, meter=replace(meter, curve=((0.0, -110.0), (2.0, -109.0), (400.0, 90.0))))
    same = switching_threshold(summaries, combine(GainMethods(summaries), points), points)
    assert same.reading.value == pytest.approx(found.reading.value)  # one point more on the same line
    short = replace(told, meter=replace(meter, curve=((0.0, -200.0), (10.0, -190.0))))
    off = switching_threshold(summaries, combine(GainMethods(summaries), short), short)
    assert off.reading is None and off.crossing_db == found.crossing_db
    assert "off the meter's curve" in rule_by_eye(off, "raw", 1.0)


def test_the_change_falls_with_noise_from_outside_as_the_chain_says():
    """A stage of 10 dB that lifts the load by 3.01 dB, with 0, 1 and 10 times the load's noise from outside:
    10/2, then 10 · 2/(2 + 10), then 10 · 11/(2 + 100)."""
    rises_db = 10 * np.log10(np.array([1.0, 2.0, 11.0]))
    told = predicted_snr_change_db(rises_db, 10.0, 10 * np.log10(2.0))
    assert told == pytest.approx(10 * np.log10(np.array([5.0, 20.0 / 12.0, 110.0 / 102.0])))


def test_a_change_that_no_noise_brings_has_no_crossing():
    assert crossing_rise_db(1.0, 10.0, 9.5) != crossing_rise_db(1.0, 10.0, 9.5)
    assert rule(worthwhile_db=30.0).crossing_db is None


def test_with_no_noise_from_outside_the_change_is_that_of_the_chain_at_ambient_temperature():
    """By temperatures: the receiver's noise beside an antenna at 290 K, over that of stage and receiver."""
    best_lin = (290.0 + PLACE.receiver_k) / (290.0 + PLACE.stage_k + PLACE.receiver_k / PLACE.gain)
    assert rule().best_db.value == pytest.approx(10 * np.log10(best_lin), abs=0.1)


def test_its_intervals_carry_the_errors_of_gain_load_and_reading():
    """By finite steps of one standard error, and SciPy's t at the look that is due."""
    told = facts(PLACE, meter=MeterFacts("dBm", True, 1.0, None, None, 0.02, "rms"))
    summaries = made(PLACE)
    gain = combine(GainMethods(summaries), told)
    found = switching_threshold(summaries, gain, told)
    rows = summaries.filter((pl.col("for") == "noise") & (pl.col("noise_rise_bound") == ""))
    of_load = load_difference_of(rows.filter(pl.col("load_difference_db").is_not_null()))
    difference, se = of_load.value, of_load.se
    reach = stats.t.isf(look_level(rows["night"].n_unique(), 1 - told.confidence) / 2, gain.dof)

    def crossing(of_gain, of_load):
        return crossing_rise_db(told.worthwhile_db, gain.gain_db + of_gain, difference + of_load)

    error = np.hypot(
        (crossing(gain.se_db, 0) - crossing(-gain.se_db, 0)) / 2, (crossing(0, se) - crossing(0, -se)) / 2
    )
    load = (rows["meter_reading_bypass"] - rows["noise_rise_db"]).to_numpy()
    for interval, half in (
        (found.best_db, reach * np.hypot(gain.se_db, se)),
        (found.crossing_db, reach * error),
        (found.reading, reach * np.hypot(error, np.std(load) + 0.1)),
    ):
        assert interval.high - interval.value == pytest.approx(half, rel=0.02)
        assert interval.value - interval.low == pytest.approx(half, rel=0.02)


def test_without_load_readings_or_a_gain_there_is_no_rule():
    summaries = made(PLACE)
    told = facts(PLACE, meter=MeterFacts("dBm", True, 1.0, None, None, 0.02, "rms"))
    gain = combine(GainMethods(summaries), told)
    assert switching_threshold(summaries, None, told) is None
    for column in ("load_difference_db", "noise_rise_db"):
        without = summaries.with_columns(pl.lit(None, pl.Float64).alias(column))
        assert switching_threshold(without, gain, told) is None


def test_of_several_scales_the_widest_interval_holds_and_no_reading_is_told():
    one, other = rule(), rule(worthwhile_db=2.0)
    wider = Interval(one.best_db.value, one.best_db.low - 1, one.best_db.high + 2)
    other = replace(other, best_db=wider)
    for order in ((one, [other]), (other, [one])):
        found = on_every_scale(*order)
        assert (found.best_db.low, found.best_db.high) == (wider.low, wider.high)
        assert found.crossing_db is None and found.reading is None
    assert on_every_scale(one, []) is one
    assert on_every_scale(one, [None]) is None
    assert on_every_scale(None, [one]) is None


def test_the_curve_runs_from_a_twentieth_of_a_decibel_to_twenty_five() -> None:
    found = rule()
    assert (len(found.noise_rise_db), found.noise_rise_db[0], found.noise_rise_db[-1]) == (500, 0.05, 25.0)
    gain = combine(GainMethods(made(PLACE)), facts(PLACE)).gain_db
    difference = load_difference_of(made(PLACE).filter(pl.col("load_difference_db").is_not_null())).value
    assert found.snr_change_db == pytest.approx(
        predicted_snr_change_db(found.noise_rise_db, gain, difference), abs=1e-6
    )


def test_a_crossing_is_told_only_where_the_best_lies_surely_above_what_matters() -> None:
    low = rule().best_db.low
    assert rule(worthwhile_db=low - 0.02).crossing_db is not None
    above = rule(worthwhile_db=low + 0.02)
    assert above.crossing_db is None and above.reading is None
    assert rule_by_eye(above, "dBm", low + 0.02).startswith("Not settled yet")


@pytest.mark.parametrize(
    ("column", "value"),
    [
        ("noise_rise_bound", "at most"),
        ("for", "carrier"),
        ("load_difference_db", None),
        ("noise_rise_db", None),
    ],
)
def test_rows_that_tell_nothing_of_the_load_take_no_part(column: str, value: str | None) -> None:
    told = facts(PLACE, meter=MeterFacts("dBm", True, 1.0, None, None, 0.02, "rms"))
    rows = made(PLACE)
    noise = rows.filter(pl.col("for") == "noise")
    wrong = noise.with_columns(
        (pl.col("load_difference_db") + 9.0).alias("load_difference_db"),
        (pl.col("meter_reading_bypass") + 9.0).alias("meter_reading_bypass"),
    ).with_columns(pl.lit(value, rows.schema[column]).alias(column))
    gain = combine(GainMethods(rows), told)
    alone, both = (switching_threshold(each, gain, told) for each in (rows, pl.concat([rows, wrong])))
    assert (both.best_db, both.reading) == (alone.best_db, alone.reading)


@pytest.mark.parametrize(
    ("ends", "worthwhile_db", "words"),
    [
        ((-3.0, -1.2), 1.0, "it costs 1.2 dB or more. Leave it out."),
        ((-3.0, 0.0), 1.0, "would bring 0.0 dB at most, less than the 1 dB that matter"),
        ((-3.0, 0.9), 1.0, "would bring 0.9 dB at most"), ((-3.0, 1.0), 1.0, "Not settled yet"),
        ((0.5, 4.0), 1.0, "it would bring +0.5 to +4.0 dB"),
    ],
)  # fmt: skip
def test_what_the_best_says_of_all_readings(
    ends: tuple[float, float], worthwhile_db: float, words: str
) -> None:
    best = Interval(sum(ends) / 2, *ends)
    each = replace(rule(), best_db=best)
    each = replace(each, crossing_db=None, reading=None)
    assert words in rule_by_eye(on_every_scale(each, [each]), "dBm", worthwhile_db)
