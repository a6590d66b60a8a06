"""A receiver of 8-bit samples over TCP, against the simulated server on a clock that jumps."""

import math
import socket
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import numpy as np
import pytest
from pydantic import ValidationError

from drivers.errors import BadReply, LinkLost, LinkTimeout, Refused, RigError
from drivers.receivers.iq_tcp import DRIVER, IqTcpReceiver, Options
from drivers.waiting import bounded
from sweeper.clock import JumpingClock
from sweeper.simulation import Served, saltmarsh, serve
from sweeper.simulation.receivers.band_samples import Converter
from sweeper.simulation.receivers.sample_server import SampleServer
from sweeper.simulation.world.world import Listening

RATE_HZ = 256_000
KEYS: dict[str, Any] = {"sample_rate_hz": RATE_HZ, "range_hz": (100_000, 30_000_000), "gain_db": 55}


WORLD = saltmarsh()


@pytest.fixture
def clock() -> JumpingClock:
    return JumpingClock(WORLD.first_evening)


@pytest.fixture
def served(clock: JumpingClock) -> Iterator[Served]:
    with serve(WORLD, clock, receiver="iq-tcp") as station:
        yield station


def clock_of(served: Served) -> JumpingClock:
    clock = server(served).clock
    assert isinstance(clock, JumpingClock)
    return clock


def server(served: Served) -> SampleServer:
    assert isinstance(served.instrument, SampleServer)
    return served.instrument


@contextmanager
def opened(served: Served, **keys: Any) -> Iterator[IqTcpReceiver]:
    receiver = DRIVER.open(Options.model_validate({"link": served.receiver_link, **KEYS, **keys}))
    try:
        with bounded(clock=clock_of(served)):
            receiver.prepare()
            receiver.set_mode("USB", 2400)
            receiver.tune(28_070_000)
            yield receiver
    finally:
        receiver.close()


