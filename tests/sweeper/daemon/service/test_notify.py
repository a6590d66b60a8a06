"""What the service manager hears, byte by byte, as sd_notify(3) writes it."""

import os
import socket
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest

from sweeper.daemon.service.notify import Notifier
from tests.sweeper.engine.bench import a_clock


class Manager:
    """A stand-in for the service manager's end of the socket."""

    def __init__(self, address: str) -> None:
        self.socket = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
        self.socket.bind("\0" + address[1:] if address.startswith("@") else address)
        self.socket.setblocking(False)

    def heard(self) -> list[bytes]:
        datagrams = []
        while True:
            try:
                datagrams.append(self.socket.recv(4096))
            except BlockingIOError:
                return datagrams


@pytest.fixture(params=["in the file system", "abstract"])
def manager(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[tuple[str, Manager]]:
    address = str(tmp_path / "notify") if request.param != "abstract" else f"@sweeper-test-{os.getpid()}"
    listening = Manager(address)
    yield address, listening
    listening.socket.close()


def test_the_whole_conversation(manager: tuple[str, Manager]) -> None:
    address, listening = manager
    notifier = Notifier({"NOTIFY_SOCKET": address})
    notifier.doing("starting", "the relays go to rest", None)
    assert listening.heard() == [b"STATUS=starting: the relays go to rest"]
    at = datetime(2026, 11, 1, 16, 10, tzinfo=UTC)
    notifier.doing("waiting", "", at)
    assert listening.heard() == [b"READY=1\nSTATUS=waiting; next pass at 01 November 16:10 UTC"]
    notifier.doing("measuring", "", None)
    notifier.doing("measuring", "", None)
    assert listening.heard() == [b"STATUS=measuring"]
    notifier.doing("stopping", "", None)
    assert listening.heard() == [b"STOPPING=1\nSTATUS=stopping"]
    notifier.close()


def test_a_sentence_with_line_breaks_cannot_smuggle_in_another_assignment(
    manager: tuple[str, Manager],
) -> None:
    address, listening = manager
    notifier = Notifier({"NOTIFY_SOCKET": address})
    notifier.doing("yielding", "somebody said\nMAINPID=1", None)
    assert listening.heard() == [b"READY=1\nSTATUS=yielding: somebody said MAINPID=1"]
    notifier.close()


def test_the_watchdog_is_fed_by_progress_alone(manager: tuple[str, Manager]) -> None:
    address, listening = manager
    environment = {"NOTIFY_SOCKET": address, "WATCHDOG_USEC": "8", "WATCHDOG_PID": str(os.getpid())}
    notifier = Notifier(environment)
    notifier.doing("measuring", "", None)
    assert listening.heard() == [b"READY=1\nSTATUS=measuring"]
    notifier.alive()
    assert listening.heard() == [b"WATCHDOG=1"]
    assert environment == {}  # not for children to see
    notifier.close()


def test_signs_of_life_are_not_sent_more_often_than_an_eighth_of_the_patience(
    manager: tuple[str, Manager],
) -> None:
    address, listening = manager
    clock = a_clock()
    notifier = Notifier({"NOTIFY_SOCKET": address, "WATCHDOG_USEC": "180000000"}, clock=clock)
    for passed_s, heard in ((0.0, 1), (0.0, 0), (22.4, 0), (0.1, 1), (22.4, 0), (100.0, 1)):
        clock.sleep(passed_s)
        notifier.alive()
        assert listening.heard() == [b"WATCHDOG=1"] * heard
    notifier.close()


def test_a_station_whose_visits_are_longer_than_the_patience_asks_for_more(
    manager: tuple[str, Manager],
) -> None:
    address, listening = manager
    notifier = Notifier({"NOTIFY_SOCKET": address, "WATCHDOG_USEC": "180000000"}, longest_visit_s=600)
    assert listening.heard() == [b"WATCHDOG_USEC=1200000000"]
    notifier.close()


def test_a_watchdog_meant_for_another_process_is_not_ours(manager: tuple[str, Manager]) -> None:
    address, listening = manager
    notifier = Notifier({"NOTIFY_SOCKET": address, "WATCHDOG_USEC": "8", "WATCHDOG_PID": "1"})
    notifier.alive()
    assert listening.heard() == []
    notifier.close()


@pytest.mark.parametrize("address", ["", "relative", "vsock:2:1234"])
def test_without_a_manager_nothing_is_sent_and_nothing_fails(address: str) -> None:
    notifier = Notifier({"NOTIFY_SOCKET": address, "WATCHDOG_USEC": "8"})
    notifier.alive()
    notifier.doing("waiting", "", None)
    notifier.close()


def test_a_manager_that_has_gone_stops_nothing(tmp_path: Path) -> None:
    address = str(tmp_path / "notify")
    listening = Manager(address)
    notifier = Notifier({"NOTIFY_SOCKET": address, "WATCHDOG_USEC": "8"})
    listening.socket.close()
    notifier.alive()
    notifier.doing("waiting", "", None)
    notifier.close()
