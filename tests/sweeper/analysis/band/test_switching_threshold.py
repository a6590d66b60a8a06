"""The rule by eye: stage in while noise reads below this, in the unit that the meter shows."""

import pytest

from sweeper.analysis.band.gain import combine
from sweeper.analysis.band.gain_methods import GainMethods
from sweeper.analysis.band.switching_threshold import crossing_rise_db, switching_threshold
from sweeper.analysis.facts import MeterFacts
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
    assert f"there it brings {worthwhile_db:g} dB or more" in found.sentence


@pytest.mark.parametrize(
    ("unit", "words"), [("dB-over-S9", "dB over S9"), ("dBm", "dBm"), ("raw", "on the meter")]
)
def test_the_reading_is_told_in_the_unit_of_the_meter(unit, words):
    assert f" {words} (give or take" in rule(unit).sentence


def test_the_reading_of_the_crossing_is_the_loads_and_the_noise_rise_there():
    found = rule()
    load = made(PLACE)["level_load_bypass"].drop_nulls().mean()
    assert found.reading.value == pytest.approx(load + found.crossing_db.value, abs=0.05)


def test_a_change_that_no_noise_brings_has_no_crossing():
    assert crossing_rise_db(1.0, 10.0, 9.5) != crossing_rise_db(1.0, 10.0, 9.5)
    assert rule(worthwhile_db=30.0).crossing_db is None
