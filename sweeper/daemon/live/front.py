"""The door before a ZeroMQ socket: counts what comes in, so that nobody fills the daemon's memory.

ZeroMQ bounds each part of a message, not their sum, and keeps a message until its last part is there. So whoever
connects reaches a relay between two sockets first, which reads the headers of ZMTP 3 frames (ZeroMQ RFC 23) and hangs
up on a message that is too long, on a peer that says more in all than it has reason to, and on the oldest of too many.
Where frames are encrypted (CURVE, ZeroMQ RFC 26) nobody can see which of them are parts of one message; but half a
message gets no answer, so there a peer is hung up on that says too much without being answered.
It understands nothing else: what passes is ZeroMQ's to judge.
"""

import contextlib
import math
import os
import selectors
import socket
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import zmq

CONNECTIONS = 32
"""At one door; each takes two descriptors here and one in ZeroMQ. One more, and the oldest goes."""
PIECE = 16 * 1024
LAST_WORDS_S = 0.5
NO_ROOM_S = 0.05
"""A wait where nobody can be let in, so that asking again does not take the processor."""
GREETING = 64
"""Bytes before the first frame, of which the tenth (from 0) is the version."""
PARTS = 8
MORE, LONG, COMMAND = 1, 2, 4
ENCRYPTED = 64
"""Bytes that CURVE may put around a frame; it takes 33."""
LEAST_ANSWER = 128
"""Bytes of a frame that is an answer: what ZeroMQ itself says between them takes half as many."""


class TooMuch(Exception):
    """What a peer sent is more than this door lets through, or is no ZMTP 3."""


class _Frames:
    """Reads frame headers off a stream of ZMTP 3, however its bytes arrive."""

    def __init__(self) -> None:
        self._header = b""
        self._skip = GREETING
        self._greeting = b""

    def headers(self, piece: bytes) -> Iterator[tuple[int, int]]:
        """Flags and size of each frame that begins in `piece`. TooMuch where it is no ZMTP 3."""
        if len(self._greeting) < GREETING:
            self._greeting += piece[: GREETING - len(self._greeting)]
            if len(self._greeting) > 10 and (self._greeting[0] != 0xFF or self._greeting[10] < 3):
                raise TooMuch
        at = 0
        while at < len(piece):
            if self._skip:
                step = min(self._skip, len(piece) - at)
                self._skip -= step
                at += step
                continue
            self._header += piece[at : at + 1]
            at += 1
            if len(self._header) == (9 if self._header[0] & LONG else 2):
                flags, self._skip = self._header[0], int.from_bytes(self._header[1:], "big")
                self._header = b""
                yield flags, self._skip


class Count:
    """Counts what a peer sends: `most` bytes of a message, `in_all` (None: any number of) bytes of all that it says.

    With `until_answered` they are counted anew whenever an answer has gone out.
    """

    def __init__(self, most: int, in_all: int | None, until_answered: bool = False) -> None:
        self._most, self._in_all, self._until_answered = most, in_all, until_answered
        self._total = self._message = self._parts = 0
        self._coming, self._going = _Frames(), _Frames()

    def feed(self, piece: bytes) -> None:
        """Count the next bytes; TooMuch when they are."""
        self._total += len(piece)
        if self._in_all is not None and self._total > self._in_all:
            raise TooMuch
        for flags, size in self._coming.headers(piece):
            self._begin(flags, size)

    def answered(self, piece: bytes) -> None:
        """Look at the next bytes that go out to the peer."""
        if self._until_answered:
            for flags, size in self._going.headers(piece):
                if size >= LEAST_ANSWER and not flags & COMMAND:
                    self._total = 0

    def _begin(self, flags: int, size: int) -> None:
        if flags & COMMAND:
            if size > self._most:
                raise TooMuch
            return
        self._message += size
        self._parts += 1
        if self._message > self._most or self._parts > PARTS:
            raise TooMuch
        if not flags & MORE:
            self._message = self._parts = 0


class _Side:
    """One socket of a connection, and what waits to be written to it."""

    def __init__(self, own: socket.socket, count: Count | None) -> None:
        self.own, self.count, self.waiting = own, count, b""
        self.other: _Side


