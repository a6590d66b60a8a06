"""Talking to the service manager: ready, status in words, alive, stopping.

The protocol is that of sd_notify(3): datagrams of ``KEY=value`` lines to the socket named in the environment.
The watchdog is fed from the measuring thread's own progress and from nothing else: a thread that only keeps
the watchdog happy would hide the very hang it is there for.
"""

import contextlib
import os
import socket
from collections.abc import MutableMapping
from datetime import datetime

from sweeper.clock import Clock, SystemClock
from sweeper.daemon.run.observers import Observer
from sweeper.daemon.run.states import Doing


class Notifier(Observer):
    """An observer that tells the service manager. Does nothing where no manager listens."""

    def __init__(
        self,
        environment: MutableMapping[str, str],
        longest_visit_s: float = 0.0,
        clock: Clock | None = None,
    ) -> None:
        self._clock = clock or SystemClock()
        self._socket, self._address = _opened(environment.pop("NOTIFY_SOCKET", ""))
        self._feed_every_s = 0.0
        self._fed_at_s = float("-inf")
        self._ready = False
        self._status = ""
        watchdog_us = _watchdog_us(environment)
        if watchdog_us:
            if longest_visit_s * 2e6 > watchdog_us:
                # A visit longer than the manager's patience is no hang.
                watchdog_us = int(longest_visit_s * 2e6)
                self._send(f"WATCHDOG_USEC={watchdog_us}")
            self._feed_every_s = watchdog_us / 1e6 / 8

    def alive(self) -> None:
        now_s = self._clock.monotonic()
        if self._feed_every_s and now_s - self._fed_at_s >= self._feed_every_s:
            self._fed_at_s = now_s
            self._send("WATCHDOG=1")

    def doing(self, doing: Doing, because: str, next_pass: datetime | None) -> None:
        lines = []
        if not self._ready and doing != "starting":
            self._ready = True
            lines.append("READY=1")
        if doing == "stopping":
            lines.append("STOPPING=1")
        status = _in_words(doing, because, next_pass)
        if status != self._status:
            self._status = status
            lines.append(f"STATUS={status}")
        if lines:
            self._send("\n".join(lines))

    def close(self) -> None:
        if self._socket is not None:
            self._socket.close()
            self._socket = None

    def _send(self, text: str) -> None:
        if self._socket is not None:
            with contextlib.suppress(OSError):  # A manager that does not listen is no reason to measure less.
                self._socket.sendto(text.encode(), self._address)


def _opened(address: str) -> tuple[socket.socket | None, str]:
    if not address.startswith(("/", "@")):
        return None, ""
    channel = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM | socket.SOCK_CLOEXEC)
    channel.setblocking(False)
    return channel, "\0" + address[1:] if address.startswith("@") else address


def _watchdog_us(environment: MutableMapping[str, str]) -> int:
    """Microseconds between signs of life that the manager asks for; 0 when it asks this process for none."""
    text, whose = environment.pop("WATCHDOG_USEC", ""), environment.pop("WATCHDOG_PID", "")
    if not text.isdigit() or (whose and whose != str(os.getpid())):
        return 0
    return int(text)


def _in_words(doing: Doing, because: str, next_pass: datetime | None) -> str:
    upcoming = f"; next pass at {next_pass:%d %B %H:%M} UTC" if next_pass is not None else ""
    reason = f": {because}" if because else ""
    return " ".join(f"{doing}{reason}{upcoming}".split())
