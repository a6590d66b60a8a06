"""A stream of 8-bit pairs on a clock that jumps: what a block holds, when it was captured, and what was thrown away."""

import contextlib
import socket
import threading
from collections.abc import Iterator
from datetime import UTC, datetime
from itertools import pairwise

import numpy as np
import pytest

from drivers.errors import BadReply, LinkLost, LinkTimeout, Refused, RigError
from drivers.samples.tcp import StreamOptions, TcpSamples
from drivers.waiting import bounded
from sweeper.clock import JumpingClock

RATE_HZ = 256_000
BUFFER_S = 262_144 / (2 * RATE_HZ)
"""What a server holds back or throws away at once: about half a second here."""


class Feed:
    """A server that sends pairs which count up, as many as the clock says; `pace` by another rate."""

    def __init__(self, pace: float = 1.0) -> None:
        self.clock, self.pace = JumpingClock(datetime(2026, 3, 1, tzinfo=UTC)), pace
        self.clock.sleep(1000.0)
        self.from_s = self.clock.monotonic()
        self.sent = self.owed = 0
        self.holds: list[tuple[float, float, bool]] = []
        """From when to when nothing comes, and whether it comes afterwards all the same."""
        self.said, self.forbids = b"", False
        listener = socket.create_server(("127.0.0.1", 0))
        self._accepting = threading.Thread(target=self._accept, args=(listener,))
        self._accepting.start()
        self.port = listener.getsockname()[1]

    def _accept(self, listener: socket.socket) -> None:
        with listener:
            self.far, _ = listener.accept()
        self.far.setsockopt(socket.SOL_SOCKET, socket.SO_SNDBUF, 1 << 16)
        self.far.sendall(b"RTL0" + bytes([0, 0, 0, 5, 0, 0, 0, 29]))

    def open(self, **options: object) -> TcpSamples:
        told = StreamOptions(host="127.0.0.1", port=self.port, rate_hz=RATE_HZ, **options)  # type: ignore[arg-type]
        samples = TcpSamples(told, self._gate)
        self._accepting.join()
        self.clock.follow(self._after_jump)
        return samples

    def _gate(self, command: bytes) -> None:
        if self.forbids:
            raise Refused("receiver", "not that.")
        self.said += command

    def _after_jump(self) -> None:
        now_s = self.clock.monotonic() - self.from_s
        due = int(now_s * RATE_HZ * self.pace)
        if any(since_s <= now_s < until_s for since_s, until_s, _ in self.holds):
            if not next(late for since_s, until_s, late in self.holds if since_s <= now_s < until_s):
                self.owed = due  # thrown away
            return
        count, self.owed = due - self.owed, due
        pairs = ((self.sent + np.arange(count)) % 251).astype(np.uint8)
        self.sent += count
        with contextlib.suppress(OSError):
            self.far.sendall(np.repeat(pairs, 2).tobytes())


@pytest.fixture
def feed() -> Iterator[Feed]:
    made = Feed()
    yield made
    made.far.close()


@contextlib.contextmanager
def heard(feed: Feed, **options: object) -> Iterator[TcpSamples]:
    with bounded(clock=feed.clock):
        samples = feed.open(**options)
        try:
            yield samples
        finally:
            samples.close()


def numbers(samples: np.ndarray) -> np.ndarray:
    return np.rint(samples.real * 127.5 + 127.5).astype(int)


@pytest.mark.parametrize(("told_s", "latency_s"), [(None, 2 * BUFFER_S + 0.05), (0.0, 0.0), (0.3, 0.3)])
def test_a_sample_may_be_two_of_a_servers_buffers_old_unless_told_otherwise(
    feed: Feed, told_s: float | None, latency_s: float
) -> None:
    with heard(feed, latency_s=told_s) as samples:
        assert samples.latency_s == pytest.approx(latency_s)
        assert samples.tuner == "R820T" and samples.unknown() == ()


def test_a_block_begins_with_what_was_captured_after_the_instant_and_holds_what_was_asked_for(
    feed: Feed,
) -> None:
    with heard(feed) as samples:
        after_s = feed.clock.monotonic() + 0.5
        block = samples.take(0.25, after_s)
        assert len(block.samples) == 64_000 and block.rate_hz == RATE_HZ
        assert block.captured[0] == pytest.approx(after_s, abs=0.03) and block.captured[0] >= after_s
        # no sample arrived before it was captured: the latest was captured as it came at the latest
        assert block.captured[1] == pytest.approx(after_s + samples.latency_s + 0.25, abs=0.04)
        assert block.gaps == (0,) and not block.unplaced
        told = numbers(block.samples)
        assert set(np.diff(told) % 251) == {1}
        assert block.step_noise == pytest.approx(2 / 12 / 127.5**2)
        assert block.clipped == pytest.approx(np.mean(told == 0), abs=1e-6)
        arrived_s = (after_s + samples.latency_s - 1000.0) * RATE_HZ
        assert (told[0] - arrived_s) % 251 < 0.04 * RATE_HZ


