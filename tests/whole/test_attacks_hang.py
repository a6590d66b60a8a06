"""Instruments that want to keep the program waiting: each has one deadline, and a stop order ends every wait.

Small hostile servers on real wires. Bounds are generous, many times the deadline; what is without any end fails them.
"""

import contextlib
import gzip
import os
import pty
import socket
import ssl
import struct
import threading
import time
import tracemalloc
import tty
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

import pytest
import trustme

from drivers.errors import BadReply, CalledOff, LinkLost, LinkTimeout, Refused, RigError
from drivers.switches import http, modbus, mqtt, person
from drivers.waiting import bounded

pytestmark = pytest.mark.wires

FAR_S = 30.0
"""Nobody waits for as long, and a machine under load comes to its end long before."""

PATHS = {"antenna-bypass": {0: "off"}, "antenna-stage": {0: "on"}}
Serve = Callable[[socket.socket, threading.Event], None]


@contextmanager
def hostile(serve: Serve, context: ssl.SSLContext | None = None) -> Iterator[int]:
    """`serve` on every connection to a port of its own, each on its own thread, until the test is over."""
    over = threading.Event()
    listener = socket.create_server(("127.0.0.1", 0))

    def accept() -> None:
        while True:
            try:
                connection, _ = listener.accept()
            except OSError:
                return
            threading.Thread(target=serve_one, args=(connection,), daemon=True).start()

    def serve_one(connection: socket.socket) -> None:
        with contextlib.suppress(OSError), connection:
            if context is not None:
                connection = context.wrap_socket(connection, server_side=True)
            serve(connection, over)

    threading.Thread(target=accept, daemon=True).start()
    try:
        yield listener.getsockname()[1]
    finally:
        over.set()
        listener.shutdown(socket.SHUT_RDWR)
        listener.close()


def dripping(start: bytes, piece: bytes) -> Serve:
    """An answer that begins properly and then drips for ever, a piece at a time."""

    def serve(connection: socket.socket, over: threading.Event) -> None:
        connection.recv(4096)
        connection.sendall(start)
        while not over.wait(0.05):
            connection.sendall(piece)

    return serve


def gushing(start: bytes, piece: bytes) -> Serve:
    """The same as fast as it can be taken."""

    def serve(connection: socket.socket, over: threading.Event) -> None:
        connection.recv(4096)
        connection.sendall(start)
        while not over.is_set():
            connection.sendall(piece * 1000)

    return serve


OK = b"HTTP/1.1 200 OK\r\n"
CHUNKED = OK + b"Transfer-Encoding: chunked\r\n\r\n"
WEB = {
    "nothing": (b"", b""),
    "status line": (b"HTTP/1.1 2", b"0"),
    "head": (OK + b"X-Relay: ", b"o"),
    "heads": (OK, b"X: y\r\n"),
    "interim answers": (b"", b"HTTP/1.1 103 Early Hints\r\n\r\n"),
    "continue": (b"", b"HTTP/1.1 100 Continue\r\n\r\n"),
    "content": (OK + b"Content-Length: 60000\r\n\r\n", b" "),
    "content to the end": (OK + b"\r\n", b" "),
    "chunk extension": (CHUNKED + b"2;", b"x"),
    "chunks": (CHUNKED, b"1\r\n \r\n"),
    "trailer": (CHUNKED + b"2\r\non\r\n0\r\n", b"X: y\r\n"),
}


def web_board(port: int, timeout_s: float, **more: Any) -> Any:
    section = {
        "link": f"http://127.0.0.1:{port}",
        "set": {"path": "/{relay}/{state}"},
        "ask": {"path": "/{relay}"},
        "paths": PATHS,
        "timeout_s": timeout_s,
    }
    return http.DRIVER.open(http.HttpOptions.model_validate(section | more))


@pytest.mark.parametrize("pace", [dripping, gushing])
@pytest.mark.parametrize("where", WEB)
def test_a_web_board_that_does_not_come_to_its_end_is_given_up(
    where: str, pace: Callable[..., Serve]
) -> None:
    with hostile(pace(*WEB[where])) as port:
        began = time.monotonic()
        with pytest.raises((LinkTimeout, BadReply, LinkLost)):
            web_board(port, timeout_s=0.4)
        assert time.monotonic() - began < FAR_S


@pytest.mark.parametrize("where", WEB)
def test_a_stop_order_is_not_kept_waiting_by_a_web_board(where: str) -> None:
    with hostile(dripping(*WEB[where])) as port:
        assert called_off(lambda: web_board(port, timeout_s=60.0)) < FAR_S


