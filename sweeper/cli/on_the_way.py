"""What `run` says while it measures: at once what is going to happen, and on a terminal where a pass has got to."""

import shutil
from collections.abc import Sequence
from datetime import datetime
from pathlib import Path
from typing import IO
from zoneinfo import ZoneInfo

from sweeper.clock import Clock
from sweeper.daemon.run.observers import Observer
from sweeper.daemon.run.states import Doing
from sweeper.printable import printable
from sweeper.station import Station
from sweeper.words import Hand, Labelled, PassRecord, Reading, Visit


def beginning(station: Station, now: datetime, passes: int | None, folder: Path) -> str:
    """What a run is going to do, in a sentence or two."""
    from sweeper.plan import budget
    from sweeper.schedule import next_times

    cost = budget(station)
    if passes is not None:
        when = f"{passes} pass{'es' if passes > 1 else ''} now"
    elif station.schedule:
        upcoming = next_times(station, now, 1)
        zone = ZoneInfo(station.station.timezone)
        moment = f"{upcoming[0].astimezone(zone):%d %B %H:%M}" if upcoming else "never"
        when = f"passes by the schedule, the next one {moment} ({station.station.timezone})"
    else:
        when = "pass after pass, as there is no schedule"
    return (
        f"{station.station.name}: {when}. {len(station.channels())} channels through {len(station.paths())} paths: "
        f"about {cost.visits_a_pass:.0f} visits and {_length(cost.seconds_a_pass)} a pass. Readings go to {folder}. "
        "Ctrl-C ends it and puts the receiver back."
    )


class Shown(Observer):
    """One line on a terminal that moves with the visits of a pass and is gone when the pass is."""

    def __init__(self, terminal: IO[str], clock: Clock) -> None:
        self._terminal, self._clock = terminal, clock
        self._number, self._visits, self._over = 0, 0, 0
        self._began = clock.now()

    def begins(self, number: int, visits: int) -> None:
        self._number, self._visits, self._over, self._began = number, visits, 0, self._clock.now()
        self._show("")

    def visited(self, visit: Visit, readings: Sequence[Reading], heard: Labelled | None = None) -> None:
        self._over += 1
        since_s = (self._clock.now() - self._began).total_seconds()
        left_s = since_s / self._over * max(self._visits - self._over, 0)
        channel = visit.channel
        self._show(f", {channel.band}, {channel.hz / 1000:.10g} kHz, {visit.path}; {_length(left_s)} left")

    def finished(self, record: PassRecord, readings: Sequence[Reading]) -> None:
        self._clear()

    def doing(self, doing: Doing, because: str, next_pass: datetime | None) -> None:
        if doing != "measuring":
            self._clear()

    def trouble(self, sentence: str, hand: Hand = "") -> None:
        self._clear()

    def _show(self, where: str) -> None:
        line = printable(f"pass {self._number}: visit {self._over} of {self._visits}{where}")
        self._terminal.write(f"\r\x1b[K{line[: shutil.get_terminal_size().columns - 1]}")
        self._terminal.flush()

    def _clear(self) -> None:
        self._terminal.write("\r\x1b[K")
        self._terminal.flush()


def _length(seconds: float) -> str:
    return f"{seconds:.0f} s" if seconds < 90 else f"{seconds / 60:.0f} min"
