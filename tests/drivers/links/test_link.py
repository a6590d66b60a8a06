"""Links on real wires: a TCP socket and a pseudo-terminal, with what cables and boxes do to a conversation."""

import contextlib
import errno
import os
import pty
import socket
import socketserver
import struct
import threading
import time
import tty
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
import serial.rfc2217
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from pydantic import ValidationError

from drivers.errors import BadReply, CalledOff, InUse, LinkLost, LinkTimeout, Refused
from drivers.links import GatedLink, LinkOptions, open_link
from drivers.links.link import Link
from drivers.links.ports import QUIET_S
from drivers.waiting import bounded

Answer = Callable[[socket.socket, bytes], None]


def line(received: bytes) -> bytes | None:
    """A reader of lines: ``bad`` is garbage, ``no`` a refusal."""
    if received == b"no\n":
        raise Refused("box", "no.")
    if received.startswith(b"bad"):
        raise BadReply("box", "garbage.")
    return received if received.endswith(b"\n") else None


def anything(request: bytes) -> None:
    """The gate of a box that may be told whatever a test says."""


def anything_else(request: bytes) -> None:
    """As `anything`, of another instrument."""


class Box:
    """A TCP instrument whose answers a test writes; counts connections."""

    def __init__(self, answer: Answer) -> None:
        self.answer = answer
        self.asked: list[bytes] = []
        self.connections = 0
        box = self

        class Handler(socketserver.BaseRequestHandler):
            def handle(self) -> None:
                box.connections += 1
                try:
                    while data := self.request.recv(4096):
                        box.asked.append(data)
                        box.answer(self.request, data)
                except OSError:
                    pass  # the link hung up

        class Server(socketserver.ThreadingTCPServer):
            allow_reuse_address = True
            daemon_threads = True
            request_queue_size = 128  # a link on a clock that jumps knocks faster than a busy machine accepts

        self.server = Server(("127.0.0.1", 0), Handler)
        self.port: int = self.server.server_address[1]

    @property
    def url(self) -> str:
        return f"tcp://127.0.0.1:{self.port}"


@contextmanager
def box(answer: Answer) -> Iterator[Box]:
    served = Box(answer)
    thread = threading.Thread(target=served.server.serve_forever, args=(0.01,))
    thread.start()
    try:
        yield served
    finally:
        served.server.shutdown()
        served.server.server_close()
        thread.join()


@contextmanager
def linked(url: str, **keys: object) -> Iterator[GatedLink]:
    link = open_link(LinkOptions.model_validate({"link": url, "timeout_s": 0.3, **keys}), "box", anything)
    try:
        yield link
    finally:
        link.close()


def test_a_reply_in_pieces_is_put_together() -> None:
    def dribble(to: socket.socket, data: bytes) -> None:
        for byte in b"7038500\n":
            to.sendall(bytes((byte,)))

    with box(dribble) as served, linked(served.url) as link:
        assert link.exchange(b"?\n", line) == b"7038500\n"


def test_garbage_is_thrown_away_and_the_question_asked_again() -> None:
    def once_garbled(to: socket.socket, data: bytes) -> None:
        to.sendall(b"bad\x00\xff" if len(served.asked) == 1 else b"good\n")

    with box(once_garbled) as served, linked(served.url) as link:
        assert link.exchange(b"?\n", line) == b"good\n"
        assert len(served.asked) == 2


def test_a_refusal_is_final() -> None:
    with box(lambda to, data: to.sendall(b"no\n")) as served, linked(served.url) as link:
        with pytest.raises(Refused):
            link.exchange(b"?\n", line)
        assert len(served.asked) == 1


def test_a_box_that_hangs_costs_no_more_than_its_deadlines() -> None:
    with box(lambda to, data: None) as served, linked(served.url) as link:
        began = time.monotonic()
        with pytest.raises(LinkTimeout, match="nothing came back"):
            link.exchange(b"?\n", line)
        assert time.monotonic() - began < 10 * 0.3
        assert len(served.asked) == 2  # asked once more before giving up


