"""A receiver that answers with anything at all: other encodings, no end, what nobody asked for, as long as it likes.

From the greeting or the middle of a pass on, every reply is replaced, also after each new connection. The pass ends in
time and in words, holds no wrong value, takes no memory, and once the receiver is well the next one is whole.
"""

import gzip
import random
import threading
import time
import tracemalloc
from collections.abc import Callable
from pathlib import Path

import pytest

from sweeper.simulation.wires.faults import Send
from tests.whole.faulty_station import RECEIVERS, TUNINGS, WHOLE, faulty_station

pytestmark = pytest.mark.wires

FAR_S = 60.0
MOST_MB = 24.0
MOST_CONNECTIONS = 60
Answer = Callable[[bytes, Send], None]


def instead(change: Callable[[bytes], bytes]) -> Answer:
    """The reply, changed."""
    return lambda reply, send: send(change(reply))


def without_end(piece: bytes, times: int) -> Answer:
    def answer(_: bytes, send: Send) -> None:
        for _ in range(times):
            send(piece)

    return answer


def noise(length: int) -> Callable[[bytes], bytes]:
    chance = random.Random(14)
    return lambda _: chance.randbytes(length)


GARBAGE: dict[str, Answer] = {
    "UTF-16": instead(lambda reply: reply.decode("latin-1").encode("utf-16")),
    "EBCDIC": instead(lambda reply: reply.decode("latin-1").encode("cp500", "replace")),
    "packed": instead(gzip.compress),
    "nothing but zeros": instead(lambda reply: bytes(len(reply))),
    "high bits": instead(lambda reply: bytes(byte | 0x80 for byte in reply)),
    "noise": instead(noise(40)),
    "a web page": instead(lambda _: b"HTTP/1.1 400 Bad Request\r\n\r\n<html>"),
    "no end of a line": without_end(b"x" * 1_000_000, 100),
    "no end of lines": without_end(b"unsolicited\n" * 10_000, 200),
    "no end of refusals": without_end(b"RPRT -1\n?;\xfe\xfe\xe0\x94\xfa\xfd" * 10_000, 30),
    "empty lines": without_end(b"\r\n" * 1000, 20),
    "lines before the answer": instead(lambda reply: b"hello\nworld\n;;" + reply),
    "every answer twice": instead(lambda reply: reply + reply),
    "another answer before": instead(
        lambda reply: b"get_freq: \nFrequency: 1\nRPRT 0\nFA00000000001;" + reply
    ),
    "the answer in pieces": lambda reply, send: [send(bytes([byte])) for byte in reply] and None,
}
HAS_THE_ANSWER = {
    "lines before the answer", "every answer twice", "another answer before", "the answer in pieces",
}  # fmt: skip
"""A careful reader may find it there."""
MOMENTS = {"greeting": ("dial", 1), "reading": ("meter", 3), "restoring": ("tune", TUNINGS + 1)}


@pytest.mark.parametrize("moment", MOMENTS)
@pytest.mark.parametrize("garbage", GARBAGE)
@pytest.mark.parametrize("receiver", RECEIVERS)
def test_no_answer_keeps_takes_or_bends_anything(
    receiver: str, garbage: str, moment: str, tmp_path: Path
) -> None:
    with faulty_station(tmp_path, receiver, "modbus-tcp", receiver_timeout_s=0.3) as station:
        wire = station.served.faults.receiver
        well, threads = wire.carry, threading.active_count()

        def fall_ill() -> None:
            wire.carry = GARBAGE[garbage]  # type: ignore[method-assign]
            wire.silent = True  # so that replies go by what carries them

        def recover() -> None:
            wire.silent = False
            wire.carry = well  # type: ignore[method-assign]

        station.served.receiver_log.when(*_moment(moment, fall_ill))
        began = time.monotonic()
        tracemalloc.start()
        try:
            record = station.one_pass()
            took_mb = tracemalloc.get_traced_memory()[1] / 1e6
        finally:
            tracemalloc.stop()
        assert time.monotonic() - began < FAR_S
        assert took_mb < MOST_MB
        assert threading.active_count() - threads < MOST_CONNECTIONS
        stored = station.stored(record)
        assert station.at_rest
        if record.outcome == "done":
            assert moment == "restoring" or garbage in HAS_THE_ANSWER
            assert (len(stored), len(set(stored))) == (WHOLE, 1)
        else:
            assert stored == [] and "receiver" in record.because, record.because
            assert len(record.because) < 1000
        recover()
        station.served.faults.receiver.hang_up()
        record = station.one_pass()
        assert (record.outcome, len(station.stored(record))) == ("done", WHOLE), record.because
        assert len(set(station.stored(record))) == 1
        assert station.served.forbidden == ()


def _moment(moment: str, action: Callable[[], None]) -> tuple[str, Callable[[], None], int]:
    kind, nth = MOMENTS[moment]
    return kind, action, nth