def test_blocks_follow_each_other_and_one_that_begins_later_has_a_gap_before_it(feed: Feed) -> None:
    with heard(feed, latency_s=0.0) as samples:
        blocks = [samples.take(0.1, 0.0) for _ in range(4)]
        assert [block.gaps for block in blocks[1:]] == [()] * 3
        for one, other in pairwise(blocks):
            assert (numbers(other.samples)[0] - numbers(one.samples)[-1]) % 251 == 1
            assert other.captured[0] == pytest.approx(one.captured[1], abs=0.02)
        later = samples.take(0.1, feed.clock.monotonic() + 1.0)
        assert later.gaps == (0,)


def test_the_rate_is_measured_over_two_seconds(feed: Feed) -> None:
    with heard(feed, latency_s=0.0) as samples:
        samples.take(1.5, 0.0)
        assert samples.measured_rate_hz is None
        samples.take(1.0, 0.0)
        assert samples.measured_rate_hz == pytest.approx(RATE_HZ, rel=0.01)


@pytest.mark.parametrize(("pace", "right"), [(0.88, True), (1.12, True), (0.8, False), (1.3, False)])
def test_a_rate_that_is_off_by_more_than_a_seventh_is_not_taken_for_the_one_told(
    pace: float, right: bool
) -> None:
    feed = Feed(pace)
    with heard(feed, latency_s=0.0) as samples:
        if right:
            for _ in range(8):
                samples.take(0.5, 0.0)
            assert samples.measured_rate_hz == pytest.approx(pace * RATE_HZ, rel=0.03)
        else:
            with pytest.raises(BadReply, match=rf"it sends 0\.{'2' if pace < 1 else '3'}\d+ million samples"):
                for _ in range(16):
                    samples.take(0.5, 0.0)
    feed.far.close()


@pytest.mark.parametrize(
    ("held_s", "late", "lost"),
    [(0.2, False, False), (BUFFER_S, False, True), (1.5, False, True), (0.9, True, False)],
    ids=["less than a buffer", "a buffer", "more", "late but whole"],
)
def test_a_buffer_that_the_server_threw_away_voids_the_block_and_one_that_comes_late_does_not(
    feed: Feed, held_s: float, late: bool, lost: bool
) -> None:
    with heard(feed, latency_s=0.0) as samples:
        samples.take(1.0, 0.0)
        since_s = feed.clock.monotonic() - feed.from_s + 0.2
        feed.holds.append((since_s, since_s + held_s, late))
        assert samples.take(1.0, 0.0).unplaced == lost
        after = samples.take(1.0, 0.0)
        assert not after.unplaced and len(after.samples) == RATE_HZ


def test_a_loss_at_the_very_end_of_a_block_is_seen_and_one_after_it_is_not_its_own(feed: Feed) -> None:
    with heard(feed, latency_s=0.0) as samples:
        samples.take(1.0, 0.0)
        since_s = feed.clock.monotonic() - feed.from_s + 0.52
        feed.holds.append((since_s, since_s + 1.0, False))
        assert not samples.take(0.5, 0.0).unplaced
        assert samples.take(0.5, 0.0).unplaced


@pytest.mark.parametrize(("seconds", "refused"), [(78.2, True), (4.0, False)])
def test_more_than_twenty_million_samples_at_once_are_refused(
    feed: Feed, seconds: float, refused: bool
) -> None:
    with heard(feed, latency_s=0.0) as samples:
        if refused:
            with pytest.raises(Refused, match="20,000,000 can be held"):
                samples.take(seconds, 0.0)
        else:
            assert len(samples.take(seconds, 0.0).samples) == round(seconds * RATE_HZ)


def test_three_seconds_are_waited_for_where_nothing_else_is_told() -> None:
    assert StreamOptions(host="h", port=1, rate_hz=RATE_HZ).timeout_s == 3.0