def test_a_box_that_hangs_is_asked_again_for_as_long_as_any_time_is_left() -> None:
    """A computer too busy to look for so long leaves none, so that it may take some trials to see it."""
    with box(lambda to, data: None) as served, linked(served.url, reconnect_s=0.0, timeout_s=0.2) as link:
        for nth in range(20):
            with pytest.raises(LinkTimeout):
                link.exchange(b"%d\n" % nth, line)
            if served.asked.count(b"%d\n" % nth) == 2:
                break
        assert served.asked.count(b"%d\n" % nth) == 2


def test_a_box_that_babbles_without_end_is_cut_off() -> None:
    def babble(to: socket.socket, data: bytes) -> None:
        while True:
            to.sendall(b"x" * 4096)

    lengths = []

    def never(received: bytes) -> None:
        lengths.append(len(received))

    with box(babble) as served, linked(served.url, retries=0) as link, pytest.raises(LinkTimeout):
        link.exchange(b"?\n", never)
    assert max(lengths) < 256 * 1024 + 128 * 1024  # whatever came with the last look


def test_a_late_reply_is_never_taken_for_the_next_one() -> None:
    late = threading.Event()

    def first_is_late(to: socket.socket, data: bytes) -> None:
        if data == b"first\n":
            late.wait(5.0)
        to.sendall(b"reply to " + data)

    with box(first_is_late) as served, linked(served.url, retries=0) as link:
        with pytest.raises(LinkTimeout):
            link.exchange(b"first\n", line)
        late.set()
        assert link.exchange(b"second\n", line) == b"reply to second\n"


def test_a_doubled_reply_is_never_taken_for_the_next_one() -> None:
    doubled = threading.Event()

    def twice(to: socket.socket, data: bytes) -> None:
        to.sendall(b"reply to " + data)
        to.sendall(b"reply to " + data)
        doubled.set()

    with box(twice) as served, linked(served.url) as link:
        assert link.exchange(b"first\n", lambda got: b"first" if b"first\n" in got else None) == b"first"
        assert doubled.wait(5.0)
        assert link.exchange(b"second\n", lambda got: got if got.startswith(b"reply to second\n") else None)


def test_a_connection_that_breaks_is_made_again_and_greeted() -> None:
    def hang_up_once(to: socket.socket, data: bytes) -> None:
        if data == b"?\n" and served.connections == 1:
            to.shutdown(socket.SHUT_RDWR)
        else:
            to.sendall(data)

    with box(hang_up_once) as served, linked(served.url) as link:
        link.on_connect(lambda: link.send(b"hello\n"))
        assert link.exchange(b"?\n", lambda got: got if b"?\n" in got else None)
        assert served.connections == 2
        assert b"".join(served.asked) == b"?\nhello\n?\n"


def test_a_box_that_is_away_for_a_moment_is_waited_for() -> None:
    with box(lambda to, data: to.sendall(data)) as served, linked(served.url, reconnect_s=10.0) as link:
        assert link.exchange(b"1\n", line) == b"1\n"
        port = served.port
        served.server.shutdown()
        served.server.server_close()
        link.close()
        began = threading.Event()

        def come_back() -> None:
            began.wait(5.0)
            with socket.create_server(("127.0.0.1", port)) as listener:
                connection, _ = listener.accept()
                with connection:
                    connection.sendall(connection.recv(100))
                    connection.recv(100)  # until the link closes

        thread = threading.Thread(target=come_back)
        thread.start()
        threading.Timer(0.2, began.set).start()
        assert link.exchange(b"2\n", line) == b"2\n"
        link.close()
        thread.join(5.0)
        assert not thread.is_alive()


def test_nobody_at_home_is_told_at_once_when_first_opened() -> None:
    with socket.create_server(("127.0.0.1", 0)) as listener:
        port = listener.getsockname()[1]
    with pytest.raises(LinkLost, match=str(port)):
        open_link(LinkOptions(link=f"tcp://127.0.0.1:{port}"), "box", anything)


@pytest.fixture
def terminal() -> Iterator[tuple[int, str]]:
    master, slave = pty.openpty()
    tty.setraw(slave)
    name = os.ttyname(slave)
    os.close(slave)
    yield master, name
    os.close(master)


