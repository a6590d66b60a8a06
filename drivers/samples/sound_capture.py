"""A capture program as a child: its samples drained by a thread into a bounded buffer, each with its moment.

The child is `parec` (a sound server's client) or `arecord` (ALSA), writing bare samples into a pipe: what hangs or
breaks there is ended by a signal, and no sound library is in this program. When a sample was captured is known from
the arrivals: sample n of a steady stream was captured at T0 + n/rate, and no piece arrives before it was captured, so
that the earliest arrival (less n/rate) bounds T0 from above. Lost samples make all that follows arrive later, for good.
"""

import os
import re
import sys
import threading
from collections import deque
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import IO, TYPE_CHECKING, Any

import numpy as np

from drivers.samples.sound_programs import captured, end, plain, wait
from drivers.waiting import monotonic

if TYPE_CHECKING:
    from numpy.typing import NDArray

Decode = Callable[[bytes], "NDArray[Any]"]

SEEN_S = 10.0
"""Arrivals that the moment of capture is taken from."""
DRIFT_S = 0.002 * SEEN_S
"""How far a card's clock runs away meanwhile at the most: cards are off by 0.02 %, some by 0.2 %."""
LATER_S = 0.03
"""Arriving later by this than before, for good, samples have gone missing."""
JUDGED_S = 1.0
"""How long late arrivals are watched before samples are called lost rather than late."""
BUCKET_S = 0.05
"""Of the arrivals within so long the earliest is kept."""
WORDS_S = 0.5
PIPE_BYTES = 65_536
LONGEST_LINE = 4096
TOO_FAST, AHEAD_S = 1.05, 1.0
"""No card is so far ahead of its rate: what comes faster is not captured now, or not at the rate that was told."""


@dataclass(frozen=True, slots=True)
class _Piece:
    first: int
    frames: "NDArray[Any]"


