"""What a pass shows to be wrong with its own sound, and that nothing is found where nothing is wrong."""

from dataclasses import replace
from datetime import UTC, datetime
from itertools import product

import numpy as np
import pytest

from drivers.contracts import Block
from sweeper.engine.sound_tests import of_its_meter, troubles
from sweeper.simulation.receivers.audio import Audio
from sweeper.spectra.axis import axis_of
from sweeper.spectra.calm import calm_spectrum
from sweeper.spectra.rows import learn, rows
from sweeper.words import ANTENNA_BYPASS, ANTENNA_STAGE, LOAD_STAGE, Channel, Labelled, Reading, Visit
from tests.sweeper.engine.bench import ABBA
from tests.sweeper.engine.test_by_sound import LOAD_BYPASS, MEASURING, NOISE, SOUND, Rig

pytestmark = pytest.mark.slow

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


def bending(limit: float, seed: int = 5) -> str:
    """What is said of a stage of 12 dB whose noise and carrier (30 dB over it) a receiver bends from `limit` on."""
    dice, heard = np.random.default_rng(seed), dict[Channel, list[Labelled]]()
    axis = axis_of(12_000, real=True, centre_hz=7_204_000, band_hz=(0.0, 5000.0))
    for channel, (nth, path) in product((NOISE, CARRIER), enumerate((*ABBA, LOAD_BYPASS, LOAD_STAGE))):
        white = np.fft.rfft(dice.normal(size=12_000))
        white[:300] = white[2701:] = 0.0
        volts = np.fft.irfft(white, 12_000) * (1.0 if path.source == "antenna" else 0.35)
        if channel is CARRIER and path.source == "antenna":
            volts = volts + 25.0 * np.cos(2000.0 * np.pi * np.arange(12_000) / 12_000)
        volts = volts * (4.0 if path.route == "stage" else 1.0) * 1e-3
        block = Block((limit * np.tanh(volts / limit)).astype(np.float32), 12_000.0, (0.0, 1.0))
        one = calm_spectrum(block, axis, (200.0, 3000.0))
        heard.setdefault(channel, []).append(Labelled(nth * 2.0, nth * 2.0 + 1.0, path, 7_204_000.0, one))
    learned = {channel: learn(channel, 1, sequence, 3000.0) for channel, sequence in heard.items()}
    found = [row for channel, each in heard.items() for one in each for row in rows(one, learned[channel])]
    return "; ".join(troubles([], heard, learned, found))


def test_a_step_of_the_stage_is_the_same_at_two_levels_of_the_sound() -> None:
    assert bending(10.0) == ""


def test_a_receiver_that_bends_takes_of_the_step_of_noise_beside_a_carrier() -> None:
    assert "the stage steps noise by 12 dB and by 4 dB less beside the carrier" in bending(0.08)


def test_noise_that_sinks_under_the_load_beside_a_carrier_sank_with_the_gain() -> None:
    assert "noise beside the carrier sinks under that of the load" in bending(0.03)


@pytest.mark.parametrize(
    ("by_meter", "by_sound", "told"),
    [(12.0, 12.0, False), (12.0, 9.1, False), (12.0, 8.9, True), (-12.0, 0.0, True), (1.6, -1.5, True),
     (1.4, -9.0, False), (-1.4, 9.0, False)],
)  # fmt: skip
def test_a_meter_that_moves_with_the_stage_otherwise_than_the_sound_tells_of_a_gain_that_follows(
    by_meter: float, by_sound: float, told: bool
) -> None:
    """By three decibels or more; a meter that itself moves by less than half of that says nothing."""
    when = datetime(2026, 3, 1, 20, tzinfo=UTC)
    shown = {
        (CARRIER, str(ANTENNA_BYPASS)): (-20.0, -18.0),
        (CARRIER, str(ANTENNA_STAGE)): (-19.0 + by_meter,),
    }
    readings = [
        Reading(when, 1, channel, path, -60.0 + moved, None)
        for channel, more in ((CARRIER, 0.0), (replace(CARRIER, hz=CARRIER.hz + 1), 40.0))
        for path, moved in ((ANTENNA_BYPASS, 0.0), (ANTENNA_STAGE, by_sound + more))
    ]
    assert bool(of_its_meter(shown, readings, 3.0)) == told
    assert of_its_meter(shown, readings[:1], 3.0) == of_its_meter({}, readings, 3.0) == ()