def called_off(wait: Callable[[], object]) -> float:
    """Seconds from a stop order, given while `wait` waits, to its end."""
    stop = threading.Event()
    ordered: list[float] = []

    def order() -> None:
        ordered.append(time.monotonic())
        stop.set()

    timer = threading.Timer(0.3, order)
    timer.start()
    try:
        with bounded(stop=stop), pytest.raises(CalledOff):
            wait()
    finally:
        timer.join()
    return time.monotonic() - ordered[0]


def test_a_handshake_that_does_not_come_to_its_end_is_given_up(tmp_path: Any) -> None:
    def shake_hands_for_ever(connection: socket.socket, over: threading.Event) -> None:
        connection.sendall(b"\x16\x03\x03\x40\x00")  # a TLS record of 16 kB, dripped
        while not over.wait(0.05):
            connection.sendall(b"\x02")

    ca_file = tmp_path / "authority.pem"
    trustme.CA().cert_pem.write_to_path(str(ca_file))
    secure = {"ca_file": str(ca_file)}
    with hostile(shake_hands_for_ever) as port:
        began = time.monotonic()
        with pytest.raises(LinkTimeout):
            web_board(port, timeout_s=0.4, link=f"https://127.0.0.1:{port}", **secure)
        assert time.monotonic() - began < FAR_S
        link = f"https://127.0.0.1:{port}"
        assert called_off(lambda: web_board(port, timeout_s=60.0, link=link, **secure)) < FAR_S


def test_a_packed_answer_is_not_unpacked() -> None:
    packed = gzip.compress(b"on" + b" " * (64 << 20))
    head = OK + b"Content-Encoding: gzip\r\nContent-Length: %d\r\n\r\n" % len(packed)

    def serve(connection: socket.socket, over: threading.Event) -> None:
        connection.recv(4096)
        connection.sendall(head + packed)
        over.wait(FAR_S)

    with hostile(serve) as port:
        assert heap_mb(lambda: refused(lambda: web_board(port, timeout_s=5.0))) < 8


def refused(attempt: Callable[[], object]) -> None:
    with pytest.raises(RigError):
        attempt()


def heap_mb(attempt: Callable[[], object]) -> float:
    """The most memory that `attempt` held in Python objects, MB; without that of libraries loaded meanwhile."""
    import httpx  # noqa: F401
    import paho.mqtt.client  # noqa: F401

    tracemalloc.start()
    try:
        attempt()
        return tracemalloc.get_traced_memory()[1] / 1e6
    finally:
        tracemalloc.stop()


