"""Servers of samples that lie, hang, flood or swear: told in a sentence, in time, in little memory.

Each is a listening socket that says what a test writes. Whatever comes of it, no level is read from what was no sample
of the rate that was asked for, and a stop order ends every wait.
"""

import contextlib
import random
import resource
import select
import socket
import struct
import threading
import time
from collections.abc import Callable, Iterator

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from drivers.errors import CalledOff, RigError
from drivers.receivers.iq_tcp import IqTcpReceiver, Options
from drivers.receivers.sampled import level_db
from drivers.waiting import StopOrder, bounded, monotonic

pytestmark = [pytest.mark.slow, pytest.mark.timeout(300)]
"""Each of these would last for ever if its wait had no end."""
MOST_GROWN_KB = 60_000
RATE_HZ = 256_000
HEADER = b"RTL0" + struct.pack(">II", 5, 29)
NOISE = np.random.default_rng(5).integers(90, 166, 1 << 20, np.uint8).tobytes()

Says = Callable[[socket.socket, threading.Event], None]


@contextlib.contextmanager
def server(says: Says) -> Iterator[str]:
    """A server at a link; each connection is told what `says` says, on a thread of its own."""
    over, threads = threading.Event(), []
    with socket.create_server(("127.0.0.1", 0)) as listener:
        listener.settimeout(0.05)

        def serve(client: socket.socket) -> None:
            with client, contextlib.suppress(OSError):
                client.settimeout(0.2)
                says(client, over)

        def accept() -> None:
            while not over.is_set():
                with contextlib.suppress(TimeoutError):
                    client, _ = listener.accept()
                    threads.append(threading.Thread(target=serve, args=(client,), daemon=True))
                    threads[-1].start()

        accepting = threading.Thread(target=accept, daemon=True)
        accepting.start()
        try:
            yield f"tcp://127.0.0.1:{listener.getsockname()[1]}"
        finally:
            over.set()
            accepting.join()
            for thread in threads:
                thread.join(10.0)
                assert not thread.is_alive()


def send(client: socket.socket, data: bytes, over: threading.Event) -> None:
    """All of it, however slowly it is taken, unless the test is over."""
    left = memoryview(data)
    while left and not over.is_set():
        if select.select([], [client], [], 0.05)[1]:
            with contextlib.suppress(BlockingIOError, TimeoutError):
                left = left[client.send(left) :]


def endless(header: bytes, pieces: Callable[[], bytes], every_s: float = 0.0) -> Says:
    """A greeting, and then pieces of samples until the test is over."""

    def says(client: socket.socket, over: threading.Event) -> None:
        send(client, header, over)
        while not over.is_set():
            send(client, pieces(), over)
            over.wait(every_s)

    return says


def once(*said: bytes) -> Says:
    def says(client: socket.socket, over: threading.Event) -> None:
        for each in said:
            send(client, each, over)
        over.wait(60.0)

    return says


def hangs_up(said: bytes, after_s: float = 0.0) -> Says:
    def says(client: socket.socket, over: threading.Event) -> None:
        send(client, said, over)
        over.wait(after_s)

    return says


def dripping(said: bytes, every_s: float) -> Says:
    def says(client: socket.socket, over: threading.Event) -> None:
        for each in said:
            if over.is_set():
                return
            send(client, bytes([each]), over)
            over.wait(every_s)

    return says


def steady(factor: float = 1.0, change: Callable[[bytes], bytes] = lambda piece: piece) -> Says:
    """Samples at `factor` of the rate that is asked for, as the computer's clock has it."""

    def says(client: socket.socket, over: threading.Event) -> None:
        send(client, HEADER, over)
        began, sent = time.monotonic(), 0
        while not over.wait(0.01):
            due = int((time.monotonic() - began) * 2 * RATE_HZ * factor) - sent
            place = sent % (1 << 19)
            send(client, change(NOISE[place : place + min(due, 1 << 19)]), over)
            sent += min(due, 1 << 19)

    return says


def rate_that_changes(client: socket.socket, over: threading.Event) -> None:
    """A second at the right rate, then at a third of it."""
    send(client, HEADER, over)
    for nth in range(100_000):
        if over.wait(0.01):
            return
        send(client, NOISE[: int(2 * RATE_HZ * (0.01 if nth < 100 else 0.0033))], over)


level_db(np.ones(RATE_HZ, np.complex64), RATE_HZ, "USB", 2400, 0, False)  # what it loads is no growth