def test_a_stream_that_dries_up_is_waited_for_as_long_as_was_told_and_one_that_ends_is_not(
    feed: Feed,
) -> None:
    with heard(feed, latency_s=0.0, timeout_s=2.0) as samples:
        samples.take(0.1, 0.0)
        feed.holds.append((feed.clock.monotonic() - feed.from_s, np.inf, True))
        began_s = feed.clock.monotonic()
        with pytest.raises(LinkTimeout, match="samples stopped coming"):
            samples.take(0.1, 0.0)
        # two seconds, twice the block, one more for what comes late
        assert feed.clock.monotonic() - began_s == pytest.approx(2.0 + 0.2 + 1.0, abs=0.05)
        began_s = feed.clock.monotonic()
        with pytest.raises(LinkTimeout):
            samples.take(0.1, began_s + 5.0)
        assert feed.clock.monotonic() - began_s == pytest.approx(8.2, abs=0.05)
        feed.far.close()
        with pytest.raises(LinkLost, match="samples stopped"):
            samples.take(0.1, 0.0)


def test_samples_that_may_be_old_when_they_come_are_waited_for_as_much_longer(feed: Feed) -> None:
    with heard(feed, latency_s=0.5, timeout_s=2.0) as samples:
        samples.take(0.1, 0.0)
        feed.holds.append((feed.clock.monotonic() - feed.from_s, np.inf, True))
        began_s = feed.clock.monotonic()
        with pytest.raises(LinkTimeout):
            samples.take(0.1, 0.0)
        assert feed.clock.monotonic() - began_s == pytest.approx(2.0 + 0.5 + 0.2 + 1.0, abs=0.05)


def test_far_too_much_is_told_at_once_and_a_little_too_much_when_the_rate_is_known() -> None:
    """Beside what had waited (a second, and two of a server's buffers) eight times the rate shows within half a second;
    a third more is not told from what had waited before two seconds are over."""
    fast = Feed(8.0)
    with heard(fast, latency_s=0.0) as samples, pytest.raises(BadReply, match=r"it sends [12]\.\d+ million"):
        while fast.clock.monotonic() - fast.from_s < 1.5:
            samples.take(0.5, 0.0)
    assert fast.clock.monotonic() - fast.from_s < 1.0
    fast.far.close()
    slower = Feed(1.3)
    with heard(slower, latency_s=0.0) as samples:
        for _ in range(7):
            samples.take(0.25, 0.0)
        assert 1.2 < slower.clock.monotonic() - slower.from_s < 2.0
    slower.far.close()


def test_where_nobody_takes_the_call_that_is_told_in_time_and_a_closed_port_as_what_it_is() -> None:
    options = {"host": "127.0.0.1", "rate_hz": RATE_HZ, "timeout_s": 0.2}
    with contextlib.ExitStack() as held:
        full = held.enter_context(socket.create_server(("127.0.0.1", 0), backlog=0))
        port = full.getsockname()[1]
        for _ in range(4):  # more callers than it keeps waiting, so that the next is not answered
            caller = held.enter_context(socket.socket())
            caller.setblocking(False)
            caller.connect_ex(("127.0.0.1", port))
        with pytest.raises(LinkTimeout, match=r"nobody answers at 127\.0\.0\.1:\d+\. Is the server on\?"):
            TcpSamples(StreamOptions(port=port, **options), lambda _: None)
    with pytest.raises(LinkLost, match=r"cannot connect to .* \(Connection refused\)"):
        TcpSamples(StreamOptions(port=port, **options), lambda _: None)


def test_a_command_is_five_bytes_that_were_looked_at_first(feed: Feed) -> None:
    with heard(feed) as samples:
        samples.tell("frequency", 7_100_000)
        assert feed.said == b"\x01\x00\x6c\x56\x60"
        assert feed.far.recv(5) == feed.said
        feed.forbids = True
        with pytest.raises(Refused):
            samples.tell("bias tee", 1)
        feed.far.setblocking(False)
        with pytest.raises(BlockingIOError):
            feed.far.recv(5)


@pytest.mark.parametrize(
    ("sent", "fault", "said"),
    [(b"RTL0\0\0", LinkTimeout, "says nothing"), (b"HTTP/1.1 400", BadReply, "not as a server"),
     (None, LinkLost, "hung up")],
)  # fmt: skip
def test_whoever_does_not_greet_as_a_server_of_samples_is_none(
    sent: bytes | None, fault: type[RigError], said: str
) -> None:
    with socket.create_server(("127.0.0.1", 0)) as listener:
        port = listener.getsockname()[1]
        held: list[socket.socket] = []

        def greet() -> None:
            client, _ = listener.accept()
            if sent is None:
                client.close()
            else:
                client.sendall(sent)
                held.append(client)

        greeting = threading.Thread(target=greet)
        greeting.start()
        with pytest.raises(fault, match=said):
            TcpSamples(
                StreamOptions(host="127.0.0.1", port=port, rate_hz=RATE_HZ, timeout_s=0.3), lambda _: None
            )
        greeting.join()
        for client in held:
            client.close()
