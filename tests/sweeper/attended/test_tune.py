"""Where the receiver is set for an attended test, what is asked of it, and who keeps an eye on it meanwhile."""

import threading
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from types import SimpleNamespace

import pytest

from drivers.contracts import Block, Tuning
from drivers.errors import Transmitting
from sweeper.attended.at_station import asked_of, attended, attended_at, tune
from sweeper.attended.listening import Pressed
from sweeper.attended.view import View
from sweeper.attended.witness import Witness, over_s9_of
from sweeper.clock import JumpingClock
from sweeper.errors import UserFacingError
from sweeper.station import Station, load
from sweeper.station.sections import Audio
from sweeper.words import ANTENNA_BYPASS, ANTENNA_STAGE, LOAD_STAGE
from tests.sweeper.attended.on_air_now import START
from tests.sweeper.daemon.conftest import Outpost, outpost
from tests.sweeper.engine.bench import Dial
from tests.sweeper.engine.test_hearing_visits import Played
from tests.sweeper.station.files import written

pytestmark = pytest.mark.slow

__all__ = ["outpost"]
NOW = datetime(2026, 3, 1, 17, 5, 9, tzinfo=UTC)


def station(folder: Path, mode: str = "USB", audio: dict[str, object] | None = None) -> Station:
    of = load(written(folder, ("mode: USB", f"mode: {mode}")))
    told = None if audio is None else Audio(**audio)  # type: ignore[arg-type]
    return of.model_copy(update={"receiver": of.receiver.model_copy(update={"audio": told})})


def test_a_person_is_given_longer_stays_than_a_relay_and_presses_only_where_there_are_keys() -> None:
    asked = asked_of(NOW, 2.0, False, 7_100_000.0, 0.99, 2.0)
    assert (asked.seconds, asked.by_hand, asked.keys) == (120.0, False, False)
    assert (asked.at, asked.hz, asked.confidence) == ("2026-03-01T17:05:09Z", 7_100_000.0, 0.99)
    assert asked.worthwhile_db == 2.0
    by_hand = asked_of(NOW, 2.0, True, None, 0.95, 1.0)
    assert by_hand.keys and not asked_of(NOW, 2.0, True, None, 0.95, 1.0, presses=False).keys
    assert by_hand.every_s >= 2 * asked.every_s


@pytest.mark.parametrize(
    ("found", "hz", "wanted"),
    [
        (Tuning(7_100_000, "USB", 2400), None, (7_100_000, 7_100_000, "USB")),
        (Tuning(7_100_000, "LSB", 2400), None, (7_100_000, 7_100_000, "LSB")),
        (Tuning(7_010_000, "CW", 500), None, (7_010_000, 7_010_000, "CW")),
        (Tuning(7_010_000, "cw", 500), None, (7_010_000, 7_010_000, "CW")),
        (Tuning(9_750_000, "AM", 6000), None, (9_750_000, 9_749_000, "USB")),
        (Tuning(9_750_000, "SAM", 6000), None, (9_750_000, 9_749_000, "USB")),
        (Tuning(9_750_000, "AMS", 6000), None, (9_750_000, 9_749_000, "USB")),
        (Tuning(7_100_000, "LSB", 2400), 9_750_000.4, (9_750_000, 9_749_000, "USB")),
        (Tuning(29_600_000, "FM", 12_000), 9_750_000.0, (9_750_000, 9_749_000, "USB")),
    ],
)
def test_a_receiver_in_a_side_band_stays_as_it_is_and_any_other_listens_in_one(
    tmp_path: Path, found: Tuning, hz: float | None, wanted: tuple[int, int, str]
) -> None:
    dial = Dial(tuning_now=found)
    tuned = tune(station(tmp_path), dial, hz)
    assert (tuned.hz, tuned.dial_hz, tuned.mode) == wanted
    assert (dial.tuning_now.hz, dial.tuning_now.mode.upper()) == wanted[1:]
    assert ("set_mode" in dial.calls) == (found.mode.upper() != wanted[2])
    assert ("tune" in dial.calls) == (found.hz != wanted[1])
    assert any("whose detector bends" in note for note in tuned.notes) == (hz is None and "AM" in found.mode)
    if "set_mode" in dial.calls:
        assert dial.tuning_now.bandwidth_hz == 2400


