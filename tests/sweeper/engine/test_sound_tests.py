"""What a pass shows to be wrong with its own sound, and that nothing is found where nothing is wrong."""

from dataclasses import replace

import pytest

from sweeper.simulation.receivers.audio import Audio
from sweeper.words import LOAD_STAGE, Channel, Visit
from tests.sweeper.engine.bench import ABBA
from tests.sweeper.engine.test_by_sound import LOAD_BYPASS, MEASURING, NOISE, SOUND, Rig

CARRIER = Channel("40 m", 7_205_000, "carrier", 2400)
VISITS = tuple(
    Visit(channel, path) for path in (*ABBA, LOAD_BYPASS, LOAD_STAGE) for channel in (NOISE, CARRIER)
)
RIGHT = Audio(full_scale_dbm=-22.0, card_dbfs_per_hz=-165.0)
"""The evening's carrier just fits below full scale, and the load stands well over the card: 24 bits."""


def troubles_of(audio: Audio, prepare=lambda rig: None) -> str:
    rig = Rig()
    rig.hearing.audio = audio
    rig.dial.prepare = lambda: ()
    prepare(rig)
    record, _ = rig.measured(replace(MEASURING, sound=replace(SOUND, vouched=True)), VISITS)
    assert record.outcome == "done", record.because
    return "; ".join(record.unknown_settings)


def test_nothing_is_found_where_nothing_is_wrong() -> None:
    assert troubles_of(RIGHT) == ""


@pytest.mark.parametrize("more", [{"drift_db": 1.0}, {"clicks_per_s": 1.0}, {"hum_dbfs": -80.0}])
def test_nor_is_it_where_the_night_is_an_ordinary_one(more: dict[str, float]) -> None:
    assert troubles_of(replace(RIGHT, **more)) == ""


@pytest.mark.parametrize(
    ("audio", "words"),
    [
        (Audio(full_scale_dbm=-78.0), "turn it down"),
        (Audio(card_dbfs_per_hz=-124.0), "turn it up"),
    ],
)
def test_a_level_set_wrong_says_where_to_turn(audio: Audio, words: str) -> None:
    found = troubles_of(audio)
    assert "the sound's level" in found
    assert words in found


def test_direct_voltage_that_jumps_with_the_relays_is_a_ground_loop() -> None:
    def jumping(rig: Rig) -> None:
        switched = rig.board.before

        def before(call: str) -> None:
            switched(call)
            rig.hearing.audio = replace(RIGHT, offset=0.02 if "stage" in call else 0.0)

        rig.board.before = before

    assert "isolating transformer" in troubles_of(RIGHT, jumping)


def test_a_filter_that_changes_within_the_pass_is_named() -> None:
    def narrower(rig: Rig) -> None:
        switched = rig.board.before

        def before(call: str) -> None:
            switched(call)
            rig.bench.bandwidth_hz = 2400 if len(rig.board.history) < 2 else 1500

        rig.board.before = before

    assert "the receiver's filter" in troubles_of(RIGHT, narrower)


def test_a_gain_control_that_is_on_whatever_is_said_shows_in_the_gain() -> None:
    """Noise lies under its threshold, the carrier over it: one stage, two gains."""

    def levelled(rig: Rig) -> None:
        rig.bench.agc_off = False

    assert "the gain control is on" in troubles_of(replace(RIGHT, full_scale_dbm=-30.0), levelled)


@pytest.mark.slow
def test_a_carrier_that_fades_within_a_pass_is_no_gain_control() -> None:
    """Twenty passes of an evening: the carrier stands up to ten decibels elsewhere from stay to stay."""
    rig = Rig()
    rig.hearing.audio = RIGHT
    rig.dial.prepare = lambda: ()
    found = []
    for _ in range(20):
        rig.clock.sleep(300.0)
        record, _ = rig.measured(replace(MEASURING, sound=replace(SOUND, vouched=True)), VISITS)
        found += record.unknown_settings
    assert found == []
