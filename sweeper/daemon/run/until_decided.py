"""Ends a run when every band has its verdict: looks at most once an hour, after a pass that is stored.

It listens like every observer and gives one order, to stop; asked, it names the bands for the next pass, so that effort
goes to those still open. What decides is the analysis, on a thread of its own: a season takes longer to look at than
the measuring can wait.
"""

import logging
import threading
from collections.abc import Callable, Sequence
from datetime import datetime, timedelta
from pathlib import Path

from sweeper import analysis
from sweeper.daemon.run.observers import Observer
from sweeper.daemon.run.orders import Orders
from sweeper.reduction import facts_of, summaries_of
from sweeper.station import Station
from sweeper.store import Store
from sweeper.words import PassRecord, Reading

log = logging.getLogger(__name__)

LOOK_EVERY = timedelta(hours=1)


def in_background(look: Callable[[], None]) -> None:
    """Start `look` on a thread that does not keep the program from ending."""
    threading.Thread(target=look, name="until decided", daemon=True).start()


class UntilDecided(Observer):
    """Stops the run by way of `orders` once nothing is open on any band, for other nights too.

    `data` is the folder with all stations' data; each look opens the store there for reading. `start` starts a look.
    """

    def __init__(
        self,
        station: Station,
        data: Path,
        orders: Orders,
        start: Callable[[Callable[[], None]], None] = in_background,
    ) -> None:
        self._station = station
        self._data = data
        self._orders = orders
        self._start = start
        self._looked: datetime | None = None
        self._looking = False
        self._shares: dict[str, float] = {}
        self._turn = 0

    def bands_due(self) -> frozenset[str] | None:
        """The bands to visit in the next pass, open ones more often than decided ones; None: all of them."""
        shares = self._shares
        if not shares:
            return None
        self._turn += 1
        return analysis.bands_due(shares, self._turn - 1) | self._unheard(shares)

    def _unheard(self, shares: dict[str, float]) -> frozenset[str]:
        """Bands of which nothing usable is stored yet: they are as open as can be."""
        return frozenset(channel.band for channel in self._station.channels()) - shares.keys()

    def finished(self, record: PassRecord, readings: Sequence[Reading]) -> None:
        if record.outcome != "done" or self._looking:
            return
        if self._looked is not None and record.ended - self._looked < LOOK_EVERY:
            return
        self._looked = record.ended
        self._looking = True
        self._start(self._look)

    def _look(self) -> None:
        try:
            facts, place = facts_of(self._station), self._station.station
            with Store(self._data, place.name, place.longitude, read_only=True) as store:
                ahead = analysis.outlook(summaries_of(store, facts), facts)
            self._shares = analysis.effort(
                ahead
            )  # one assignment: the measuring thread sees the old shares or the new
            if ahead and all(band.decided for band in ahead) and not self._unheard(self._shares):
                log.info("Every band has its answer; the run ends.")
                self._orders.stop()
        except Exception:
            # Whatever is wrong with what is stored, the night's measuring goes on; another look comes in an hour.
            log.exception("It could not be told which bands have their answer")
        finally:
            self._looking = False
