"""One line a pass, with fields for the journal; quiet otherwise."""

import logging
import socket
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from sweeper.daemon.service.journal import Log
from sweeper.words import PassRecord

AT = datetime(2026, 11, 1, 16, 10, tzinfo=UTC)
DONE = PassRecord(7, AT, AT + timedelta(seconds=62.5), "done", "", 4)
FAILED = PassRecord(8, AT, AT, "failed", "receiver: it does not answer.\nCheck the cable.", 2, ("relays",))


@pytest.fixture
def journal(tmp_path: Path) -> Iterator[socket.socket]:
    listening = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
    listening.bind(str(tmp_path / "journal"))
    listening.setblocking(False)
    yield listening
    listening.close()


def heard(journal: socket.socket) -> list[dict[str, str]]:
    entries = []
    while True:
        try:
            datagram = journal.recv(65536).decode()
        except BlockingIOError:
            return entries
        assert datagram.endswith("\n")
        entries.append(dict(line.split("=", 1) for line in datagram.splitlines()))


def test_a_pass_is_one_entry_with_its_fields(journal: socket.socket) -> None:
    log = Log("Saltmarsh", journal.getsockname())
    log.finished(DONE, ())
    (entry,) = heard(journal)
    assert entry == {
        "MESSAGE": "pass 7 done (0 readings in 62 s)",
        "PRIORITY": "6",
        "SYSLOG_IDENTIFIER": "sweeper",
        "SWEEPER_STATION": "Saltmarsh",
        "SWEEPER_PASS": "7",
        "SWEEPER_OUTCOME": "done",
        "SWEEPER_READINGS": "0",
        "SWEEPER_RELAY_OPERATIONS": "4",
        "SWEEPER_SECONDS": "62.500",
    }
    log.close()


def test_a_failed_pass_is_a_warning_that_says_why_and_what_is_left(journal: socket.socket) -> None:
    log = Log("Saltmarsh", journal.getsockname())
    log.finished(FAILED, ())
    (entry,) = heard(journal)
    assert entry["PRIORITY"] == "4"
    assert "it does not answer. Check the cable." in entry["MESSAGE"]
    assert "not restored: relays" in entry["MESSAGE"]
    log.close()


def test_waiting_and_measuring_are_the_rule_and_need_no_word(journal: socket.socket) -> None:
    log = Log("Saltmarsh", journal.getsockname())
    for _ in range(100):
        log.doing("waiting", "", AT)
        log.doing("measuring", "", None)
    assert heard(journal) == []
    log.close()


def test_giving_way_and_trouble_are_said_once_however_long_they_last(journal: socket.socket) -> None:
    log = Log("Saltmarsh", journal.getsockname())
    for left_s in (300, 285, 270):
        log.doing("yielding", f"measuring goes on after {left_s} s of quiet", None)
        log.trouble("The disk is full.")
    assert [entry["PRIORITY"] for entry in heard(journal)] == ["6", "3"]
    log.close()


def test_elsewhere_it_is_one_line_on_standard_error(capsys: pytest.CaptureFixture[str]) -> None:
    log = Log("Saltmarsh")
    log.finished(FAILED, ())
    said = capsys.readouterr()
    assert said.out == "" and said.err.count("\n") == 1 and said.err.startswith("pass 8 failed: receiver:")
    log.close()


def test_a_journal_that_is_gone_stops_nothing(tmp_path: Path) -> None:
    log = Log("Saltmarsh", str(tmp_path / "nobody"))
    log.finished(DONE, ())
    log.close()


def test_what_a_driver_says_at_every_opening_is_written_once(journal: socket.socket) -> None:
    log = Log("Saltmarsh", journal.getsockname())
    hears = log.hears()
    logger = logging.getLogger("drivers.somebody")
    logger.addHandler(hears)
    for _ in range(50):
        logger.warning("RTS stays high on %s", "/dev/ttyUSB0")
    logger.error("another matter")
    logger.removeHandler(hears)
    assert [(entry["PRIORITY"], entry["MESSAGE"]) for entry in heard(journal)] == [
        ("4", "RTS stays high on /dev/ttyUSB0"),
        ("3", "another matter"),
    ]
    log.close()
