"""Who looks on while a station is measured: log, live messages, progress bar, watchdog.

A watcher only listens. It is called on the measuring thread, so it returns at once, and what goes wrong in it
never reaches the measuring.
"""

import logging
from collections.abc import Callable, Sequence
from datetime import datetime

from sweeper.daemon.messages import Doing
from sweeper.words import PassRecord, Reading, Visit

log = logging.getLogger(__name__)


class Watcher:
    """Every call does nothing unless a watcher says otherwise."""

    def alive(self) -> None:
        """The measuring thread has got somewhere: a visit, a look at the clock, an attempt that came to its end."""

    def doing(self, doing: Doing, because: str, next_pass: datetime | None) -> None:
        """What the program does now, and why, in one sentence (empty when that needs no word)."""

    def begins(self, number: int, visits: int) -> None:
        """A pass with so many visits begins."""

    def visited(self, visit: Visit, readings: Sequence[Reading]) -> None:
        """One visit is over; nothing of it is stored yet."""

    def finished(self, record: PassRecord, readings: Sequence[Reading]) -> None:
        """A pass is over, and the store has it."""

    def trouble(self, sentence: str) -> None:
        """Something that a person should know and that belongs to no pass."""


class Watchers(Watcher):
    """All of them as one, each kept from hurting the others and the measuring."""

    def __init__(self, watchers: Sequence[Watcher]) -> None:
        self._watchers = list(watchers)

    def add(self, watcher: Watcher) -> None:
        """One more looks on."""
        self._watchers.append(watcher)

    def alive(self) -> None:
        self._tell(lambda watcher: watcher.alive())

    def doing(self, doing: Doing, because: str, next_pass: datetime | None) -> None:
        self._tell(lambda watcher: watcher.doing(doing, because, next_pass))

    def begins(self, number: int, visits: int) -> None:
        self._tell(lambda watcher: watcher.begins(number, visits))

    def visited(self, visit: Visit, readings: Sequence[Reading]) -> None:
        self._tell(lambda watcher: watcher.visited(visit, readings))

    def finished(self, record: PassRecord, readings: Sequence[Reading]) -> None:
        self._tell(lambda watcher: watcher.finished(record, readings))

    def trouble(self, sentence: str) -> None:
        self._tell(lambda watcher: watcher.trouble(sentence))

    def _tell(self, call: Callable[[Watcher], None]) -> None:
        for watcher in tuple(self._watchers):
            try:
                call(watcher)
            except Exception:
                # Whatever is wrong with an onlooker (a closed terminal, a lost socket, a defect), the night's
                # measuring is worth more than its view of it.
                self._watchers.remove(watcher)
                log.exception("%s looks on no longer", type(watcher).__name__)
