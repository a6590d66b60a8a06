"""Samples of a band from a server that sends 8-bit pairs over TCP, as rtl_tcp does.

Samples over TCP carry no time, and nothing told to the server is ever answered. So a sample counts as captured up to
`latency_s` before it arrived; the rate is measured; and samples that the server threw away show as time that passes
without them: from then on all of them come late by as much.
"""

from typing import Annotated

import numpy as np
from pydantic import BaseModel, ConfigDict, Field

from drivers.contracts import Block, Gate
from drivers.errors import BadReply, LinkLost, LinkTimeout, Refused
from drivers.links.sockets import connect, receive, send
from drivers.protocols import samples_over_tcp as wire
from drivers.samples.arrivals import Arrivals, Piece
from drivers.waiting import Deadline, clock, monotonic, pause

PART = wire.PART
KEPT_S = 3.0
"""Beyond what is taken at once."""
MOST_SAMPLES = 20_000_000
"""In one block; eight times as many bytes are worked on at a time."""
BUFFER_BYTES = 262_144
"""A server hands on what its receiver fills, and throws away, in buffers of this size (rtl_tcp's own)."""
MARGIN_S = 0.05
"""For the network and for this computer, on top of two of those buffers."""
CATCHES_UP_S = 1.0
"""How long late samples may take to come all the same: a busy computer is no loss."""
LOOK_S = 0.01
RATE_OFF = 0.15
"""By which share the rate may differ from the one told. Measured over `RATE_SEEN_S`, in which nobody is away so long
that the earliest arrivals of a whole third of it come late by more."""
RATE_SEEN_S = 2.0