class Capture:
    """One run of a capture program. Samples are counted from 0 as they come."""

    def __init__(
        self,
        program: str,
        arguments: Sequence[str],
        rate_hz: int,
        frame_bytes: int,
        decode: Decode,
        ends: re.Pattern[str],
        kept_s: float,
    ) -> None:
        """`ends`: words of the program on its standard error after which nothing it gives is to be trusted.

        `kept_s`: samples older than this are let go.
        """
        self._rate_hz = rate_hz
        self._frame_bytes = frame_bytes
        self._decode = decode
        self._ends = ends
        self._kept = round(kept_s * rate_hz)
        self._lock = threading.Lock()
        self._pieces: deque[_Piece] = deque()
        self._arrivals: deque[tuple[float, float]] = deque()  # (arrival, earliest arrival less n/rate)
        self._lost: list[tuple[int, int]] = []
        self._aligned = 0
        self.held_from = sys.maxsize
        """Nothing from this sample on is let go, however long it takes: somebody waits for the rest of it."""
        self._started_s = monotonic()
        self.total = 0
        self.last_arrival_s = self._started_s
        self.latency_s = 0.0
        self.said: deque[str] = deque(maxlen=20)
        self._over = False
        self._child = captured(program, arguments)
        self._threads = [
            threading.Thread(target=target, args=(pipe,), name="sound", daemon=True)
            for target, pipe in ((self._drain, self._child.stdout), (self._listen, self._child.stderr))
        ]
        for thread in self._threads:
            thread.start()

    @property
    def over(self) -> bool:
        """Whether no more will come."""
        return self._over

    def close(self) -> None:
        """End the child; never raises."""
        self._over = True
        end(self._child)
        for thread, pipe in zip(self._threads, (self._child.stdout, self._child.stderr), strict=True):
            thread.join(WORDS_S)
            if pipe is not None and not thread.is_alive():  # or the thread would read whatever opens next
                pipe.close()

    def last_words(self) -> tuple[str, ...]:
        """What the program said, once it is over: its words may come after its last sample."""
        wait(self._child, WORDS_S)
        self._threads[1].join(WORDS_S)
        return tuple(self.said)

    def began_s(self) -> float:
        """The latest moment, on the clock, at which sample 0 can have been captured, by the recent arrivals."""
        with self._lock:
            return min((began for _, began in self._arrivals), default=self._started_s)

    def settled(self) -> bool:
        """Whether the latest samples come on time, so that none is about to be called lost."""
        with self._lock:
            if not self._arrivals:
                return False
            earliest = min(began for _, began in self._arrivals)
            since = self._arrivals[-1][0] - 0.25
            return min(began for at, began in self._arrivals if at >= since) <= earliest + LATER_S

    def oldest(self) -> int:
        """Index of the first sample that is still kept."""
        with self._lock:
            return self._pieces[0].first if self._pieces else self.total

    def kept(self, first: int, end: int) -> tuple[int, "NDArray[Any]"]:
        """(index of the first, frames of shape (n, channels)) as far as they are kept; forgets all before `first`."""
        with self._lock:
            while self._pieces and self._pieces[0].first + len(self._pieces[0].frames) <= first:
                self._pieces.popleft()
            pieces = [piece for piece in self._pieces if piece.first < end]
        if not pieces:
            return first, self._decode(b"")
        begin = max(pieces[0].first, first)
        frames = np.concatenate([piece.frames for piece in pieces])
        return begin, frames[begin - pieces[0].first : end - pieces[0].first]

    def lost_within(self, first: int, end: int) -> bool:
        """Whether samples went missing somewhere among these."""
        with self._lock:
            return any(begin < end and stop > first for begin, stop in self._lost)

    def _drain(self, pipe: IO[bytes]) -> None:
        rest = b""
        while True:
            data = os.read(pipe.fileno(), PIPE_BYTES)
            at_s = monotonic()
            if not data:
                self._over = True
                return
            if self.total > TOO_FAST * (at_s - self._started_s) * self._rate_hz + AHEAD_S * self._rate_hz:
                self._give_up(f"it gives more than {self._rate_hz} samples a second")
                return
            data = rest + data
            whole = len(data) // self._frame_bytes * self._frame_bytes
            rest = data[whole:]
            if whole:
                self._add(self._decode(data[:whole]), at_s)

    def _add(self, frames: "NDArray[Any]", at_s: float) -> None:
        with self._lock:
            self._pieces.append(_Piece(self.total, frames))
            self.total += len(frames)
            self.last_arrival_s = at_s
            oldest = min(self.total - self._kept, self.held_from)
            while self._pieces[0].first + len(self._pieces[0].frames) <= oldest:
                self._pieces.popleft()
            began_s = at_s - self.total / self._rate_hz
            if self._arrivals and at_s < self._arrivals[-1][0] + BUCKET_S:
                since_s, earliest_s = self._arrivals[-1]
                self._arrivals[-1] = (since_s, min(earliest_s, began_s))
                return
            self._judge(at_s)
            self._arrivals.append((at_s, began_s))
            while self._arrivals[0][0] < at_s - SEEN_S:
                self._arrivals.popleft()

    def _judge(self, at_s: float) -> None:
        """Whether all that came within the last second came late: then samples are missing before it."""
        if not self._arrivals:
            return
        earliest = min(began for _, began in self._arrivals)
        if self._arrivals[-1][1] <= earliest + LATER_S:
            self._aligned = self.total
            return
        recent = [each for each in self._arrivals if each[0] >= at_s - JUDGED_S]
        if len(recent) < 5 or at_s - recent[0][0] < JUDGED_S / 2:
            return
        if min(began for _, began in recent) > earliest + LATER_S:
            self._lost = [*self._lost[-50:], (self._aligned, self.total)]
            self._aligned = self.total
            self._arrivals = deque(recent)

    def mark_lost(self) -> None:
        """Samples are missing somewhere about here, as the program says itself."""
        with self._lock:
            second = self._rate_hz
            self._lost = [*self._lost[-50:], (self.total - second, self.total + second)]
            self._arrivals.clear()

    def _listen(self, pipe: IO[bytes]) -> None:
        """The program's own words: its latency, samples it lost, and why it ends."""
        rest = ""
        while data := os.read(pipe.fileno(), 4096):
            *lines, rest = re.split(r"[\r\n]+", rest + data.decode("utf-8", "replace"))
            rest = rest[-LONGEST_LINE:]
            for line in lines:
                self._heed(plain(line.replace("\x1b[K", "")))
        self._heed(plain(rest))

    def _heed(self, line: str) -> None:
        if told := re.search(r"Latency: (-?[0-9]{1,9}) usec", line):
            # of the last few seconds the greatest: it falls slowly, and a moment's jitter is in the arrivals too
            self.latency_s = max(int(told[1]) * 1e-6, 0.98 * self.latency_s)
            return
        if not line:
            return
        self.said.append(line)
        if re.search(r"over(run|flow)", line, re.IGNORECASE):
            self.mark_lost()
        if self._ends.search(line):
            self._give_up("")

    def _give_up(self, why: str) -> None:
        if why:
            self.said.append(why)
        self._over = True
        self._child.kill()
