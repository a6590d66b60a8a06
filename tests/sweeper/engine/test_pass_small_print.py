"""The small print of a pass: letters of a mode, where the dial was found, answers that were lost, stale readings."""

import math
from dataclasses import replace
from threading import Event

import pytest

from drivers.contracts import Block, Tuning
from drivers.errors import LinkLost, LinkTimeout
from drivers.waiting import Deadline, StopOrder, bounded
from sweeper.engine import MeasurementSettings, measure_pass, same_dial, without_dial
from sweeper.words import PassRecord
from tests.sweeper.engine.bench import FOUND, SETTINGS, VISITS, Board, Dial, Kept, a_clock


def measured(
    dial: Dial, board: Board, kept: Kept, settings: MeasurementSettings = SETTINGS, stop: Event | None = None
) -> PassRecord:
    return measure_pass(7, VISITS, dial, board, a_clock(), settings, kept, stop or Event())


def test_a_station_that_says_nothing_of_sound_is_read_by_its_meter_whatever_is_plugged_in() -> None:
    class Microphone:
        def take(self, seconds: float, after_s: float) -> Block:
            raise AssertionError("nobody listens")

        def unknown(self) -> tuple[str, ...]:
            return ("enhancements",)

        def close(self) -> None:
            pass

    kept = Kept()
    record = measure_pass(
        7, VISITS, Dial(), Board(), a_clock(), SETTINGS, kept, Event(), samples=Microphone()
    )
    assert (record.outcome, "enhancements" in record.unknown_settings) == ("done", False)
    assert len(kept.records[0][1]) == len(VISITS) * SETTINGS.readings


@pytest.mark.parametrize("mode", ["cw", "CW", "Cw"])
def test_a_mode_is_the_same_in_small_and_capital_letters(mode: str) -> None:
    class Shouting(Dial):
        def set_mode(self, mode: str, bandwidth_hz: int | None) -> None:
            super().set_mode(mode.swapcase(), bandwidth_hz)

    for dial in (Dial(), Shouting()):
        assert measured(dial, Board(), Kept(), replace(SETTINGS, mode=mode)).outcome == "done"


def test_a_dial_that_stays_is_a_fault_only_where_it_was_found_or_left() -> None:
    stuck = measured(Dial(dead_dial=True), Board(), Kept())
    assert stuck.outcome == "failed" and f"stayed at {FOUND.hz} Hz when told to tune to" in stuck.because

    class Forgetful(Dial):
        def remember(self) -> dict[str, object]:
            super().remember()
            return {"agc": self.agc}

    unknown = measured(Forgetful(dead_dial=True), Board(), Kept())
    assert unknown.outcome == "skipped" and "somebody tuned the receiver" in unknown.because


class Late(Dial):
    """Tells of a move only after it was asked three times."""

    asked = 0
    told = FOUND

    def tune(self, hz: int) -> None:
        self.told, self.asked = self.tuning_now, 0
        super().tune(hz)

    def tuning(self) -> Tuning:
        self.asked += 1
        now = super().tuning()
        return now if self.asked > 3 else replace(now, hz=self.told.hz)


def test_a_server_that_tells_late_of_a_move_is_waited_for_and_its_dial_given_back() -> None:
    dial = Late()
    record = measured(dial, Board(), Kept())
    assert record.outcome == "done", record.because
    assert dial.tuning_now == FOUND


def test_a_receiver_that_tunes_in_steps_is_not_called_somebody() -> None:
    class Coarse(Dial):
        def tune(self, hz: int) -> None:
            super().tune(hz + 50)

    record = measured(Coarse(), Board(), Kept())
    assert record.outcome == "skipped"
    told = (
        "told to tune to 7038500 Hz, the receiver says 7038550 Hz: somebody turned it, or it tunes in steps"
    )
    assert record.because.startswith(told)


class Losing(Board):
    """Does not answer the first `lost` times that it is sent to rest."""

    lost = 1
    fault: type[Exception] = LinkTimeout

    def select(self, path: str) -> int:
        if path == "antenna-bypass" and self.standing != path and self.lost and self.history[-1:] != [path]:
            self.lost -= 1
            raise self.fault("switch", "nothing came back.")
        return super().select(path)


def a_stop_amid(dial: Dial) -> Event:
    """An order to stop once the stage is in and a few readings are taken."""
    stop = Event()
    seen = 0

    def before(call: str) -> None:
        nonlocal seen
        seen += call == "read_power"
        if seen == 20:
            stop.set()

    dial.before = before
    return stop