class StreamOptions(BaseModel):
    """How to reach a server, and what is asked of it. `latency_s`: of samples, None for two of a server's buffers."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    host: str
    port: Annotated[int, Field(ge=1, le=65_535)]
    rate_hz: Annotated[int, Field(ge=8_000, le=20_000_000)]
    latency_s: Annotated[float, Field(ge=0, le=10, allow_inf_nan=False)] | None = None
    timeout_s: Annotated[float, Field(gt=0, le=60, allow_inf_nan=False)] = 3.0


class TcpSamples:
    """A stream that is being received. Fulfils `drivers.contracts.SampleSource`; `gate` looks at every command."""

    def __init__(self, options: StreamOptions, gate: Gate) -> None:
        self._options, self._gate = options, gate
        at = f"{options.host}:{options.port}"
        deadline = Deadline(options.timeout_s, PART)
        try:
            self._connection = connect(options.host, options.port, deadline)
        except TimeoutError as late:
            raise LinkTimeout(PART, f"nobody answers at {at}.", "Is the server on?") from late
        except OSError as fault:
            raise LinkLost(
                PART, f"cannot connect to {at} ({fault.strerror or fault}).", "Is the server running?"
            ) from fault
        try:
            self.tuner = wire.tuner_of(self._header(deadline, at))
        except BaseException:
            self._connection.close()
            raise
        self._arrivals = Arrivals(self._connection, 2.0 * options.rate_hz, KEPT_S)
        self._given = 0

    @property
    def latency_s(self) -> float:
        """How old a sample may be when it arrives."""
        if self._options.latency_s is not None:
            return self._options.latency_s
        return 2.0 * BUFFER_BYTES / (2.0 * self._options.rate_hz) + MARGIN_S

    @property
    def measured_rate_hz(self) -> float | None:
        """Samples a second as they came within the last seconds; None before enough of them were seen."""
        pieces, told = self._arrivals.pieces(), 2.0 * self._options.rate_hz
        span_s = pieces[-1].at_s - pieces[0].at_s if pieces else 0.0
        if span_s < RATE_SEEN_S:
            return None
        delays: list[list[float]] = [[], [], []]
        for piece in pieces:
            third = min(int(3.0 * (piece.at_s - pieces[0].at_s) / span_s), 2)
            delays[third].append(piece.at_s - piece.end / told)
        if not (delays[0] and delays[2]):
            return None
        slower = (min(delays[2]) - min(delays[0])) / (2.0 / 3.0 * span_s)
        return told / 2.0 * (1.0 - slower)

    def tell(self, name: wire.Name, value: int) -> None:
        """Send a command; `Refused` for what may not be said, `LinkLost` when the connection is gone."""
        message = wire.command(name, value)
        self._gate(message)
        try:
            send(self._connection, message, Deadline(self._options.timeout_s, PART))
        except TimeoutError as late:
            raise LinkTimeout(PART, "it takes no commands.", "Does the server hang?") from late
        except OSError as fault:
            raise LinkLost(
                PART, f"the connection broke ({fault.strerror or fault}).", "Check server and network."
            ) from fault

    def take(self, seconds: float, after_s: float) -> Block:
        """As `drivers.contracts.SampleSource.take`; its clock is that of `drivers.waiting`."""
        arrivals, count = self._arrivals, 2 * max(round(seconds * self._options.rate_hz), 1)
        if count > 2 * MOST_SAMPLES:
            raise Refused(
                PART,
                f"{seconds:g} s are {count // 2:,} samples, of which {MOST_SAMPLES:,} can be held.",
                "Listen for fewer seconds, or lower sample_rate_hz.",
            )
        arrivals.by(clock())
        arrivals.keep(KEPT_S + seconds)
        ahead_s = max(after_s - monotonic(), 0.0)
        within_s = self._options.timeout_s + self.latency_s + seconds * 2 + CATCHES_UP_S
        deadline = Deadline(ahead_s + within_s, PART)
        begin = self._first_after(after_s + self.latency_s, deadline)
        begun_with_gap = begin != self._given
        while arrivals.total < begin + count:
            self._look(deadline)
        lost = self._lost_samples(begin, begin + count, deadline)
        pairs = arrivals.bytes_between(begin, begin + count)
        self._given = begin + count
        if pairs is None:
            raise BadReply(PART, "samples come faster than they can be taken.", "Lower sample_rate_hz.")
        if not lost:
            self._check_rate()
        block = Block(
            wire.decoded(pairs),
            float(self._options.rate_hz),
            (self._arrived_s(begin) - self.latency_s, self._arrived_s(begin + count)),
            (0,) if begun_with_gap else (),
            lost,
            wire.clipped_share(pairs),
            wire.STEP_NOISE,
        )
        if lost:
            arrivals.forget()
        return block

    def unknown(self) -> tuple[str, ...]:
        """Nothing can be read back. The rate is measured in its place, before anything is taken: `BadReply` if it is
        another one. The rest is taken for granted, and seen in the spectrum.
        """
        self._arrivals.by(clock())
        deadline = Deadline(self._options.timeout_s + RATE_SEEN_S + CATCHES_UP_S, PART)
        while self.measured_rate_hz is None and self._too_fast_hz() is None:
            self._look(deadline)
        self._check_rate()
        return ()

    def close(self) -> None:
        self._arrivals.close()

    def _header(self, deadline: Deadline, at: str) -> bytes:
        got = b""
        try:
            while len(got) < wire.HEADER_BYTES:
                more = receive(self._connection, deadline, wire.HEADER_BYTES - len(got))
                if not more:
                    raise LinkLost(PART, f"{at} hung up at once.", "Does another program use the server?")
                got += more
        except TimeoutError as late:
            raise LinkTimeout(
                PART,
                f"{at} says nothing.",
                "Such a server serves one program at a time: does another use it?",
            ) from late
        except OSError as fault:
            raise LinkLost(PART, f"{at}: {fault.strerror or fault}.", "Is the server running?") from fault
        return got

    def _first_after(self, at_s: float, deadline: Deadline) -> int:
        """Index of the first byte that arrived later than `at_s`, of a whole pair, and not given before."""
        while True:
            for piece in self._arrivals.pieces():
                if piece.at_s >= at_s:
                    begin = max(piece.end, self._given)
                    return begin + begin % 2
            self._look(deadline)

    def _look(self, deadline: Deadline) -> None:
        arrivals = self._arrivals
        if arrivals.over:
            raise LinkLost(PART, f"samples stopped: {arrivals.over}.", "Check server and network.")
        if deadline.remaining() <= 0.0:
            raise LinkTimeout(
                PART, "samples stopped coming.", "Check the server, its receiver and the network."
            )
        if arrivals.caught_up(LOOK_S):
            pause(LOOK_S, PART)

    def _arrived_s(self, at: int) -> float:
        return next((piece.at_s for piece in self._arrivals.pieces() if piece.end >= at), monotonic())

    def _lost_samples(self, begin: int, end: int, deadline: Deadline) -> bool:
        """Whether the server threw samples away between two places of the stream, as far as time tells."""
        until = monotonic() + CATCHES_UP_S
        while True:
            pieces = [piece for piece in self._arrivals.pieces() if piece.end > begin]
            if _behind_s(pieces, end, 2.0 * self._options.rate_hz) <= self._threshold_s:
                return False
            if monotonic() >= until:
                return True
            self._look(deadline)

    @property
    def _threshold_s(self) -> float:
        return 0.6 * BUFFER_BYTES / (2.0 * self._options.rate_hz)

    def _check_rate(self) -> None:
        told_hz = self._options.rate_hz
        rate_hz = self._too_fast_hz() or self.measured_rate_hz
        if rate_hz is not None and abs(rate_hz - told_hz) > RATE_OFF * told_hz:
            raise BadReply(
                PART,
                f"it sends {rate_hz / 1e6:.3f} million samples a second, not {told_hz / 1e6:.3f}.",
                "Has somebody changed its rate, or is it too busy to send them all? Mend sample_rate_hz.",
            )

    def _too_fast_hz(self) -> float | None:
        """The rate where more came than time and what had waited explain, which shows long before a rate does."""
        pieces = self._arrivals.pieces()
        if not pieces:
            return None
        span_s, came = pieces[-1].at_s - pieces[0].at_s, pieces[-1].end - pieces[0].end
        most = 2.0 * self._options.rate_hz * (1.0 + RATE_OFF) * (span_s + CATCHES_UP_S) + 2 * BUFFER_BYTES
        return came / 2.0 / max(span_s, MARGIN_S) if came > most else None


def _behind_s(pieces: list[Piece], end: int, bytes_a_second: float) -> float:
    """By how much the stream fell behind and did not catch up, within the bytes up to `end`; seconds.

    Of every place in it: the least delay of what came afterwards over the least delay of what came before.
    """
    if len(pieces) < 2:
        return 0.0
    ends = np.array([piece.end for piece in pieces], np.float64)
    delays = np.array([piece.at_s for piece in pieces]) - ends / bytes_a_second
    before = np.minimum.accumulate(delays)
    after = np.minimum.accumulate(delays[::-1])[::-1]
    inside = ends[:-1] < end
    return float(np.max((after[1:] - before[:-1])[inside], initial=0.0))