def test_a_serial_line_carries_a_conversation(terminal: tuple[int, str]) -> None:
    master, name = terminal

    def echo() -> None:
        os.write(master, os.read(master, 100))

    with linked(name) as link:
        thread = threading.Thread(target=echo)
        thread.start()
        assert link.exchange(b"FA;\n", line) == b"FA;\n"
        thread.join(5.0)


def test_a_serial_port_is_held_by_one_program_only(terminal: tuple[int, str]) -> None:
    _, name = terminal
    options = LinkOptions(link=name)
    with linked(name), pytest.raises(InUse, match="another program"):
        Link(options, "second program").connect(options)


def test_drivers_of_one_program_share_the_port(terminal: tuple[int, str]) -> None:
    master, name = terminal
    with linked(name) as receiver, linked(name) as switch:  # the second would not get a port held exclusively
        receiver.send(b"one ")
        switch.send(b"two")
        arrived = b""
        while len(arrived) < len(b"one two"):  # a terminal hands over what has come so far
            arrived += os.read(master, 100)
        assert arrived == b"one two"


def test_an_instrument_of_another_kind_does_not_get_the_receivers_port(terminal: tuple[int, str]) -> None:
    master, name = terminal
    with linked(name) as receiver:
        with pytest.raises(Refused, match="link of its own"):
            open_link(LinkOptions(link=name), "relay board", anything_else)
        receiver.send(b"mine")
        assert os.read(master, 100) == b"mine"


def test_what_the_gate_refuses_does_not_reach_the_wire(terminal: tuple[int, str]) -> None:
    master, name = terminal

    def only_a(request: bytes) -> None:
        if request != b"a":
            raise Refused("box", "not that.")

    link = open_link(LinkOptions(link=name), "box", only_a)
    with pytest.raises(Refused):
        link.send(b"b")
    with pytest.raises(Refused):
        link.exchange(b"c", line)
    link.send(b"a")
    assert os.read(master, 100) == b"a"
    link.close()


def test_noise_on_a_serial_line_is_waited_out(terminal: tuple[int, str]) -> None:
    master, name = terminal
    answers = [b"bad\xff\xfe" * 20, b"good\n"]

    def answer() -> None:
        for each in answers:
            os.read(master, 100)
            os.write(master, each)

    with linked(name) as link:
        thread = threading.Thread(target=answer)
        thread.start()
        assert link.exchange(b"?\n", line) == b"good\n"
        thread.join(5.0)


def test_a_pulled_adapter_that_comes_back_is_found_again(tmp_path: Path) -> None:
    """What a USB adapter does: the device vanishes under the open port, and the same name comes back."""
    device = tmp_path / "ttyUSB0"
    masters: list[int] = []

    def plug_in() -> None:
        master, slave = pty.openpty()
        tty.setraw(slave)
        device.unlink(missing_ok=True)
        device.symlink_to(os.ttyname(slave))
        os.close(slave)
        masters.append(master)

    def answer(master: int) -> None:
        while True:
            try:
                os.write(master, os.read(master, 100))
                return
            except OSError as fault:
                if fault.errno != errno.EIO:  # EIO: nobody has opened the other side yet
                    raise
                time.sleep(0.005)

    plug_in()
    with linked(str(device), reconnect_s=10.0) as link:
        os.close(masters[0])
        device.unlink()
        timer = threading.Timer(0.3, lambda: (plug_in(), answer(masters[1])))
        timer.start()
        assert link.exchange(b"?\n", line) == b"?\n"
        timer.join(5.0)
    os.close(masters[1])