@pytest.mark.parametrize(
    "challenge",
    [
        'Digest realm="r", nonce="n", qop="auth", algorithm=FOO',
        'Digest realm="r", nonce="n", qop="auth-int"',
        'Digest realm="r", nonce="n", qop="foo"',
        "Digest foo",
        "Digest",
        'Digest realm="r", nonce=',
        'Digest realm="\u00e9", nonce="\x01"',
        "Digest " + "a=b," * 5000,
        "foo",
    ],
)
def test_a_login_challenge_that_cannot_be_answered_is_the_boards_fault(
    challenge: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("RELAY_PASSWORD", "dunlin")
    answer = f"HTTP/1.1 401 No\r\nWWW-Authenticate: {challenge}\r\nContent-Length: 0\r\n\r\n".encode(
        "latin-1"
    )

    def serve(connection: socket.socket, over: threading.Event) -> None:
        while connection.recv(4096):
            connection.sendall(answer)

    login = {"auth": "digest", "user": "saltmarsh", "password_env": "RELAY_PASSWORD"}
    with hostile(serve) as port, pytest.raises((BadReply, Refused)):
        web_board(port, timeout_s=5.0, **login)


def broker_board(port: int, timeout_s: float) -> Any:
    section = {
        "link": f"mqtt://127.0.0.1:{port}",
        "set_topic": "relays/{relay}/set",
        "state_topic": "relays/{relay}/state",
        "paths": PATHS,
        "timeout_s": timeout_s,
    }
    return mqtt.DRIVER.open(mqtt.MqttOptions.model_validate(section))


def broker(then: Serve) -> Serve:
    """MQTT 3.1.1 up to the subscription, sections 3.1 to 3.9; what follows is `then`'s."""

    def packet(connection: socket.socket) -> tuple[int, bytes]:
        kind, length, shift = connection.recv(1)[0], 0, 0
        while True:
            byte = connection.recv(1)[0]
            length |= (byte & 127) << shift
            shift += 7
            if byte < 128:
                break
        body = b""
        while len(body) < length:
            body += connection.recv(length - len(body))
        return kind >> 4, body

    def serve(connection: socket.socket, over: threading.Event) -> None:
        with contextlib.suppress(IndexError):
            assert packet(connection)[0] == 1
            connection.sendall(b"\x20\x02\x00\x00")
            kind, body = packet(connection)
            assert kind == 8
            connection.sendall(b"\x90\x03" + body[:2] + b"\x01")
            then(connection, over)

    return serve


@pytest.mark.parametrize("topic", ["relays/0/state", "elsewhere"])
def test_a_state_of_sixty_megabytes_is_not_taken_in(topic: str) -> None:
    def flood(connection: socket.socket, over: threading.Event) -> None:
        length = 60_000_000
        name = topic.encode()
        digits, left = b"", length
        while left:
            digits += bytes((left % 128 | (128 if left > 127 else 0),))
            left //= 128
        connection.sendall(b"\x31" + digits + struct.pack(">H", len(name)) + name)
        for _ in range(length // 100_000):
            connection.sendall(bytes(100_000))
        over.wait(FAR_S)

    with hostile(broker(flood)) as port:
        assert heap_mb(lambda: refused(lambda: broker_board(port, timeout_s=3.0))) < 8


@pytest.mark.parametrize(
    "serve",
    [
        lambda connection, over: over.wait(FAR_S),
        broker(lambda connection, over: over.wait(FAR_S)),
        broker(dripping(b"\x31\x20", b"\x00")),
        broker(gushing(b"", b"\xd0\x00")),
    ],
    ids=["silent", "silent after subscribing", "drips", "answers pings without end"],
)
def test_a_broker_that_keeps_one_waiting_is_given_up_and_a_stop_order_obeyed(serve: Serve) -> None:
    with hostile(serve) as port:
        began = time.monotonic()
        refused(lambda: broker_board(port, timeout_s=0.5))
        assert time.monotonic() - began < FAR_S
        assert called_off(lambda: broker_board(port, timeout_s=60.0)) < FAR_S


@pytest.mark.filterwarnings("error::pytest.PytestUnhandledThreadExceptionWarning")
@pytest.mark.parametrize(
    "packet",
    [
        b"\x30\x06\x00\x02\xff\xfeON",
        b"\x30\x01\x00",
        b"\x30\x04\xff\xffab",
        b"\x32\x03\x00\x01a",
        b"\x40\x01\x00",
        b"\x90\x00",
        b"\x90\x02\x00\x01",
        b"\xb0\x00",
        b"\x20\x00",
        b"\x62\x00",
        b"\xf0\x00",
        b"\x00\x00",
        b"\x10\x00",
        b"\x30\xff\xff\xff\xff\xff",
    ],
    ids=bytes.hex,
)
def test_a_packet_that_is_none_ends_no_thread_with_a_traceback(packet: bytes) -> None:
    def send(connection: socket.socket, over: threading.Event) -> None:
        connection.sendall(packet)
        over.wait(FAR_S)

    with hostile(broker(send)) as port:
        refused(lambda: broker_board(port, timeout_s=0.5))


def modbus_board(link: str, timeout_s: float) -> Any:
    section = {"link": link, "paths": PATHS, "timeout_s": timeout_s}
    return modbus.DRIVER.open(modbus.ModbusOptions.model_validate(section))


@pytest.mark.parametrize("pace", [dripping, gushing])
def test_a_modbus_board_that_does_not_come_to_its_end_is_given_up(pace: Callable[..., Serve]) -> None:
    with hostile(pace(b"\x00\x01\x00\x00\xff\xff\x01\x01", b"\x00")) as port:
        began = time.monotonic()
        with pytest.raises((LinkTimeout, BadReply)) as told:
            modbus_board(f"tcp://127.0.0.1:{port}", timeout_s=0.5)
        assert time.monotonic() - began < FAR_S
        assert len(str(told.value)) < 500
        if pace is dripping:
            assert called_off(lambda: modbus_board(f"tcp://127.0.0.1:{port}", timeout_s=60.0)) < FAR_S


def test_a_serial_board_that_drips_is_given_up_and_a_stop_order_obeyed() -> None:
    master, slave = pty.openpty()
    tty.setraw(slave)
    over = threading.Event()

    def drip() -> None:
        while not over.wait(0.02):
            with contextlib.suppress(OSError):
                os.write(master, b"\x01")

    thread = threading.Thread(target=drip)
    thread.start()
    try:
        began = time.monotonic()
        with pytest.raises((LinkTimeout, BadReply)):
            modbus_board(os.ttyname(slave), timeout_s=0.5)
        assert time.monotonic() - began < FAR_S
        assert called_off(lambda: modbus_board(os.ttyname(slave), timeout_s=60.0)) < FAR_S
    finally:
        over.set()
        thread.join()
        os.close(slave)
        os.close(master)


def test_a_stop_order_is_not_kept_waiting_by_a_person() -> None:
    master, slave = pty.openpty()
    try:
        options = person.PersonOptions(
            paths={"antenna-bypass": "out"}, link=os.ttyname(slave), timeout_s=86_400
        )
        assert called_off(lambda: person.DRIVER.open(options).select("antenna-bypass")) < FAR_S
    finally:
        os.close(slave)
        os.close(master)