def test_dial_rate_and_gain_reach_the_server_and_what_comes_has_the_power_of_its_noise(
    served: Served,
) -> None:
    with opened(served, averaging_s=0.2) as receiver:
        read_db = receiver.read_power()
        tuned = server(served).samples.tuned
        assert (tuned.centre_hz, tuned.rate_hz, tuned.gain_db) == (28_070_000 + RATE_HZ // 4, RATE_HZ, 55.0)
        at = Listening(28_070_000, "USB", 2400, "antenna", "bypass")
        expected_w = WORLD.means(WORLD.first_evening.timestamp(), at).noise_w
    # Dicke 1946: 4.34/sqrt(2400 · 0.2) = 0.2 dB; four of them
    expected_db = 10 * math.log10(expected_w * 1e3 * 10**5.5)
    assert read_db == pytest.approx(expected_db, abs=0.8)
    assert served.forbidden == ()


def test_the_stage_is_heard(served: Served) -> None:
    with opened(served) as receiver:
        bypass_db = receiver.read_power()
        served.board.set_coil(0, True)
        assert receiver.read_power() > bypass_db + 5.0


def test_the_gain_follows_the_frequency(served: Served) -> None:
    with opened(served, gain_db={0: 10, 20_000_000: 45}) as receiver:
        assert server_gain(served, receiver) == 45.0
        receiver.tune(7_038_500)
        assert server_gain(served, receiver) == 10.0


def server_gain(served: Served, receiver: IqTcpReceiver) -> float | None:
    receiver.take(0.02, 0.0)
    return server(served).samples.tuned.gain_db


def test_blocks_follow_each_other_without_a_gap_and_hold_what_was_asked_for(served: Served) -> None:
    with opened(served) as receiver:
        first = receiver.take(0.05, 0.0)
        second = receiver.take(0.05, 0.0)
    assert [len(block.samples) for block in (first, second)] == [RATE_HZ // 20] * 2
    assert second.captured[0] < second.captured[1]
    assert not second.unplaced


def test_samples_that_the_server_threw_away_make_the_block_void(served: Served) -> None:
    with opened(served, latency_s=0.0) as receiver:
        receiver.take(0.1, 0.0)
        silence = iter([False] * 20 + [True] * 100)
        server(served).bent = lambda pairs: pairs[:0] if next(silence, False) else pairs
        assert receiver.take(0.6, 0.0).unplaced


def test_a_server_at_another_rate_is_found_out(served: Served) -> None:
    with opened(served) as receiver:
        server(served).pace = 1.25
        with pytest.raises(BadReply, match="million samples a second"):
            for _ in range(20):
                receiver.take(0.5, 0.0)


@pytest.mark.parametrize(
    ("fault", "kind"),
    [
        (lambda to: setattr(to, "silent", True), LinkTimeout),
        (lambda to: to.hang_up(), LinkLost),
        (lambda to: setattr(to, "bent", lambda pairs: np.full_like(pairs, 127)), BadReply),
    ],
)
def test_what_stops_or_holds_nothing_is_an_error(served: Served, fault: Any, kind: type[RigError]) -> None:
    with opened(served) as receiver:
        receiver.read_power()
        fault(server(served))
        with pytest.raises(kind):
            receiver.read_power()


def test_what_clips_reads_full_scale(served: Served) -> None:
    server(served).samples.converter = Converter(centre=1.0)
    with opened(served) as receiver:
        assert receiver.read_power() >= 0.0


def test_the_voltage_is_switched_by_the_station_files_word_alone_and_put_back(served: Served) -> None:
    with opened(served) as receiver:
        assert receiver.remember() == {}
        assert not server(served).bias_tee
    server(served).fed = True
    with opened(served, bias_tee=True) as receiver:
        receiver.take(0.02, 0.0)
        assert server(served).bias_tee
        receiver.restore(receiver.remember())
        receiver.take(0.02, 0.0)
        assert not server(served).bias_tee


def test_a_port_where_something_else_speaks_is_refused() -> None:
    for said, kind in ((b"HTTP/1.1 400 Bad Request\r\n", BadReply), (b"", LinkTimeout)):
        with socket.create_server(("127.0.0.1", 0)) as other:
            link = f"tcp://127.0.0.1:{other.getsockname()[1]}"
            greeting = threading.Thread(target=_greet, args=(other, said), daemon=True)
            greeting.start()
            with pytest.raises(kind):
                DRIVER.open(Options.model_validate({"link": link, "timeout_s": 0.3}))
            greeting.join()
    while _held:
        _held.pop().close()
    with pytest.raises(LinkLost):
        DRIVER.open(Options.model_validate({"link": link}))


_held: list[socket.socket] = []


def _greet(listener: socket.socket, said: bytes) -> None:
    client, _ = listener.accept()
    client.sendall(said)
    _held.append(client)


def test_out_of_range_is_told_with_what_would_reach_it(served: Served) -> None:
    with opened(served) as receiver, pytest.raises(Refused, match="direct_sampling"):
        receiver.tune(40_000_000)
    with opened(served, range_hz=None) as receiver:
        assert receiver.frequency_range_hz() == (24_000_000, 1_750_000_000)
        with pytest.raises(Refused, match="R820T"):
            receiver.tune(7_000_000)


@pytest.mark.parametrize(
    "keys",
    [
        {"link": "rfc2217://127.0.0.1:1234"},
        {"link": "/dev/ttyUSB0"},
        {"direct_sampling": "Q", "range_hz": [500_000, 28_000_000]},
        {"direct_sampling": "Q", "converter_hz": 125_000_000},
        {"test_mode": 1},
        {"ppm": 2000},
        {"gain_db": {-5: 10}},
    ],
)
def test_options_that_fold_or_do_not_exist_are_refused(keys: dict[str, Any]) -> None:
    with pytest.raises(ValidationError):
        Options.model_validate({"link": "tcp://127.0.0.1:1234", **keys})
