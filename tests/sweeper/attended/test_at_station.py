"""At a station: the rig is borrowed as by every command, and left as it was found, whatever happens in between."""

import threading
from collections.abc import Callable
from dataclasses import replace

import pytest

from drivers.contracts import Tuning
from drivers.errors import InUse, LinkLost, Transmitting
from sweeper.attended.at_station import attended_at, tune
from sweeper.attended.listening import Pressed
from sweeper.attended.session import Asked
from sweeper.attended.view import Attended, View
from sweeper.daemon.rig.lock import hold_rig
from sweeper.errors import UserFacingError
from tests.sweeper.attended.on_air_now import PlantedSound
from tests.sweeper.attended.test_session import DEAF, planted
from tests.sweeper.daemon.conftest import Outpost, outpost
from tests.sweeper.engine.bench import FOUND

__all__ = ["outpost"]
pytestmark = pytest.mark.slow
ASKED = Asked(seconds=40.0, every_s=2.0, by_hand=False)


def sounding(outpost: Outpost) -> PlantedSound:
    """The sound of that station's receiver, which its relays switch."""
    sound = PlantedSound(planted(DEAF, 60.0), outpost.clock)

    def moved(call: str) -> None:
        sound.select(call.removeprefix("select "))

    outpost.board.before = moved
    return sound


def run(
    outpost: Outpost, sound: PlantedSound, asked: Asked = ASKED, told: Callable[[View], None] = lambda view: None,
    stop: threading.Event | None = None,
) -> Attended:  # fmt: skip
    return attended_at(
        outpost.station,
        outpost.store,
        sound,
        asked,
        Pressed(),
        outpost.clock,
        stop or threading.Event(),
        told,
    )


def as_found(outpost: Outpost) -> bool:
    return (outpost.dial.tuning_now, outpost.dial.agc, outpost.board.standing) == (
        FOUND,
        "slow",
        "antenna-bypass",
    )


def test_the_stations_relay_answers_and_everything_is_left_as_found(outpost: Outpost) -> None:
    dials: set[Tuning] = set()
    result = run(
        outpost,
        sounding(outpost),
        replace(ASKED, hz=7_210_000.0),
        lambda _: dials.add(outpost.dial.tuning_now),
    )
    assert result.result.verdict == "stage" and result.result.hz == 7_210_000.0
    assert {(at.hz, at.mode) for at in dials} == {(7_209_000, "USB")}
    assert as_found(outpost)
    assert any("noise blanker" in note for note in result.notes)
    assert outpost.store.recall("in-hand") is None


def test_am_is_left_for_usb_a_kilohertz_below_and_put_back(outpost: Outpost) -> None:
    outpost.dial.tuning_now = Tuning(9_750_000, "AM", 6000)
    tuned = tune(outpost.station, outpost.dial, None)
    assert (tuned.hz, tuned.dial_hz, tuned.mode) == (9_750_000, 9_749_000, "USB")
    outpost.dial.tuning_now = Tuning(9_750_000, "AM", 6000)
    run(outpost, sounding(outpost))
    assert outpost.dial.tuning_now == Tuning(9_750_000, "AM", 6000)


def test_fm_is_refused_with_what_to_do_and_nothing_is_switched(outpost: Outpost) -> None:
    outpost.dial.tuning_now = Tuning(29_600_000, "FM", 12_000)
    with pytest.raises(UserFacingError, match="set it to USB, LSB or CW"):
        run(outpost, sounding(outpost))
    assert "antenna-stage" not in outpost.board.history


def test_a_receiver_on_the_air_is_not_touched(outpost: Outpost) -> None:
    outpost.dial.transmitting = True
    with pytest.raises(Transmitting):
        run(outpost, sounding(outpost))
    assert "tune" not in outpost.dial.calls and "antenna-stage" not in outpost.board.history


def test_a_key_that_is_pressed_meanwhile_takes_the_stage_out_at_once(outpost: Outpost) -> None:
    sound = sounding(outpost)

    def keyed(view: View) -> None:
        if view.elapsed_s > 5.0 and str(view.path) == "antenna-stage" and not keyed_s:
            outpost.dial.transmitting = True
            keyed_s.append(outpost.clock.monotonic())

    keyed_s: list[float] = []
    with pytest.raises(Transmitting):
        run(outpost, sound, told=keyed)
    assert outpost.board.standing == "antenna-bypass"
    assert outpost.clock.monotonic() - keyed_s[0] < 1.0


def test_while_another_command_has_the_rig_it_is_refused(outpost: Outpost) -> None:
    with hold_rig(outpost.store.folder), pytest.raises(InUse):
        run(outpost, sounding(outpost))


def test_a_card_that_is_unplugged_leaves_the_relay_at_rest_and_the_dial_back(outpost: Outpost) -> None:
    sound = sounding(outpost)
    sound.fails_at_s, sound.fault = 8.0, LinkLost("sound input", "it is gone.", "Plug it in again.")
    with pytest.raises(UserFacingError, match="it is gone"):
        run(outpost, sound, replace(ASKED, hz=7_210_000.0))
    assert as_found(outpost)


def test_a_dial_that_is_turned_meanwhile_ends_it(outpost: Outpost) -> None:
    def turned(view: View) -> None:
        if view.elapsed_s > 5.0:
            outpost.dial.tuning_now = Tuning(7_100_000, "USB", 2400)

    with pytest.raises(UserFacingError, match="dial was turned"):
        run(outpost, sounding(outpost), told=turned)
    assert outpost.board.standing == "antenna-bypass"


def test_an_order_to_stop_rests_the_relay_within_a_block(outpost: Outpost) -> None:
    stop = threading.Event()
    ordered_s: list[float] = []

    def told(view: View) -> None:
        if view.elapsed_s > 5.0 and not stop.is_set():
            stop.set()
            ordered_s.append(outpost.clock.monotonic())

    with pytest.raises(UserFacingError, match="Nothing is claimed"):
        run(outpost, sounding(outpost), told=told, stop=stop)
    assert as_found(outpost)
    assert outpost.clock.monotonic() - ordered_s[0] < 2.0