@pytest.mark.filterwarnings("ignore:set(Daemon|Name):DeprecationWarning")  # pyserial 3.5's own
def test_rts_and_dtr_are_low_from_the_moment_a_port_opens() -> None:
    """Over RFC 2217, where the lines are commands on the wire: DTR on (8) and RTS on (11) are never sent."""
    said = bytearray()
    device = serial.serial_for_url("loop://", timeout=0.05)

    class Connection:
        def __init__(self, to: socket.socket) -> None:
            self.to = to

        def write(self, data: bytes) -> None:
            self.to.sendall(data)

    listener = socket.create_server(("127.0.0.1", 0))

    def serve() -> None:
        to, _ = listener.accept()
        with to:
            manager = serial.rfc2217.PortManager(device, Connection(to))
            while data := to.recv(1024):
                said.extend(data)
                device.write(b"".join(manager.filter(data)))
                to.sendall(b"".join(manager.escape(device.read(device.in_waiting))))

    thread = threading.Thread(target=serve)
    thread.start()
    with linked(f"rfc2217://127.0.0.1:{listener.getsockname()[1]}", timeout_s=3.0) as link:
        assert link.exchange(b"FA;\n", line) == b"FA;\n"
        assert (device.rts, device.dtr) == (False, False)
    thread.join(5.0)
    listener.close()
    control = b"\xff\xfa\x2c\x05"  # IAC SB COM-PORT-OPTION SET-CONTROL, RFC 2217
    assert control + b"\x09" in said  # DTR off
    assert control + b"\x0c" in said  # RTS off
    assert control + b"\x08" not in said
    assert control + b"\x0b" not in said


@pytest.mark.parametrize(
    "link",
    [
        "tcp://", "tcp://host", "tcp://host:port", "COM3", "127.0.0.1:4532", "spy:///dev/null?file=/etc/hosts",
        "loop://", "socket://host:1", "hwgrep://usb", "alt:///dev/ttyS0?class=PosixPollSerial", "tcp:host:1",
        "rfc2217://host", "rfc2217://host:1?logging=debug", "tcp://host:1/x", "tcp://a@host:1", "tcp://ho st:1",
        "tcp://host:1\n", "/dev/tty\x00", "", "file:///etc/passwd", "dev/ttyUSB0",
    ],
)  # fmt: skip
def test_a_link_that_cannot_be_is_told_with_its_mend(link: str) -> None:
    with pytest.raises(ValidationError, match=r"write (tcp|rfc2217)://host:port|tcp://host:port, nor"):
        LinkOptions(link=link)


class Slow:
    """A clock that runs at a twentieth of its speed, so that a busy machine is no silence on the line."""

    def monotonic(self) -> float:
        return time.monotonic() / 20

    def sleep(self, seconds: float) -> None:
        time.sleep(20 * seconds)


def test_the_tail_of_garbage_is_waited_out_before_the_question_is_asked_again(
    terminal: tuple[int, str],
) -> None:
    """The tail comes after the first look and well before the line has been quiet: none of it may be an answer."""
    master, name = terminal
    asked: list[bytes] = []

    def answer() -> None:
        asked.append(os.read(master, 100))
        os.write(master, b"bad")
        for _ in range(20):
            time.sleep(QUIET_S / 10)
            os.write(master, b"late\n")
        asked.append(os.read(master, 100))
        os.write(master, b"good\n")

    with bounded(clock=Slow()), linked(name, timeout_s=5.0) as link:
        thread = threading.Thread(target=answer)
        thread.start()
        assert link.exchange(b"?\n", line) == b"good\n"
        thread.join(5.0)
    assert asked == [b"?\n", b"?\n"]


def test_bytes_that_drip_do_not_extend_the_deadline() -> None:
    def drip(to: socket.socket, data: bytes) -> None:
        while True:
            to.sendall(b"x")
            time.sleep(0.05)

    with box(drip) as served, linked(served.url, timeout_s=0.5, retries=0) as link:
        began = time.monotonic()
        with pytest.raises(LinkTimeout, match="only b'x"):
            link.exchange(b"?\n", line)
        assert time.monotonic() - began < 5.0


def test_a_lost_link_is_waited_for_as_long_as_said_whatever_one_answer_may_take() -> None:
    """`timeout_s` is far longer than `reconnect_s`: a box that takes connections and greets nobody."""

    def answer_once(to: socket.socket, data: bytes) -> None:
        if served.connections == 1 and data == b"1\n":
            to.sendall(data)
        elif served.connections == 1:
            to.shutdown(socket.SHUT_RDWR)

    with box(answer_once) as served, linked(served.url, timeout_s=60.0, reconnect_s=1.0) as link:
        assert link.exchange(b"1\n", line) == b"1\n"
        link.on_connect(lambda: link.exchange(b"hello\n", line))
        began = time.monotonic()
        with pytest.raises((LinkLost, LinkTimeout)):
            link.exchange(b"2\n", line)
        assert time.monotonic() - began < 15.0