@pytest.mark.parametrize(
    ("mode", "audio", "dial_hz"),
    [("LSB", None, 7_101_000), ("CW", None, 7_100_000), ("AM", None, 7_099_000), ("USB", {"tone_hz": 700}, 7_099_300)],
)  # fmt: skip
def test_a_carrier_that_is_named_sounds_at_the_stations_tone_in_its_mode(
    tmp_path: Path, mode: str, audio: dict[str, object] | None, dial_hz: int
) -> None:
    tuned = tune(station(tmp_path, mode, audio), Dial(tuning_now=Tuning(14_000_000, "FM", None)), 7_100_000.0)
    assert (tuned.hz, tuned.dial_hz, tuned.mode) == (7_100_000, dial_hz, "USB" if mode == "AM" else mode)


@pytest.mark.parametrize(
    ("unknown", "audio", "known"),
    [((), None, True), (("AGC",), None, None), (("AGC",), {"agc_off": True}, True),
     (("AGC",), {"agc_off": False}, None)],
)  # fmt: skip
def test_what_could_not_be_set_is_told_and_the_gain_then_counts_as_known_by_somebodys_word_alone(
    tmp_path: Path, unknown: tuple[str, ...], audio: dict[str, object] | None, known: bool | None
) -> None:
    dial = Dial(tuning_now=Tuning(7_100_000, "USB", 2400))
    dial.prepare = lambda: unknown  # type: ignore[method-assign]
    tuned = tune(station(tmp_path, audio=audio), dial, None)
    assert tuned.gain_known is known
    assert len(tuned.notes) == len(unknown) and all("AGC" in note for note in tuned.notes)


def test_in_a_mode_whose_sound_tells_nothing_the_receiver_is_not_touched(tmp_path: Path) -> None:
    dial = Dial(tuning_now=Tuning(29_600_000, "FM", 12_000))
    with pytest.raises(UserFacingError, match=r"in FM, .*set it to USB, LSB or CW"):
        tune(station(tmp_path), dial, None)
    assert dial.calls == ["tuning"]


ASKED = asked_of(NOW, 0.2, False, None, 0.95, 1.0)


def at(outpost: Outpost, told, asked=ASKED, pressed: Pressed | None = None, changed: Station | None = None):  # type: ignore[no-untyped-def]
    source = Played(outpost.clock)
    return attended_at(
        changed or outpost.station, outpost.store, source, asked, pressed or Pressed(), outpost.clock,
        threading.Event(), told,
    )  # fmt: skip


def test_the_relay_goes_through_the_load_too_and_the_station_is_left_as_found(outpost: Outpost) -> None:
    views: list[View] = []
    outpost.dial.tuning_now = found = Tuning(7_100_000, "LSB", 2100)
    with pytest.raises(UserFacingError, match="the relay switched"):
        at(outpost, views.append)
    moved = [call for call in outpost.board.history if call != "antenna-bypass"]
    assert "antenna-stage" in moved and "load-bypass" in moved and "load-stage" not in moved
    assert views[0].hz_dial == 7_100_000 and views[-1].elapsed_s >= 11.9
    assert (outpost.dial.tuning_now, outpost.board.standing) == (found, "antenna-bypass")
    assert views[-1].meter is not None


def test_a_receiver_that_was_tuned_is_not_heard_before_it_has_settled(outpost: Outpost) -> None:
    """Seven seconds by the station file; the receiver is found elsewhere, so that it is tuned."""

    class First(Played):
        began_s: float | None = None

        def take(self, seconds: float, after_s: float) -> Block:
            block = super().take(seconds, after_s)
            if self.began_s is None:
                self.began_s = block.captured[0]
            return block

    source, began_s = First(outpost.clock), outpost.clock.monotonic()
    receiver = outpost.station.receiver.model_copy(update={"settle_s": 7.0})
    with pytest.raises(UserFacingError, match="the relay switched"):
        attended_at(
            outpost.station.model_copy(update={"receiver": receiver}), outpost.store, source,
            replace(ASKED, hz=7_210_000.0), Pressed(), outpost.clock, threading.Event(), lambda view: None,
        )  # fmt: skip
    assert source.began_s is not None and source.began_s - began_s >= 7.0


def test_a_key_ends_it_and_by_hand_no_relay_moves(outpost: Outpost) -> None:
    pressed, views = Pressed(), list[View]()

    def told(view: View) -> None:
        views.append(view)
        if view.elapsed_s > 3.0:
            pressed.put(("stop", outpost.clock.monotonic()))

    with pytest.raises(UserFacingError, match="the switch was never flipped"):
        at(outpost, told, asked_of(NOW, 1.0, True, None, 0.95, 1.0), pressed)
    assert 3.0 < views[-1].elapsed_s < 4.5
    assert set(outpost.board.history) <= {"antenna-bypass"}