class Front:
    """Listens for a ZeroMQ socket; whom the permissions of a local socket, or the keys behind, let in gets through.

    Its seconds are real ones, no Clock's: it waits for peers and for the system alone.
    """

    def __init__(
        self, behind: "zmq.Socket[bytes]", listening: socket.socket, count: Callable[[], Count]
    ) -> None:
        self._listening, self._count = listening, count
        self._inner = _bound_out_of_sight(behind)
        self._sides: dict[_Side, None] = {}
        self._selector = selectors.DefaultSelector()
        self._bell = os.eventfd(0, os.EFD_NONBLOCK | os.EFD_CLOEXEC)
        self._selector.register(self._bell, selectors.EVENT_READ)
        self._selector.register(listening, selectors.EVENT_READ)
        self._thread = threading.Thread(target=self._serve, name="front", daemon=True)
        self._thread.start()

    def close(self) -> None:
        """Let out what the socket behind, closed by now, still had to say, and hang up on everybody."""
        os.eventfd_write(self._bell, 1)
        self._thread.join(timeout=5)
        for handle in (self._inner, self._bell):
            os.close(handle)

    def _serve(self) -> None:
        with self._selector, self._listening:
            closes_at = math.inf
            while closes_at == math.inf or (self._sides and time.monotonic() < closes_at):
                for key, events in self._selector.select(None if closes_at == math.inf else LAST_WORDS_S):
                    if key.fileobj == self._bell:
                        closes_at = time.monotonic() + LAST_WORDS_S
                        for each in (self._bell, self._listening):
                            self._selector.unregister(each)
                    elif key.fileobj is self._listening:
                        self._accept()
                    elif key.data in self._sides:
                        self._move(key.data, events)
            for side in tuple(self._sides):
                self._hang_up(side)

    def _accept(self) -> None:
        with contextlib.ExitStack() as opened:
            try:
                outer = opened.enter_context(self._listening.accept()[0])
                inner = opened.enter_context(socket.socket(socket.AF_UNIX))
                for each in (outer, inner):
                    each.setblocking(False)
                if outer.family != socket.AF_UNIX:
                    outer.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
                inner.connect(f"/proc/self/fd/{self._inner}")
            except OSError:  # no descriptor is left, or whoever came is gone
                if self._sides:
                    self._hang_up(next(iter(self._sides)))
                time.sleep(NO_ROOM_S)
                return
            opened.pop_all()
        asking, answering = _Side(outer, self._count()), _Side(inner, None)
        asking.other, answering.other = answering, asking
        for side in (asking, answering):
            self._sides[side] = None
            self._listen(side, selectors.EVENT_READ)
        if len(self._sides) > 2 * CONNECTIONS:
            self._hang_up(next(iter(self._sides)))

    def _move(self, side: _Side, events: int) -> None:
        """Read into the other side's buffer while that is empty; write what waits."""
        try:
            if events & selectors.EVENT_WRITE:
                side.waiting = side.waiting[side.own.send(side.waiting) :]
            if events & selectors.EVENT_READ and not side.other.waiting:
                piece = side.own.recv(PIECE)
                if not piece:
                    raise TooMuch
                if side.count is not None:
                    side.count.feed(piece)
                elif side.other.count is not None:
                    side.other.count.answered(piece)
                side.other.waiting = piece
        except BlockingIOError:
            pass
        except (OSError, TooMuch):
            self._hang_up(side)
            return
        for each in (side, side.other):
            wanted = selectors.EVENT_WRITE if each.waiting else 0
            wanted |= 0 if each.other.waiting else selectors.EVENT_READ
            self._listen(each, wanted)

    def _listen(self, side: _Side, wanted: int) -> None:
        known = side.own in self._selector.get_map()
        if wanted and known:
            self._selector.modify(side.own, wanted, side)
        elif wanted:
            self._selector.register(side.own, wanted, side)
        elif known:
            self._selector.unregister(side.own)

    def _hang_up(self, side: _Side) -> None:
        for each in (side, side.other):
            self._listen(each, 0)
            self._sides.pop(each, None)
            each.own.close()


def _bound_out_of_sight(behind: "zmq.Socket[bytes]") -> int:
    """Bind to a socket whose name is gone at once; the handle by which this process alone can connect to it."""
    with tempfile.TemporaryDirectory(prefix="sweeper-") as folder:
        name = Path(folder) / "behind"
        behind.bind(f"ipc://{name}")
        return os.open(name, os.O_PATH | os.O_CLOEXEC)