def test_a_link_that_did_not_come_back_is_not_waited_for_twice() -> None:
    with box(lambda to, data: to.sendall(data)) as served:
        link = open_link(LinkOptions(link=served.url, reconnect_s=300.0, timeout_s=30.0), "box", anything)
        assert link.exchange(b"1\n", line) == b"1\n"
    link.close()
    clock = Impatient()
    with bounded(clock=clock):
        with pytest.raises(LinkLost):
            link.exchange(b"2\n", line)
        assert 299.0 < clock.now_s < 302.0
        with pytest.raises(LinkLost):
            link.exchange(b"3\n", line)
        assert clock.now_s < 302.0


def test_who_opens_a_closed_link_decides_how_long_it_is_waited_for() -> None:
    """A link that was closed lives on while anything refers to it; its address may be another box's by then."""
    with box(lambda to, data: to.sendall(data)) as served:
        earlier = open_link(LinkOptions(link=served.url, reconnect_s=300.0, timeout_s=30.0), "box", anything)
        assert earlier.exchange(b"1\n", line) == b"1\n"
        earlier.close()
        later = open_link(LinkOptions(link=served.url, reconnect_s=2.0, timeout_s=1.0), "box", anything)
    later.close()
    clock = Impatient()
    with bounded(clock=clock):
        with pytest.raises(LinkLost):
            later.exchange(b"2\n", line)
        assert clock.now_s < 4.0


def test_a_closed_link_that_is_opened_anew_is_not_waited_for() -> None:
    """It worked once, but whoever opens it now may have mistyped the address: that is told at once."""
    with box(lambda to, data: to.sendall(data)) as served:
        earlier = open_link(LinkOptions(link=served.url, reconnect_s=300.0), "box", anything)
        assert earlier.exchange(b"1\n", line) == b"1\n"
        earlier.close()
    clock = Impatient()
    with bounded(clock=clock), pytest.raises(LinkLost):
        open_link(LinkOptions(link=served.url, reconnect_s=300.0, timeout_s=1.0), "box", anything)
    assert clock.now_s < 4.0


class Impatient:
    """A clock that jumps ahead when somebody sleeps."""

    now_s = 0.0

    def monotonic(self) -> float:
        return self.now_s

    def sleep(self, seconds: float) -> None:
        self.now_s += seconds


def test_a_box_that_hangs_up_on_each_greeting_is_not_greeted_without_end() -> None:
    """The greeting swallows faults, as settings that cannot be read back do."""

    def hang_up(to: socket.socket, data: bytes) -> None:
        if data == b"1\n":
            to.sendall(data)
        else:
            to.sendall(b"bad\n")

    def greet() -> None:
        for _ in range(20):
            with contextlib.suppress(BadReply):
                link.exchange(b"hello\n", line)

    with box(hang_up) as served, linked(served.url, reconnect_s=0.5) as link:
        assert link.exchange(b"1\n", line) == b"1\n"
        link.on_connect(greet)
        with pytest.raises((LinkLost, LinkTimeout, BadReply)):
            link.exchange(b"2\n", line)
        assert served.connections < 20


@pytest.mark.parametrize("moment", ["answer", "greeting", "connecting", "sending"])
def test_a_stop_order_is_obeyed_in_every_wait(moment: str) -> None:
    """Every wait could last minutes by its own deadline."""
    stop = threading.Event()
    keys = {"timeout_s": 60.0, "reconnect_s": 300.0, "retries": 10}

    def answer(to: socket.socket, data: bytes) -> None:
        if data == b"1\n":
            to.sendall(data)
        elif moment == "greeting" and served.connections == 1:
            to.shutdown(socket.SHUT_RDWR)
        elif moment == "sending":
            stop.wait(60.0)
        if served.connections > 1 or moment != "greeting":
            stopping()

    def stopping() -> None:
        threading.Timer(0.2, stop.set).start()

    with box(answer) as served, linked(served.url, **keys) as link:
        assert link.exchange(b"1\n", line) == b"1\n"
        stop.clear()
        request = b"2\n"
        if moment == "greeting":
            link.on_connect(lambda: link.exchange(b"hello\n", line))
        elif moment == "connecting":
            link.close()
            served.server.shutdown()
            served.server.server_close()
            stopping()
        elif moment == "sending":
            request = b"x" * (64 << 20)
            stopping()
        began = time.monotonic()
        with bounded(stop=stop), pytest.raises(CalledOff):
            link.exchange(request, line)
        assert time.monotonic() - began < 20.0


