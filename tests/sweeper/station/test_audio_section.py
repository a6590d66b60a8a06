"""`receiver.audio`: what may be left out with it, and each mistake with its sentence."""

from pathlib import Path

import pytest

from sweeper.daemon.rig.instruments import measurement_settings
from sweeper.spectra.rows import BEYOND_HZ
from sweeper.station import Station, StationFileError, load
from tests.sweeper.station.files import written

METER = """\
  readings: 8
  interval_s: 0.05
  range_hz: [150000, 30000000]
  meter:
    unit: dB-over-S9
    s9_dbm: -73
    curve: []
"""
SOUND = (METER, '  audio: {device: "USB Audio"}\n')


def with_sound(folder: Path, *changes: tuple[str, str]) -> Station:
    return load(written(folder, SOUND, *changes))


def refused(folder: Path, *changes: tuple[str, str]) -> str:
    with pytest.raises(StationFileError) as error:
        with_sound(folder, *changes)
    return " ".join(map(str, error.value.problems))


def test_with_sound_the_meters_keys_are_not_needed(tmp_path: Path) -> None:
    station = with_sound(tmp_path, ("  bandwidth_hz: 2400\n", ""))
    receiver = station.receiver
    assert (receiver.bandwidth_hz, receiver.readings, receiver.meter.unit) == (2400, 1, "raw")
    assert receiver.meter.averaging_s == pytest.approx(1 / 1.26, abs=0.01)
    sound = measurement_settings(station).sound
    assert (sound.seconds, sound.delay_s, sound.tone_hz, sound.sideband) == (1.0, 0.25, 1000, 1)


@pytest.mark.parametrize(
    ("mode", "bandwidth_hz", "more", "tone_hz", "first_hz", "filter_hz", "step_hz"),
    [
        ("USB", 2400, "", 1000, 300, 2700, 31.25),
        ("LSB", 1800, ", tone_hz: 1500", 1500, 300, 2100, None),
        ("CW", 500, "", 600, 350, 850, 7.8125),
        ("CWR", 500, ", tone_hz: 700", 700, 450, 950, 7.8125),
    ],
)
def test_where_a_carrier_sounds_and_what_of_the_sound_is_read_goes_by_mode_and_filter(
    tmp_path: Path,
    mode: str, bandwidth_hz: int, more: str, tone_hz: int, first_hz: float, filter_hz: float, step_hz: float | None,
) -> None:  # fmt: skip
    """600 Hz is the usual pitch of CW, and its filter lies round it; side bands begin at 300 Hz (common practice)."""
    sound = measurement_settings(
        with_sound(
            tmp_path,
            ("mode: USB", f"mode: {mode}"),
            ("bandwidth_hz: 2400", f"bandwidth_hz: {bandwidth_hz}"),
            ('"USB Audio"', f'"USB Audio"{more}'),
        )
    ).sound
    assert sound is not None
    assert (sound.tone_hz, sound.first_hz, sound.filter_hz - BEYOND_HZ) == (tone_hz, first_hz, filter_hz)
    assert step_hz is None or sound.step_hz == step_hz


def test_the_only_input_need_not_be_named(tmp_path: Path) -> None:
    station = with_sound(tmp_path, (SOUND[1], "  audio: {}\n"))
    assert (station.receiver.readings, station.receiver.meter.unit) == (1, "raw")
    assert measurement_settings(station).sound is not None


def test_a_channels_frequency_is_its_own_and_the_dial_stands_beside_it(tmp_path: Path) -> None:
    assert with_sound(tmp_path).receiver.dial_hz(7_202_000) == 7_201_000
    assert with_sound(tmp_path, ("mode: USB", "mode: LSB")).receiver.dial_hz(7_202_000) == 7_203_000
    assert with_sound(tmp_path, ("mode: USB", "mode: CW")).receiver.dial_hz(7_202_000) == 7_202_000


def test_the_gain_control_goes_off_where_the_driver_can_and_a_meter_is_not_needed(tmp_path: Path) -> None:
    station = with_sound(tmp_path)
    assert (station.receiver.options.agc, station.receiver.options.needs_meter) == ("off", False)
    assert measurement_settings(station).sound.gain_held
    station = with_sound(tmp_path, ("mode: USB", "mode: USB\n  agc: slow"))
    assert not measurement_settings(station).sound.gain_held


@pytest.mark.parametrize(("dialect", "held"), [("ts480", True), ("ic7300", False)])
def test_a_dialect_with_a_word_for_off_is_switched_off(tmp_path: Path, dialect: str, held: bool) -> None:
    driver = ("driver: hamlib\n", f"driver: dialect\n  dialect: {dialect}\n")
    assert measurement_settings(with_sound(tmp_path, driver)).sound.gain_held is held
    by_word = (SOUND[1], '  audio: {device: "USB Audio", agc_off: true}\n')
    assert measurement_settings(with_sound(tmp_path, driver, by_word)).sound.gain_held


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (("mode: USB", "mode: AM"), "receiver.mode: in AM the detector bends.*mode: USB.*gets it back"),
        (("mode: USB", "mode: FM"), "receiver.mode: levels cannot be read from sound in FM.*USB"),
        (
            ('"USB Audio"}', '"USB Audio", tone_hz: 2900}'),
            "receiver.audio.tone_hz: 2900 Hz does not come through",
        ),
        (('"USB Audio"}', '"USB Audio", seconds: 0}'), "receiver.audio.seconds"),
        (('"USB Audio"}', '"USB Audio", chanel: 1}'), "Did you mean 'channel'"),
        (('device: "USB Audio"', "device: [1]"), "receiver.audio.device"),
        (("mode: USB", "mode: USB\n  readings: 8"), "receiver: .*leave readings out"),
        (
            ("mode: USB", "mode: USB\n  meter: {unit: dBm}"),
            "receiver.meter.unit: with audio levels are in decibels",
        ),
    ],
)
def test_a_mistake_has_its_place_and_its_mend(tmp_path: Path, change: tuple[str, str], words: str) -> None:
    import re

    assert re.search(words, refused(tmp_path, change))


def test_a_dial_set_by_hand_needs_sound_and_a_word_that_nothing_can_be_keyed(tmp_path: Path) -> None:
    by_hand = (
        "driver: hamlib\n  link: tcp://127.0.0.1:4532\n",
        "driver: dial-by-hand\n  receive_only: true\n",
    )
    assert with_sound(tmp_path, by_hand).receiver.by_hand
    with pytest.raises(StationFileError, match="no meter that could be read"):
        load(written(tmp_path, by_hand))
    assert "receive_only" in refused(tmp_path, (by_hand[0], "driver: dial-by-hand\n"))
