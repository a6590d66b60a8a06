"""Bytes of a stream as they arrive on a socket: the last few seconds of them, and when each piece came.

A thread of its own takes them off the socket all the time, so that a server never has to throw any away because
somebody here was busy. What nobody asks for is overwritten.
"""

import math
import socket
import threading
from collections import deque
from contextlib import suppress
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from drivers.links.sockets import has_come
from drivers.waiting import Clock, Deadline, clock, ready

if TYPE_CHECKING:
    from numpy.typing import NDArray

PART = "receiver"
PIECES_A_SECOND = 100
"""A piece is what came within 10 ms; the thread wakes no oftener while bytes come at their pace."""
LOOK_S = 1.0


class Piece(NamedTuple):
    """Bytes up to `end`, counted from the stream's beginning, had arrived at `at_s`."""

    end: int
    at_s: float


class Arrivals:
    """What arrives on `connection`, of which `bytes_a_second` are expected; `kept_s` of it can be had."""

    def __init__(self, connection: socket.socket, bytes_a_second: float, kept_s: float) -> None:
        self._connection = connection
        self._clock: Clock = clock()
        self._bytes_a_second = bytes_a_second
        self._lock = threading.Lock()
        self._more = threading.Condition(self._lock)
        self._total = self._begun = 0
        self._over = ""
        self._ring = np.empty(0, np.uint8)
        self.keep(kept_s)
        piece = int(bytes_a_second / PIECES_A_SECOND)
        with suppress(OSError):  # wake for a piece, not for each packet
            connection.setsockopt(socket.SOL_SOCKET, socket.SO_RCVLOWAT, max(min(piece, 1 << 16), 1))
        self._thread = threading.Thread(target=self._drain, name="samples", daemon=True)
        self._thread.start()

    def keep(self, seconds: float) -> None:
        """Keep so much from now on, unless it is kept already; what came before is forgotten then."""
        size = max(int(self._bytes_a_second * seconds), 1 << 16)
        with self._lock:
            if size > len(self._ring):
                self._ring = np.empty(size, np.uint8)
                self._view = memoryview(self._ring.data)
                self._pieces: deque[Piece] = deque(maxlen=int(4 * PIECES_A_SECOND * seconds))
                self._piece_began_s, self._begun = -math.inf, self._total

    @property
    def total(self) -> int:
        """Bytes that have arrived."""
        return self._total

    @property
    def over(self) -> str:
        """Why nothing comes any more, in a clause; empty while the stream runs."""
        return self._over

    def by(self, told: Clock) -> None:
        """From now on arrivals are told by this clock; what came by another is forgotten."""
        with self._lock:
            if told is not self._clock:
                self._clock = told
                self._pieces.clear()

    def forget(self) -> None:
        """Tell arrivals anew: what was lost on the way is no measure of what comes."""
        with self._lock:
            self._pieces.clear()

    def pieces(self) -> list[Piece]:
        """When what is still there arrived, oldest first."""
        with self._lock:
            return list(self._pieces)

    def bytes_between(self, begin: int, end: int) -> "NDArray[np.uint8] | None":
        """A copy of so many bytes of the stream; None where they are not there, or overwritten."""
        with self._lock:
            size = len(self._ring)
            if begin < max(self._total - size, self._begun) or end > self._total:
                return None
            first, count = begin % size, end - begin
            if first + count <= size:
                return self._ring[first : first + count].copy()
            return np.concatenate([self._ring[first:], self._ring[: count - (size - first)]])

    def caught_up(self, wait_s: float) -> bool:
        """Whether nothing lies on the socket that has not been taken; waits so long, of real time, for that."""
        with self._more:
            if self._over or not has_come(self._connection):
                return True
            self._more.wait(wait_s)
            return False

    def close(self) -> None:
        """Hang up, and wait for the thread."""
        with suppress(OSError):
            self._connection.shutdown(socket.SHUT_RDWR)
        self._thread.join(5.0)
        self._connection.close()

    def _drain(self) -> None:
        why = "the other end hung up"
        try:
            while not self._over:
                ready(self._connection, Deadline(LOOK_S, PART))
                if self._take() == 0:
                    break
        except OSError as fault:
            why = fault.strerror or str(fault)
        finally:
            with self._more:
                self._over = why
                self._more.notify_all()

    def _take(self) -> int:
        """Bytes taken off the socket; 0 at the end of the stream, -1 where none were there."""
        size = len(self._ring)
        with self._more:
            first = self._total % size
            try:
                count = self._connection.recv_into(self._view[first : min(first + (1 << 18), size)])
            except BlockingIOError:
                return -1
            if count:
                self._total += count
                self._note(self._clock.monotonic())
                self._more.notify_all()
            return count

    def _note(self, now_s: float) -> None:
        if self._pieces and 0.0 <= now_s - self._piece_began_s < 1.0 / PIECES_A_SECOND:
            self._pieces[-1] = Piece(self._total, now_s)
        else:
            self._pieces.append(Piece(self._total, now_s))
            self._piece_began_s = now_s
