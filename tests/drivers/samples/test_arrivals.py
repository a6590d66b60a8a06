"""A stream's last bytes and when they came: on a pair of sockets, by a clock of the test's own."""

import contextlib
import socket
import time
from collections.abc import Iterator

import numpy as np
import pytest

from drivers.samples.arrivals import Arrivals
from drivers.waiting import bounded

RING = 1 << 16
"""Bytes that are kept at the least."""


class Told:
    """A clock that shows what it is told."""

    def __init__(self) -> None:
        self.now_s = 100.0

    def monotonic(self) -> float:
        return self.now_s

    def sleep(self, seconds: float) -> None:
        raise AssertionError("nothing here sleeps by this clock")


class Stream:
    def __init__(self, kept_s: float = 1.0) -> None:
        self.clock = Told()
        self.far, near = socket.socketpair()
        near.setblocking(False)
        with bounded(clock=self.clock):
            self.arrivals = Arrivals(near, 1000.0, kept_s)
        self.sent = 0

    def send(self, count: int) -> None:
        """So many bytes that count up, and wait until they have been taken."""
        numbers = ((self.sent + np.arange(count)) % 251).astype(np.uint8)
        self.far.sendall(numbers.tobytes())
        self.sent += count
        end = time.monotonic() + 60.0
        while self.arrivals.total < self.sent:
            assert time.monotonic() < end, self.arrivals.over
            time.sleep(0.001)

    def between(self, begin: int, end: int) -> list[int] | None:
        found = self.arrivals.bytes_between(begin, end)
        return None if found is None else found.tolist()


def numbers(begin: int, end: int) -> list[int]:
    return (np.arange(begin, end) % 251).tolist()


@pytest.fixture
def stream() -> Iterator[Stream]:
    made = Stream()
    yield made
    made.far.close()
    made.arrivals.close()


def test_bytes_are_had_from_the_first_to_the_last_and_no_others(stream: Stream) -> None:
    assert stream.between(0, 0) == []
    stream.send(1000)
    assert stream.between(0, 1000) == numbers(0, 1000)
    assert stream.between(0, 1) == [0] and stream.between(999, 1000) == numbers(999, 1000)
    assert stream.between(0, 1001) is None and stream.between(-1, 10) is None


def test_what_is_overwritten_is_gone_and_what_goes_over_the_rings_end_is_whole(stream: Stream) -> None:
    for _ in range(5):
        stream.send(20_000)
    oldest = 100_000 - RING
    assert stream.between(oldest, 100_000) == numbers(oldest, 100_000)
    assert stream.between(oldest - 1, 100_000) is None and stream.between(oldest - 1, oldest) is None
    for begin, end in ((RING - 10, RING + 10), (RING - 10, RING), (RING, RING + 10), (RING - 1, RING + 1)):
        assert stream.between(begin, end) == numbers(begin, end)


def test_more_may_be_kept_from_some_time_on(stream: Stream) -> None:
    stream.send(5000)
    stream.arrivals.keep(60.0)  # less than is kept already
    assert stream.between(0, 5000) == numbers(0, 5000)
    stream.arrivals.keep(100.0)
    assert stream.between(4000, 5000) is None and stream.arrivals.pieces() == []
    for _ in range(4):
        stream.send(20_000)
    assert stream.between(5000, 85_000) == numbers(5000, 85_000)
    assert stream.between(4999, 85_000) is None


def test_a_piece_is_what_came_within_ten_milliseconds(stream: Stream) -> None:
    for at_s, count in ((100.0, 10), (100.00995, 10), (100.0111, 10), (105.0, 10)):
        stream.clock.now_s = at_s
        stream.send(count)
    assert [(piece.end, piece.at_s) for piece in stream.arrivals.pieces()] == [
        (20, 100.00995), (30, 100.0111), (40, 105.0)
    ]  # fmt: skip
    stream.clock.now_s = 104.0  # a clock that was set back
    stream.send(10)
    assert [piece.end for piece in stream.arrivals.pieces()] == [20, 30, 40, 50]
    stream.arrivals.forget()
    assert stream.arrivals.pieces() == []
    assert stream.between(0, 50) == numbers(0, 50)


def test_of_each_second_that_is_kept_four_hundred_pieces_are_told_and_the_oldest_go_first() -> None:
    made = Stream(kept_s=0.05)
    for nth in range(23):
        made.clock.now_s = 100.0 + nth
        made.send(10)
    assert [piece.end for piece in made.arrivals.pieces()] == [10 * nth for nth in range(4, 24)]
    made.far.close()
    made.arrivals.close()


def test_arrivals_by_another_clock_are_told_anew(stream: Stream) -> None:
    stream.send(10)
    stream.arrivals.by(stream.clock)
    assert len(stream.arrivals.pieces()) == 1
    other = Told()
    other.now_s = 7.0
    stream.arrivals.by(other)
    assert stream.arrivals.pieces() == []
    stream.send(10)
    assert [(piece.end, piece.at_s) for piece in stream.arrivals.pieces()] == [(20, 7.0)]


def test_a_stream_that_ends_says_so_and_keeps_what_came() -> None:
    stream = Stream()
    stream.send(10)
    assert stream.arrivals.over == ""
    stream.far.close()
    end = time.monotonic() + 60.0
    while not stream.arrivals.over:
        assert time.monotonic() < end
        time.sleep(0.001)
    assert stream.arrivals.over == "the other end hung up"
    assert stream.arrivals.caught_up(10.0) and stream.between(0, 10) == numbers(0, 10)
    stream.arrivals.close()


def test_closing_ends_the_thread_and_the_connection() -> None:
    stream = Stream()
    stream.send(10)
    stream.arrivals.close()
    assert stream.arrivals.over
    with contextlib.suppress(ConnectionError):
        assert stream.far.recv(1) == b""
    stream.arrivals.close()
    stream.far.close()
