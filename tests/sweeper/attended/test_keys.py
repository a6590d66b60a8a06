"""Keys come with their instant, from a terminal or a pipe, and the terminal is as it was afterwards."""

import os
import pty
import termios
import threading
import time
from pathlib import Path
from queue import SimpleQueue
from typing import Any

import pytest

from sweeper.attended.keys import can_press, keys
from sweeper.attended.listening import Pressed
from sweeper.clock import JumpingClock
from tests.sweeper.attended.on_air_now import START

DEADLINE_S = 60


def taken(pressed: Pressed, count: int) -> list[str]:
    end, found = time.monotonic() + DEADLINE_S, list[str]()
    while len(found) < count:
        assert time.monotonic() < end
        if not pressed.empty():
            found.append(pressed.get()[0])
        time.sleep(0.01)
    return found


def test_a_terminal_gives_keys_at_once_and_is_put_back() -> None:
    ours, theirs = pty.openpty()
    pressed: Pressed = SimpleQueue()
    with os.fdopen(theirs, "r") as terminal:
        before = termios.tcgetattr(terminal)
        with keys(pressed, JumpingClock(START), terminal) as there:
            assert there
            os.write(ours, b" xLq")
            assert taken(pressed, 3) == ["switched", "load", "stop"]
        assert termios.tcgetattr(terminal) == before
    os.close(ours)


def test_a_pipe_will_do_and_its_end_is_no_key() -> None:
    reading, writing = os.pipe()
    pressed: Pressed = SimpleQueue()
    with os.fdopen(reading, "r") as pipe, keys(pressed, JumpingClock(START), pipe) as there:
        os.write(writing, b" ")
        os.close(writing)
        assert there and taken(pressed, 1) == ["switched"]
        assert pressed.empty()


def test_where_nothing_else_is_said_keys_come_from_the_standard_input(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    reading, writing = os.pipe()
    pressed: Pressed = SimpleQueue()
    with os.fdopen(reading, "r") as pipe:
        monkeypatch.setattr("sys.stdin", pipe)
        with keys(pressed, JumpingClock(START)) as there:
            os.write(writing, b"l")
            assert there and taken(pressed, 1) == ["load"]
    os.close(writing)
    monkeypatch.setattr("sys.stdin", None)  # a service has none
    with keys(pressed, JumpingClock(START)) as there:
        assert not there


def test_every_key_in_both_cases_and_no_other_letter() -> None:
    reading, writing = os.pipe()
    pressed, clock = Pressed(), JumpingClock(START)
    with os.fdopen(reading, "r") as pipe, keys(pressed, clock, pipe):
        os.write(writing, b" lLqQ\nsx\xff ")
        assert taken(pressed, 6) == ["switched", "load", "load", "stop", "stop", "switched"]
    os.close(writing)


def test_nobody_reads_a_key_any_more_once_it_is_over() -> None:
    reading, writing = os.pipe()
    with os.fdopen(reading, "r") as pipe:
        with keys(Pressed(), JumpingClock(START), pipe):
            assert "keys" in {thread.name for thread in threading.enumerate()}
        os.write(writing, b"q")
        assert os.read(reading, 9) == b"q"
    os.close(writing)


def test_nobody_can_press_where_there_is_nothing() -> None:
    nothing: Any = None
    assert not can_press(nothing)
    with Path(os.devnull).open() as null:
        assert not can_press(null)
    assert not can_press(null)  # it is closed now


def test_the_end_of_a_pipe_ends_the_reading() -> None:
    reading, writing = os.pipe()
    with os.fdopen(reading, "r") as pipe, keys(Pressed(), JumpingClock(START), pipe):
        (reads,) = (thread for thread in threading.enumerate() if thread.name == "keys")
        os.close(writing)
        reads.join(DEADLINE_S)
        assert not reads.is_alive()
