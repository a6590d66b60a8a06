"""The log of a run: one line a pass, and whatever a person should know; nothing else.

Under systemd each line goes to the journal with its fields (native journal protocol: ``KEY=value`` lines in one
datagram), so that ``journalctl SWEEPER_OUTCOME=failed`` works; elsewhere it is one line on standard error.
"""

import contextlib
import logging
import os
import socket
import sys
from collections.abc import Callable, Mapping, Sequence
from datetime import datetime

from sweeper.daemon.run.observers import Observer
from sweeper.daemon.run.states import Doing
from sweeper.printable import printable
from sweeper.words import Hand, PassRecord, Reading

JOURNAL = "/run/systemd/journal/socket"

ERROR, WARNING, INFO = 3, 4, 6
"""Priorities of syslog (RFC 5424, table 2)."""


class Log(Observer):
    """Writes the log of one station."""

    def __init__(self, station: str, journal: str | None = None) -> None:
        self._station = station
        self._journal = journal if journal is not None or not _stderr_is_journal() else JOURNAL
        self._socket: socket.socket | None = None
        if self._journal is not None:
            self._socket = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM | socket.SOCK_CLOEXEC)
            self._socket.setblocking(False)
        self._last_trouble = ""
        self._last_doing: tuple[Doing, str] | None = None

    def finished(self, record: PassRecord, readings: Sequence[Reading]) -> None:
        seconds = (record.ended - record.started).total_seconds()
        reason = f": {record.because}" if record.because else ""
        left = f"; not restored: {', '.join(record.left_over)}" if record.left_over else ""
        self._last_trouble = ""
        self._write(
            INFO if record.outcome != "failed" and not record.left_over else WARNING,
            f"pass {record.number} {record.outcome}{reason}{left} ({len(readings)} readings in {seconds:.0f} s)",
            {
                "SWEEPER_PASS": str(record.number),
                "SWEEPER_OUTCOME": record.outcome,
                "SWEEPER_READINGS": str(len(readings)),
                "SWEEPER_RELAY_OPERATIONS": str(record.relay_operations),
                "SWEEPER_SECONDS": f"{seconds:.3f}",
            },
        )

    def doing(self, doing: Doing, because: str, next_pass: datetime | None) -> None:
        # Waiting and measuring are the rule and need no line; giving way and pausing are told once each.
        news = (doing, because if doing != "yielding" else "")
        if doing in ("paused", "yielding") and news != self._last_doing:
            self._write(INFO, f"{doing}: {because}", {})
        if doing != "measuring":
            self._last_doing = news

    def trouble(self, sentence: str, hand: Hand = "") -> None:
        if sentence != self._last_trouble:
            self._last_trouble = sentence
            self._write(ERROR, sentence, {})

    def hears(self) -> logging.Handler:
        """A handler for the warnings of drivers and libraries: each distinct one is written once in a run.

        The rig is opened anew for each pass, and what a driver has to say about that it says every time.
        """
        return _Once(self._write)

    def close(self) -> None:
        if self._socket is not None:
            self._socket.close()
            self._socket = None

    def _write(self, priority: int, sentence: str, fields: Mapping[str, str]) -> None:
        text = printable(" ".join(sentence.split()))
        if self._socket is None or self._journal is None:
            sys.stderr.write(f"{text}\n")
            sys.stderr.flush()
            return
        entry = {
            "MESSAGE": text,
            "PRIORITY": str(priority),
            "SYSLOG_IDENTIFIER": "sweeper",
            "SWEEPER_STATION": self._station,
            **fields,
        }
        datagram = "".join(f"{key}={' '.join(value.split())}\n" for key, value in entry.items())
        with contextlib.suppress(OSError):  # A full journal must not stop the measuring.
            self._socket.sendto(datagram.encode(), self._journal)


class _Once(logging.Handler):
    def __init__(self, write: Callable[[int, str, Mapping[str, str]], None]) -> None:
        super().__init__(logging.WARNING)
        self._write = write
        self._written: set[str] = set()

    def emit(self, record: logging.LogRecord) -> None:
        text = self.format(record)
        if text not in self._written and len(self._written) < 1000:
            self._written.add(text)
            self._write(ERROR if record.levelno >= logging.ERROR else WARNING, text, {})


def _stderr_is_journal() -> bool:
    """Whether standard error is the journal's own stream, by the device and inode that systemd names."""
    named = os.environ.get("JOURNAL_STREAM", "")
    try:
        found = os.fstat(sys.stderr.fileno())
    except (OSError, ValueError):
        return False
    return named == f"{found.st_dev}:{found.st_ino}"
