"""Who looks on while a station is measured: log, live messages, progress bar, watchdog.

An observer only listens. It is called on the measuring thread, so it returns at once, and what goes wrong in it
never reaches the measuring.
"""

import logging
from collections.abc import Callable, Sequence
from datetime import datetime

from sweeper.daemon.run.states import Doing
from sweeper.words import Hand, Labelled, PassRecord, Reading, Visit

log = logging.getLogger(__name__)


class Observer:
    """Every call does nothing unless an observer says otherwise."""

    def alive(self) -> None:
        """The measuring thread has got somewhere: a visit, a look at the clock, an attempt that came to its end."""

    def doing(self, doing: Doing, because: str, next_pass: datetime | None) -> None:
        """What the program does now, and why, in one sentence (empty when that needs no word)."""

    def begins(self, number: int, visits: int) -> None:
        """A pass with so many visits begins."""

    def visited(self, visit: Visit, readings: Sequence[Reading], heard: Labelled | None = None) -> None:
        """One visit is over; nothing of it is stored yet. `heard`: its latest spectrum, where it has one."""

    def finished(self, record: PassRecord, readings: Sequence[Reading]) -> None:
        """A pass is over, and the store has it."""

    def trouble(self, sentence: str, hand: Hand = "") -> None:
        """Something that a person should know and that belongs to no pass; `hand`: what needs theirs."""


class Observers(Observer):
    """All of them as one, each kept from hurting the others and the measuring."""

    def __init__(self, observers: Sequence[Observer]) -> None:
        self._observers = list(observers)

    def add(self, observer: Observer) -> None:
        """Let `observer` see what follows."""
        self._observers.append(observer)

    def alive(self) -> None:
        self._tell(lambda observer: observer.alive())

    def doing(self, doing: Doing, because: str, next_pass: datetime | None) -> None:
        self._tell(lambda observer: observer.doing(doing, because, next_pass))

    def begins(self, number: int, visits: int) -> None:
        self._tell(lambda observer: observer.begins(number, visits))

    def visited(self, visit: Visit, readings: Sequence[Reading], heard: Labelled | None = None) -> None:
        self._tell(lambda observer: observer.visited(visit, readings, heard))

    def finished(self, record: PassRecord, readings: Sequence[Reading]) -> None:
        self._tell(lambda observer: observer.finished(record, readings))

    def trouble(self, sentence: str, hand: Hand = "") -> None:
        self._tell(lambda observer: observer.trouble(sentence, hand))

    def _tell(self, call: Callable[[Observer], None]) -> None:
        for observer in tuple(self._observers):
            try:
                call(observer)
            except Exception:
                # Whatever is wrong with an onlooker (a closed terminal, a lost socket, a defect), the night's
                # measuring is worth more than its view of it.
                self._observers.remove(observer)
                log.exception("%s looks on no longer", type(observer).__name__)
