"""Tonight so far: the findings after each pass, so that one can watch the answer become certain.

Reads the store beside the daemon and reduces it on a thread of its own; a pass that ends meanwhile is waited for by
the next round, never by the page.
"""

import asyncio
import logging
import time
from collections import deque
from collections.abc import Awaitable, Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

from sweeper.analysis import Interval, PeriodFinding
from sweeper.errors import UserFacingError
from sweeper.reduction import Reduced, facts_of, reduce_store
from sweeper.station import Station
from sweeper.store import Store

if TYPE_CHECKING:
    from sweeper.noise.told import NoiseTold

log = logging.getLogger(__name__)

KEPT = 60
MORE = 0.05
"""Of the passes: so many more, and what makes the noise is told anew, which takes seconds for a season of them."""


@dataclass(frozen=True, slots=True)
class Step:
    """What one band's hour was known to after so many passes."""

    hour_utc: int
    passes: int
    change_db: Interval


@dataclass
class Tonight:
    """The last reduction, and what came before it, by band. Changed on the event loop only."""

    reduced: Reduced | None = None
    latest: dict[str, PeriodFinding] = field(default_factory=dict)
    steps: dict[str, deque[Step]] = field(default_factory=dict)
    trouble: str = ""
    noise: "NoiseTold | None" = None
    """What makes the noise, by all passes that told it."""

    def take(self, reduced: Reduced, hour_utc: int | None, noise: "NoiseTold | None" = None) -> None:
        """A new reduction; `hour_utc` is the hour being measured (None: each band's hour with the most passes)."""
        self.reduced, self.trouble, self.noise = reduced, "", noise
        for band in reduced.findings.bands:
            here = [period for period in band.periods if period.hour_utc == hour_utc]
            if not here:
                here = sorted(band.periods, key=lambda period: period.passes)[-1:]
            if not here:
                continue
            (period,) = here
            self.latest[band.band] = period
            steps = self.steps.setdefault(band.band, deque(maxlen=KEPT))
            if steps and steps[-1].hour_utc != period.hour_utc:
                steps.clear()
            if period.snr_change_db is not None and (not steps or steps[-1].passes != period.passes):
                steps.append(Step(period.hour_utc, period.passes, period.snr_change_db))


def without_place(told: UserFacingError, folder: Path) -> str:
    """What went wrong, without where on this computer: who looks at the page may sit at another one."""
    sentence = str(told).removeprefix(f"{folder}: ")
    return sentence[:1].upper() + sentence[1:]


class Reducing:
    """Reduces the store whenever asked to, one reduction at a time."""

    def __init__(
        self, station: Station, data: Path, tonight: Tonight, done: Callable[[], Awaitable[None]]
    ) -> None:
        self._station = station
        self._data = data
        self._tonight = tonight
        self._done = done
        self._wanted = asyncio.Event()
        self._noise: tuple[int, NoiseTold | None] = (0, None)

    def wanted(self) -> None:
        """A pass is over: reduce anew, soon."""
        self._wanted.set()

    async def run(self) -> None:
        """Reduce at the start and whenever wanted, until cancelled."""
        while True:
            self._wanted.clear()
            began = time.monotonic()
            try:
                self._tonight.take(*await asyncio.to_thread(self._reduce))
            except UserFacingError as told:
                self._tonight.trouble = without_place(told, self._data / self._station.station.name)
            except Exception:
                # A defect in the reduction must not take the view of the night with it; the next pass tries again.
                log.exception("the night could not be reduced")
                self._tonight.trouble = "The night could not be reduced; the log says why."
            await self._done()
            # Half of the time at most, in real seconds: the measuring shares this computer.
            await asyncio.sleep(time.monotonic() - began)
            await self._wanted.wait()

    def _reduce(self) -> "tuple[Reduced, int | None, NoiseTold | None]":
        from sweeper.reduction.noise import noise_of  # arrays take long to load

        place = self._station.station
        if not (self._data / place.name).is_dir():
            raise UserFacingError("Nothing is stored yet.")
        with Store(self._data, place.name, place.longitude, read_only=True) as store:
            reduced = reduce_store(store, facts_of(self._station))
            passes = len(reduced.passes)
            if passes >= (1.0 + MORE) * self._noise[0]:
                self._noise = passes, noise_of(store, self._station)
        done = [record for record in reduced.passes if record.outcome == "done"]
        return reduced, done[-1].started.hour if done else None, self._noise[1]
