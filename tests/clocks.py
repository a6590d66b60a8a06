"""Time for tests: what no test may ask the computer for itself."""

import os
import time
from datetime import UTC, datetime, timedelta

from sweeper.clock import SystemClock

EVENING = datetime(2026, 3, 1, 17, tzinfo=UTC)
"""The instant at which a simulated station is served that lives in real seconds."""


class Running(SystemClock):
    """Real seconds from an instant that is always the same, so that the sky of a simulated station is, too."""

    def __init__(self, start: datetime) -> None:
        self._start, self._began_s = start, time.monotonic()

    def now(self) -> datetime:
        return self._start + timedelta(seconds=time.monotonic() - self._began_s)


def evening() -> Running:
    """A clock that runs from `EVENING`."""
    return Running(EVENING)


def seed() -> int:
    """What chance begins with: the same in every run, unless SWEEPER_SEED asks for another."""
    return int(os.environ.get("SWEEPER_SEED", "1"))
