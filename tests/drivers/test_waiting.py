"""Deadlines, stop orders and bounds, on a clock of the test's own."""

import threading
import time

import pytest

from drivers.errors import CalledOff
from drivers.waiting import LOOK_S, Deadline, StopOrder, aside, bounded, monotonic, pause, ready


class Clock:
    """Time that passes only while somebody sleeps."""

    def __init__(self) -> None:
        self.now_s = 1000.0
        self.slept: list[float] = []

    def monotonic(self) -> float:
        return self.now_s

    def sleep(self, seconds: float) -> None:
        self.now_s += seconds
        self.slept.append(seconds)


def test_what_is_left_shrinks_and_never_grows() -> None:
    clock = Clock()
    with bounded(clock=clock):
        deadline = Deadline(2.0, "box")
        assert deadline.remaining() == 2.0
        clock.sleep(1.5)
        assert deadline.remaining() == pytest.approx(0.5)
        assert deadline.look_s() == LOOK_S
        assert deadline.sooner(9.0).remaining() == pytest.approx(0.5)
        clock.sleep(5.0)
        assert deadline.remaining() == 0.0


def test_nothing_inside_lasts_longer_than_outside() -> None:
    clock = Clock()
    with bounded(1.0, clock=clock), bounded(60.0):
        assert Deadline(10.0, "box").remaining() == pytest.approx(1.0)
        pause(5.0, "box")
        assert clock.now_s == pytest.approx(1001.0)
    assert abs(monotonic() - time.monotonic()) < 60.0  # this computer's clock again


def test_another_clock_takes_over_what_is_left_and_not_the_moment() -> None:
    """A simulated night may be longer than the computer has been on, or shorter."""
    outer, inner = Clock(), Clock()
    inner.now_s = 900_000.0
    for first, second in ((outer, inner), (inner, outer)):
        with bounded(5.0, clock=first), bounded(clock=second):
            assert Deadline(60.0, "box").remaining() == pytest.approx(5.0)
            second.sleep(2.0)
            assert Deadline(60.0, "box").remaining() == pytest.approx(3.0)


def test_a_stop_order_ends_every_wait() -> None:
    clock, stop = Clock(), threading.Event()
    with bounded(stop=stop, clock=clock):
        deadline = Deadline(60.0, "box")
        deadline.remaining()
        stop.set()
        with pytest.raises(CalledOff, match="box: asked to stop"):
            deadline.remaining()
        with pytest.raises(CalledOff):
            pause(60.0, "box")
        with pytest.raises(CalledOff):
            ready(0, deadline)
    assert clock.slept == []


def test_a_pause_is_slept_in_short_looks() -> None:
    clock = Clock()
    with bounded(clock=clock):
        pause(1.0, "box")
    assert sum(clock.slept) == pytest.approx(1.0)
    assert max(clock.slept) <= LOOK_S


def test_what_must_still_be_done_after_a_stop_order_has_its_grace_and_no_more() -> None:
    clock, stop = Clock(), threading.Event()
    stop.set()
    with bounded(stop=stop, clock=clock), bounded(30.0, grace_s=4.0):
        assert Deadline(60.0, "box").remaining() == pytest.approx(4.0)
        clock.sleep(3.0)
        with bounded(20.0):  # a greeting in between, say
            assert Deadline(60.0, "box").remaining() == pytest.approx(1.0)
    with bounded(stop=stop, clock=clock), pytest.raises(CalledOff):
        Deadline(60.0, "box").remaining()


def test_grace_begins_with_the_order() -> None:
    clock, stop = Clock(), threading.Event()
    with bounded(30.0, stop, 4.0, clock):
        deadline = Deadline(60.0, "box")
        clock.sleep(10.0)
        assert deadline.remaining() == pytest.approx(20.0)
        stop.set()
        assert deadline.remaining() == pytest.approx(4.0)
        clock.sleep(3.0)
        assert deadline.remaining() == pytest.approx(1.0)


def test_whatever_is_done_after_a_stop_order_shares_the_grace_counted_from_it() -> None:
    clock = Clock()
    stop = StopOrder(clock)
    with bounded(stop=stop, clock=clock):
        stop.set()
        for left_s in (10.0, 4.0, 0.0):
            with bounded(30.0, grace_s=10.0):
                assert Deadline(60.0, "box").remaining() == pytest.approx(left_s)
            clock.sleep(6.0)


def test_bounds_are_those_of_one_thread() -> None:
    left: list[float] = []
    with bounded(0.0):
        thread = threading.Thread(target=lambda: left.append(Deadline(50.0, "box").remaining()))
        thread.start()
        thread.join()
    assert left[0] > 40.0


def test_what_is_asked_aside_comes_back_or_is_discarded_when_it_comes_late() -> None:
    assert aside(lambda: 7, Deadline(60.0, "box"), lambda late: None) == 7
    with pytest.raises(ValueError, match="no"):
        aside(lambda: int("no"), Deadline(60.0, "box"), lambda late: None)
    go, thrown_away = threading.Event(), threading.Event()

    def slow() -> str:
        go.wait(60.0)
        return "late"

    with pytest.raises(TimeoutError):
        aside(slow, Deadline(0.0, "box"), lambda late: thrown_away.set())
    go.set()
    assert thrown_away.wait(60.0)
