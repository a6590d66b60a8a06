"""A watch over the measuring thread while it has the rig in hand: should it stick, the relays go to rest all the same.

Every wait of ours has a deadline; what could still stick is a library or the system. A thread cannot be ended from
outside, and whoever moved the relays beside it would race with it. So the whole process is replaced by a fresh one
(`rescue`), which has no other thread, no lock and no open port, and puts the station right by connections of its own.
Where even the watching thread gets no turn, since a library keeps the interpreter to itself, the interpreter's own
watchdog ends the process a little later. The service manager then starts the program again and puts the station right.
"""

import faulthandler
import logging
import os
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path

from sweeper.daemon.run.observers import Observer
from sweeper.daemon.run.states import Doing
from sweeper.words import PassRecord

log = logging.getLogger(__name__)

AT_LEAST_S = 90.0
"""Without a sign of life for so long, the measuring thread is stuck; longer than a visit and leaving are bounded to.
Half of the service manager's patience."""

RESCUE = "sweeper.daemon.service.rescue"
"""The module that takes the place of a stuck process."""

HARDER = 1.25
"""After so many times that, the interpreter's own watchdog ends the process."""


class Guard(Observer):
    """Calls `rescue` once the measuring thread gave no sign of life for `limit_s` seconds with the rig in hand.

    Real seconds, no Clock: a stuck thread would not move one, and the interpreter's watchdog counts them too.
    """

    def __init__(self, limit_s: float, rescue: Callable[[], None]) -> None:
        self._limit_s = limit_s
        self._rescue = rescue
        self._lock = threading.Lock()
        self._stuck_at_s: float | None = None
        self._refreshed_s = 0.0
        self._over = threading.Event()
        self._thread = threading.Thread(target=self._watch, name="guard", daemon=True)
        self._thread.start()

    @contextmanager
    def in_hand(self) -> Iterator[None]:
        """Watch the calling thread meanwhile."""
        self._sign_of_life(armed=True)
        try:
            yield
        finally:
            self._disarm()

    def alive(self) -> None:
        self._sign_of_life(armed=False)

    def doing(self, doing: Doing, because: str, next_pass: datetime | None) -> None:
        self._sign_of_life(armed=False)

    def finished(self, record: PassRecord, readings: object) -> None:
        self._disarm()  # the station is restored, and whoever looks on may take their time

    def close(self) -> None:
        """Disarm the guard and end its thread."""
        self._over.set()
        self._disarm()
        self._thread.join()

    def _sign_of_life(self, armed: bool) -> None:
        now_s = time.monotonic()
        with self._lock:
            if not armed and self._stuck_at_s is None:
                return
            self._stuck_at_s = now_s + self._limit_s
            if armed or now_s - self._refreshed_s > self._limit_s / 8:
                self._refreshed_s = now_s
                faulthandler.dump_traceback_later(self._limit_s * HARDER, exit=True, file=2)

    def _disarm(self) -> None:
        with self._lock:
            self._stuck_at_s = None
            faulthandler.cancel_dump_traceback_later()

    def _watch(self) -> None:
        while not self._over.wait(self._limit_s / 50):
            with self._lock:
                stuck = self._stuck_at_s is not None and time.monotonic() > self._stuck_at_s
            if stuck:
                log.error("The measuring thread is stuck; the relays are put to rest by a fresh process.")
                self._rescue()
                return


def replaced_by_rescue(station_file: Path, folder: Path) -> None:
    """Replace this process, all its threads and open ports included, by one that puts the station right and fails."""
    try:
        os.execv(sys.executable, [sys.executable, "-m", RESCUE, str(station_file), str(folder)])
    finally:
        os._exit(1)  # not even that: the service manager's turn
