"""A relay on RTS or DTR, over a real remote-port server (RFC 2217): pseudo-terminals have no control lines."""

import contextlib
import os
import select
import socket
import threading
import tty
from collections.abc import Callable, Iterator

import pytest
import serial
from pydantic import ValidationError
from serial.rfc2217 import PortManager

from drivers.errors import CalledOff, InUse, LinkLost
from drivers.switches.line import DRIVER, LineOptions
from drivers.waiting import StopOrder, bounded
from tests.drivers.switches.conftest import DEADLINE_S

# pyserial 3.5 still calls Thread.setDaemon and setName
pytestmark = pytest.mark.filterwarnings("ignore:set(Daemon|Name)")

PATHS = {"antenna-bypass": {"rts": "off"}, "antenna-stage": {"rts": "on"}}
BOTH = {
    "antenna-bypass": {"rts": "off", "dtr": "off"},
    "antenna-stage": {"rts": "on", "dtr": "off"},
    "load-bypass": {"rts": "off", "dtr": "on"},
}


class RemotePort:
    """pyserial's own RFC 2217 server in front of a looped-back port; keeps every level that was set.

    `mute`: it takes connections and bytes, and answers none. `at`: what happens when the nth level is set.
    """

    def __init__(self) -> None:
        self.mute, self.gone = False, False
        self.at: dict[int, Callable[[], None]] = {}
        self.connection: socket.socket | None = None
        self.listener = socket.create_server(("127.0.0.1", 0))
        self.link = f"rfc2217://127.0.0.1:{self.listener.getsockname()[1]}"
        self.levels: list[tuple[str, bool]] = []
        self.stop = threading.Event()
        self.thread = threading.Thread(target=self._serve, daemon=True)
        self.thread.start()

    def _serve(self) -> None:
        self.listener.settimeout(0.05)
        while not self.stop.is_set():
            try:
                connection, _ = self.listener.accept()
            except TimeoutError:
                continue
            with connection, contextlib.suppress(OSError):
                if not self.gone:
                    self.connection = connection
                    self._port(connection)
            self.connection = None

    def _port(self, connection: socket.socket) -> None:
        port = serial.serial_for_url("loop://", timeout=0)
        remote = self

        class Watched(type(port)):
            def _update_rts_state(self) -> None:
                remote.note("rts", self._rts_state)
                super()._update_rts_state()

            def _update_dtr_state(self) -> None:
                remote.note("dtr", self._dtr_state)
                super()._update_dtr_state()

        port.__class__ = Watched
        writer = type(
            "Writer", (), {"write": staticmethod(lambda data: self.mute or connection.sendall(data))}
        )()
        manager = PortManager(port, writer)
        while not self.stop.is_set():
            if not select.select([connection], [], [], 0.05)[0]:
                continue
            data = connection.recv(1024)
            if not data:
                break
            if not self.mute:
                port.write(b"".join(manager.filter(data)))
        port.close()

    def note(self, line: str, level: bool) -> None:
        """A level that was set."""
        self.levels.append((line, level))
        self.at.pop(len(self.levels), lambda: None)()

    def is_high(self, line: str) -> bool:
        """Lines fall with the port's closing."""
        return self.connection is not None and dict(self.levels).get(line, False)

    def hang_up(self) -> None:
        if self.connection is not None:
            self.connection.shutdown(socket.SHUT_RDWR)

    def close(self) -> None:
        self.stop.set()
        self.thread.join(DEADLINE_S)
        self.listener.close()


@pytest.fixture
def remote() -> Iterator[RemotePort]:
    port = RemotePort()
    yield port
    port.close()


def opened(link: str, paths=PATHS):
    return DRIVER.open(LineOptions.model_validate({"link": link, "paths": paths}))


def test_a_line_is_raised_and_lowered(remote):
    switch = opened(remote.link)
    assert switch.selected() == "antenna-bypass"
    assert switch.select("antenna-stage") == 1
    assert switch.selected() == "antenna-stage"
    assert switch.select("antenna-stage") == 0
    assert switch.select("antenna-bypass") == 1
    switch.close()
    assert [level for line, level in remote.levels if line == "rts"][-2:] == [True, False]


def test_opening_the_port_raises_no_line(remote):
    switch = opened(remote.link)
    assert remote.levels
    assert not any(level for _, level in remote.levels)
    switch.close()


def test_two_relays_on_one_port_let_go_before_they_pull_in(remote):
    switch = opened(remote.link, BOTH)
    switch.select("load-bypass")
    remote.levels.clear()
    assert switch.select("antenna-stage") == 2
    switch.close()
    assert remote.levels == [("dtr", False), ("rts", True)]


@pytest.mark.slow
def test_a_server_of_ports_that_says_nothing_is_told(remote):
    remote.mute = True
    with pytest.raises(LinkLost, match="does not open"):
        opened(remote.link)


@pytest.mark.parametrize("moment", ["opening", "setting"])
def test_a_stop_order_ends_the_wait_for_a_server_that_hangs(remote, moment):
    """pyserial waits three seconds for each answer, and knows no stop order."""
    stop = StopOrder()
    switch = None if moment == "opening" else opened(remote.link)
    remote.mute = True
    with bounded(stop=stop):
        stop.set()
        with pytest.raises(CalledOff):
            opened(remote.link) if switch is None else switch.select("antenna-stage")
    if switch is not None:
        switch.close()


def test_a_port_without_control_lines_is_told():
    master, slave = os.openpty()
    tty.setraw(slave)
    with pytest.raises(LinkLost, match="control lines cannot be read"):
        opened(os.ttyname(slave))
    os.close(master)
    os.close(slave)


def test_a_port_that_a_receiver_stands_on_is_never_shared():
    master, slave = os.openpty()
    tty.setraw(slave)
    name = os.ttyname(slave)
    with serial.Serial(name, exclusive=True), pytest.raises(InUse, match="a port of its own"):
        opened(name)
    os.close(master)
    os.close(slave)


def test_a_port_that_is_not_there_is_told():
    with pytest.raises(LinkLost, match="plugged in"):
        opened("/dev/no-such-port")


@pytest.mark.parametrize(
    ("wrong", "says"),
    [
        (
            {"paths": {"antenna-bypass": {"rts": "on"}, "antenna-stage": {"rts": "off"}}},
            "fall when the program ends",
        ),
        ({"paths": {"antenna-bypass": {"cts": "off"}, "antenna-stage": {"cts": "on"}}}, "rts and dtr"),
        ({"link": "tcp://127.0.0.1:1"}, "no control lines"),
    ],
)
def test_a_mistake_in_the_section_is_found_before_anything_opens(wrong, says):
    with pytest.raises(ValidationError, match=says):
        LineOptions.model_validate({"link": "/dev/ttyUSB0", "paths": PATHS} | wrong)