def test_rest_is_asked_for_twice_where_the_first_answer_is_lost() -> None:
    for lost, left_over in ((1, ()), (2, ("relays",))):
        dial, board = Dial(), Losing()
        board.lost = lost
        record = measured(dial, board, Kept(), stop=a_stop_amid(dial))
        assert record.outcome == "skipped" and record.left_over == left_over
        assert (board.standing == "antenna-bypass") == (left_over == ())
        assert dial.tuning_now == FOUND
    board = Losing()
    board.fault = LinkLost  # no link, no second try
    dial = Dial()
    assert measured(dial, board, Kept(), stop=a_stop_amid(dial)).left_over == ("relays",)


@pytest.mark.parametrize(
    ("stopped", "first_s", "second_s"),
    [(False, 30.0 * 0.7 / 2, 30.0 * 0.7 / 2), (True, 10.0 * 0.7 / 2, 10.0 * 0.7)],
)
def test_the_relays_have_two_tries_in_seven_tenths_of_the_time_for_leaving(
    stopped: bool, first_s: float, second_s: float
) -> None:
    """Half a minute, or ten seconds after an order to stop; the second try begins when the first is given up."""
    left_s: list[float] = []
    clock = a_clock()

    class Dead(Board):
        def select(self, path: str) -> int:
            if path != "antenna-bypass" or not dial.calls.count("read_power") > 10:
                return super().select(path)
            deadline = Deadline(1000.0, "switch")
            left_s.append(deadline.remaining())
            clock.sleep(deadline.remaining())
            raise LinkTimeout("switch", "nothing came back.")

    dial = Dial()
    stop = a_stop_amid(dial)
    if not stopped:  # a meter that reads no number ends the pass as well
        stop, amid = StopOrder(clock), dial.read_power
        dial.read_power = lambda: amid() if dial.calls.count("read_power") < 20 else math.nan  # type: ignore[method-assign]
    with bounded(clock=clock):
        record = measure_pass(7, VISITS, dial, Dead(), clock, SETTINGS, Kept(), stop)
    assert record.left_over == ("relays",)
    assert left_s == pytest.approx([first_s, second_s])


def test_moves_to_rest_are_counted_too() -> None:
    dial, board = Dial(), Board()
    record = measured(dial, board, Kept())
    assert record.outcome == "done"
    moves = sum(
        sum(a != b for a, b in zip(before.split("-"), after.split("-"), strict=True))
        for before, after in zip(["antenna-bypass", *board.history], board.history, strict=False)
    )
    assert record.relay_operations == moves > 2


class Flaky(Dial):
    """Loses its answer about the transmitter for the first `lost` times after readings were taken."""

    lost = 1

    def is_transmitting(self) -> bool:
        if self.calls.count("read_power") >= len(VISITS) * SETTINGS.readings and self.lost:
            self.lost -= 1
            raise LinkTimeout("receiver", "nothing came back.")
        return super().is_transmitting()


@pytest.mark.parametrize(("lost", "left_over"), [(1, ()), (2, ("receiver",))])
def test_whether_it_transmits_is_asked_once_more_before_it_is_restored(
    lost: int, left_over: tuple[str, ...]
) -> None:
    dial = Flaky()
    dial.lost = lost
    assert measured(dial, Board(), Kept()).left_over == left_over


def test_stale_stands_beside_the_flag_that_a_reading_has() -> None:
    class Dead(Dial):
        def read_power(self) -> float:
            super().read_power()
            return -70.0

    kept = Kept()
    measured(Dead(), Board(), kept)
    assert {reading.flags for reading in kept.records[0][1]} == {"stale"}


@pytest.mark.parametrize(
    ("one", "other", "same"), [(100, 100, True), (100, 109, True), (100, 110, False), (110, 99, False)]
)
def test_a_dial_less_than_ten_hertz_away_is_the_same(one: int, other: int, same: bool) -> None:
    assert same_dial(one, other) == same_dial(other, one) == same


def test_without_the_dial_mode_and_pass_band_are_given_back_only_where_they_are_the_programs() -> None:
    saved = {"tuning": {"hz": 1, "mode": "USB", "bandwidth_hz": 2}, "agc": "slow"}
    assert without_dial(saved, True) == {"tuning": {"mode": "USB", "bandwidth_hz": 2}, "agc": "slow"}
    assert without_dial(saved, False) == {"agc": "slow"}
    assert without_dial({"agc": "slow"}, True) == {"agc": "slow"}
    assert without_dial({"tuning": None, "agc": "slow"}, True) == {"agc": "slow"}