def test_a_stop_order_is_obeyed_while_a_serial_line_takes_nothing(terminal: tuple[int, str]) -> None:
    _, name = terminal
    stop = threading.Event()
    with linked(name, timeout_s=60.0) as link, bounded(stop=stop):
        threading.Timer(0.2, stop.set).start()
        began = time.monotonic()
        with pytest.raises(CalledOff):
            link.send(b"x" * (1 << 20))
        assert time.monotonic() - began < 20.0


def test_a_host_whose_name_nobody_tells_is_given_up_in_time(monkeypatch: pytest.MonkeyPatch) -> None:
    told = threading.Event()
    monkeypatch.setattr(socket, "getaddrinfo", lambda *_, **__: told.wait(60.0) and [])
    began = time.monotonic()
    with pytest.raises(LinkLost, match=r"relays\.example"):
        open_link(LinkOptions(link="tcp://relays.example:5020", timeout_s=0.2), "box", anything)
    told.set()
    assert time.monotonic() - began < 20.0


FAULTS = st.sampled_from(["none", "none", "drop", "split", "bad", "truncate", "hang up", "late"])


@pytest.mark.slow
@settings(max_examples=25, suppress_health_check=[HealthCheck.too_slow])
@given(st.lists(FAULTS, min_size=1, max_size=12))
def test_whatever_the_wire_does_a_reply_belongs_to_its_request(faults: list[str]) -> None:
    left = list(faults)
    late: list[threading.Timer] = []

    def answer(to: socket.socket, data: bytes) -> None:
        fault = left.pop(0) if left else "none"
        reply = b"reply to " + data
        if fault == "bad":
            to.sendall(b"bad" + reply)
        elif fault == "truncate":
            to.sendall(reply[:5])
        elif fault == "hang up":
            to.shutdown(socket.SHUT_RDWR)
        elif fault == "split":
            to.sendall(reply[:5])
            to.sendall(reply[5:])
        elif fault == "late":
            late.append(threading.Timer(0.06, send, (to, reply)))
            late[-1].start()
        elif fault == "none":
            to.sendall(reply)

    def send(to: socket.socket, reply: bytes) -> None:
        with contextlib.suppress(OSError):  # the link hung up meanwhile
            to.sendall(reply)

    with box(answer) as served, linked(served.url, timeout_s=0.04, reconnect_s=1.0) as link:
        for nth in range(len(faults) + 1):
            request = b"%d\n" % nth
            with contextlib.suppress(LinkTimeout, LinkLost, BadReply):
                assert link.exchange(request, line) == b"reply to " + request
        for timer in late:
            timer.join(5.0)


def test_a_link_that_its_own_greeting_closes_is_told_lost() -> None:
    with box(lambda to, data: to.sendall(data)) as served, linked(served.url, reconnect_s=0.2) as link:
        link.on_connect(link.close)
        link.close()
        with pytest.raises(LinkLost, match="lost again while it was greeted"):
            link.exchange(b"1\n", line)


def test_a_request_without_a_reply_that_does_not_get_through_is_told() -> None:
    """Each connection is reset after its first bytes: sooner or later a request meets a link that is gone."""

    def reset(to: socket.socket, data: bytes) -> None:
        to.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
        to.close()

    with box(reset) as served, linked(served.url, reconnect_s=5.0) as link:
        end = time.monotonic() + 60.0
        with pytest.raises(LinkLost):
            while time.monotonic() < end:
                link.send(b"set\n")
                time.sleep(0.01)
        connections = served.connections
        link.send(b"set\n")  # and the next one has a connection of its own
        while served.connections == connections and time.monotonic() < end:
            time.sleep(0.01)
        assert served.connections == connections + 1