@contextlib.contextmanager
def in_little_memory() -> Iterator[None]:
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    yield
    assert resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before < MOST_GROWN_KB


def options(link: str, **keys: object) -> Options:
    return Options.model_validate(
        {"link": link, "sample_rate_hz": RATE_HZ, "gain_db": 40, "range_hz": [100_000, 30_000_000]}
        | {"averaging_s": 0.05, "latency_s": 0.02, "timeout_s": 1.0}
        | keys
    )


def told(call: Callable[[], object]) -> str:
    """The sentence of the fault, short and fit for a terminal; empty where there was none."""
    try:
        call()
    except RigError as fault:
        sentence = str(fault)
        assert sentence.isprintable() and len(sentence) < 1000
        return sentence
    return ""


def readings(link: str, count: int = 3, **keys: object) -> tuple[list[float], list[str]]:
    """So many readings of a receiver there, and the sentences of what failed."""
    opened: list[IqTcpReceiver] = []
    sentences = [told(lambda: opened.append(IqTcpReceiver(options(link, **keys))))]
    levels: list[float] = []
    for receiver in opened:
        try:
            sentences.append(told(receiver.prepare))
            receiver.set_mode("USB", 2400)
            for nth in range(count):
                sentences.append(told(lambda nth=nth, receiver=receiver: receiver.tune(14_000_000 + nth)))
                sentences.append(told(lambda receiver=receiver: levels.append(receiver.read_power())))
            assert receiver.identify().isprintable() and len(receiver.identify()) < 500
        finally:
            receiver.close()
    return levels, [each for each in sentences if each]


GREETINGS = {
    "says nothing": once(),
    "hangs up at once": hangs_up(b""),
    "hangs up within the greeting": hangs_up(HEADER[:7]),
    "half a greeting and no more": once(HEADER[:11]),
    "drips its greeting": dripping(HEADER * 100, 0.3),
    "an endless greeting of another kind": endless(b"", lambda: b"x" * 65536),
    "speaks HTTP": once(b"HTTP/1.1 400 Bad Request\r\nServer: \x1b[2J\r\n\r\n"),
    "speaks as a server of receivers": once(b"RPRT -1\n" * 10),
    "steers the terminal": once(b"\x1b]0;owned\x07\x9b2J\r\n"),
    "another version": once(b"RTL1" + HEADER[4:], NOISE),
    "the other end first": once(HEADER[:4][::-1] + HEADER[4:], NOISE),
    "TLS": once(b"\x15\x03\x01\x00\x02\x02\x46" + bytes(40)),
    "greets and hangs up": hangs_up(HEADER),
    "greets and says no more": once(HEADER),
    "greets with a tuner that is none": once(HEADER[:4] + b"\xff" * 8),
    "greets and drips": dripping(HEADER + NOISE[:2000], 0.1),
    "greets and gives half a sample": once(HEADER, b"\x80"),
}  # fmt: skip


@pytest.mark.parametrize("how", GREETINGS)
def test_a_server_that_gives_no_samples_is_told_and_nothing_is_read(how: str) -> None:
    with server(GREETINGS[how]) as link, in_little_memory():
        levels, sentences = readings(link)
    assert not levels and sentences