@pytest.mark.parametrize(
    ("moved_hz", "ends"), [(7_100_000, False), (7_100_004, False), (7_100_500, True), (7_099_500, True)]
)
def test_a_dial_that_is_turned_by_more_than_the_receivers_own_step_ends_it(
    outpost: Outpost, moved_hz: int, ends: bool
) -> None:
    outpost.dial.tuning_now = Tuning(7_100_000, "USB", 2400)

    def told(view: View) -> None:
        if view.elapsed_s > 2.0:
            outpost.dial.tuning_now = Tuning(moved_hz, "USB", 2400)

    with pytest.raises(UserFacingError, match="The dial was turned" if ends else "the relay switched"):
        at(outpost, told)


def test_a_transmitter_that_comes_on_ends_it_with_the_stage_out(outpost: Outpost) -> None:
    def told(view: View) -> None:
        outpost.dial.transmitting = view.elapsed_s > 2.0

    with pytest.raises(Transmitting):
        at(outpost, told)
    assert outpost.board.standing == "antenna-bypass"


@pytest.mark.parametrize(("rated_db", "told"), [(None, False), (3.0, False), (3.1, True)])
def test_a_stage_counts_as_one_with_gain_from_three_decibels_on(
    outpost: Outpost, rated_db: float | None, told: bool
) -> None:
    """By hand with the noise falling where the stage should go in: only a stage with gain cannot do that."""
    stage = outpost.station.stage.model_copy(update={"rated_gain_db": rated_db})
    changed = outpost.station.model_copy(update={"stage": stage})
    source = Played(outpost.clock, path="antenna-stage")
    pressed = Pressed()

    def flips(view: View) -> None:
        flipped = int(view.elapsed_s / 3.0) % 2 == 1
        path = "antenna-bypass" if flipped else "antenna-stage"
        if path != source.path:
            source.path = path
            pressed.put(("switched", outpost.clock.monotonic()))

    with pytest.raises(UserFacingError) as refused:
        attended_at(
            changed, outpost.store, source, replace(ASKED, by_hand=True, keys=True, seconds=16.0), pressed,
            outpost.clock, threading.Event(), flips,
        )  # fmt: skip
    assert ("the other way round" in str(refused.value)) == told


def test_without_a_station_only_what_is_heard_counts() -> None:
    clock, pressed, entered = JumpingClock(START), Pressed(), list[str]()

    class Keys:
        def __enter__(self) -> None:
            entered.append("in")

        def __exit__(self, *of: object) -> None:
            entered.append("out")

    asked = asked_of(NOW, 0.1, True, None, 0.95, 1.0)
    with pytest.raises(UserFacingError, match="the switch was never flipped"):
        attended(Played(clock), asked, pressed, clock, threading.Event(), lambda view: None, Keys)
    assert entered == ["in", "out"] and clock.monotonic() == pytest.approx(6.0, abs=0.2)


def test_the_meter_shows_the_mean_of_its_latest_twenty_readings_of_each_route() -> None:
    shown = [90.0, *[-19.0] * 10, *[-7.0] * 10, 60.0, -7.0, -1.0, 60.0]
    paths = [*[ANTENNA_BYPASS] * 21, LOAD_STAGE, ANTENNA_STAGE, ANTENNA_STAGE, LOAD_STAGE]

    class Meter:
        def read_power(self) -> float:
            return shown[looked]

    witness = Witness(Meter(), lambda reading: reading + 1.0)  # type: ignore[arg-type]
    for looked, path in enumerate(paths):  # noqa: B007
        witness.look(path)
    assert witness.told() == ("S7", "S8½", "+9 dB")


def test_a_meter_at_s9_shows_no_decibels_over_it() -> None:
    shown = iter([-73.0, -72.4])
    meter = SimpleNamespace(read_power=lambda: next(shown))
    witness = Witness(meter, lambda reading: reading + 73.0)  # type: ignore[arg-type]
    for path in (ANTENNA_BYPASS, ANTENNA_STAGE):
        witness.look(path)
    assert witness.told() == ("S9", "S9+1 dB", "+1 dB")


@pytest.mark.parametrize(
    ("unit", "shown", "over"),
    [("dB-over-S9", 10.0, 10.0), ("dBm", -63.0, 10.0), ("dBm", -93.0, -20.0), ("raw", 5.0, None)],
)  # fmt: skip
def test_a_meter_is_shown_over_s9_as_its_unit_says(
    tmp_path: Path, unit: str, shown: float, over: float | None
) -> None:
    """S9 is −73 dBm below 30 MHz (IARU Region 1, Technical Recommendation R.1)."""
    changes = [
        ("unit: dB-over-S9", f"unit: {unit}"),
        *([("    s9_dbm: -73\n", "")] if unit != "dB-over-S9" else []),
    ]
    of = load(written(tmp_path, *changes))
    assert over_s9_of(of)(shown) == over