STREAMS: dict[str, Says] = {
    "zeros without end": endless(HEADER, lambda: bytes(65536)),
    "the middle without end": endless(HEADER, lambda: b"\x80" * 65536),
    "zeros at the right rate": steady(change=lambda piece: bytes(len(piece))),
    "the middle at the right rate": steady(change=lambda piece: b"\x80" * len(piece)),
    "noise as fast as it goes": endless(HEADER, lambda: NOISE),
    "a hundred times too fast": steady(100.0),
    "half as fast": steady(0.5),
    "a tenth as fast": steady(0.1),
    "stalls after a moment": once(HEADER, NOISE[: RATE_HZ // 2]),
    "hangs up after a moment": hangs_up(HEADER + NOISE[: RATE_HZ // 2], 0.5),
    "hangs up each fifth of a second": hangs_up(HEADER + NOISE[: RATE_HZ // 8], 0.2),
}

HARDLY_COME = ("a tenth as fast", "stalls after a moment")


@pytest.mark.parametrize("how", STREAMS)
def test_a_stream_that_is_none_is_told_and_no_level_is_read_from_it(how: str) -> None:
    """Noise in it is some −15 dB of full scale in a few hundred hertz less: no level from zeros, none from a rate."""
    with server(STREAMS[how]) as link, in_little_memory():
        # Each attempt at a stream that hardly comes waits seconds for it.
        levels, sentences = readings(link, 12 if how in HARDLY_COME else 40)
    assert sentences
    # A rate is known from two seconds on; what was read before is, level for level, that of the noise.
    assert all(-40.0 < level < -10.0 for level in levels)
    assert len(levels) < (40 if "fast" in how or "fifth" in how else 1), sentences


def test_a_server_that_changes_its_rate_midway_is_found_out() -> None:
    with server(rate_that_changes) as link, in_little_memory():
        levels, sentences = readings(link, 40)
    assert any("samples a second" in each or "threw samples away" in each for each in sentences), sentences
    assert len(levels) < 40


def garbled(piece: bytes) -> bytes:
    """A byte lost now and then, so that I and Q change places: as many as are there, and none beyond."""
    return piece[1:] if len(piece) > 100 else piece


@settings(max_examples=12, deadline=None, suppress_health_check=list(HealthCheck))
@given(st.data())
def test_whatever_a_server_says_it_ends_in_readings_of_noise_or_a_sentence(data: st.DataObject) -> None:
    header = data.draw(st.sampled_from([HEADER, HEADER, HEADER, b"", b"RTL0", HEADER + b"x"]), "greeting")
    pieces = data.draw(
        st.lists(
            st.one_of(
                st.binary(max_size=300),
                st.integers(0, 255).map(lambda value: bytes([value]) * 4000),
                st.integers(1, 60_000).map(lambda size: NOISE[:size]),
            ),
            min_size=1,
            max_size=20,
        ),
        "pieces",
    )
    chance = random.Random(data.draw(st.integers(0, 99), "seed"))
    every_s = data.draw(st.sampled_from([0.0, 0.01, 0.05]), "every")
    says = endless(header, lambda: chance.choice(pieces), every_s)
    with server(says) as link, in_little_memory():
        levels, _ = readings(link, 2, timeout_s=0.5)
    assert all(np.isfinite(level) and -150.0 < level <= 10.0 for level in levels)


@pytest.mark.parametrize("how", ["greeting", "samples", "commands"])
def test_a_stop_order_ends_every_wait(how: str) -> None:
    """Every wait could last minutes by its own deadline."""
    says = {"greeting": once(), "samples": once(HEADER), "commands": once(HEADER, NOISE[:4000])}[how]
    stop = StopOrder()
    with server(says) as link, bounded(stop=stop):
        if how == "greeting":
            threading.Timer(0.3, stop.set).start()
            with pytest.raises(CalledOff):
                IqTcpReceiver(options(link, timeout_s=60.0))
            return
        receiver = IqTcpReceiver(options(link, timeout_s=60.0))
        try:
            threading.Timer(0.3, stop.set).start()
            with pytest.raises(CalledOff):
                if how == "samples":
                    receiver.take(1.0, monotonic())
                while True:  # nobody takes them: the socket fills up, and the next one waits
                    receiver.tune(14_000_000)
        finally:
            receiver.close()


def test_nothing_is_left_behind_of_a_hundred_servers_that_hang_up() -> None:
    before = threading.active_count()
    with server(hangs_up(HEADER + NOISE[:1000])) as link, in_little_memory():
        for _ in range(100):
            readings(link, 1, timeout_s=0.3)
        assert not [thread for thread in threading.enumerate() if thread.name == "samples"]
    assert threading.active_count() <= before + 1


@pytest.mark.parametrize("averaging_s", [2.9, 3.5, 10.0])
def test_as_much_as_a_station_file_may_ask_for_can_be_taken(averaging_s: float) -> None:
    """Longer than what is kept for a short block; a busy machine may still find it late, and says so."""
    with server(steady()) as link:
        levels, sentences = readings(link, 1, averaging_s=averaging_s, timeout_s=60)
    assert levels or all("threw samples away" in each or "samples a second" in each for each in sentences)


def test_more_than_can_be_held_is_refused_with_how_much_it_is() -> None:
    """A minute at twenty million samples a second would fill the memory."""
    with server(steady()) as link, in_little_memory():
        receiver = IqTcpReceiver(options(link, sample_rate_hz=5_000_000))
        assert "Listen for fewer seconds" in told(lambda: receiver.take(60.0, monotonic()))
        receiver.close()
