"""Ends a run when every band has its verdict: looks at most once an hour, after a pass that is stored.

It listens like every observer and gives one order, to stop; asked, it names the bands for the next pass, so that effort
goes to those still open. What decides is the analysis.
"""

import logging
from collections.abc import Sequence
from datetime import datetime, timedelta

from sweeper.daemon.run.observers import Observer
from sweeper.daemon.run.orders import Orders
from sweeper.station import Station
from sweeper.store import Store
from sweeper.words import PassRecord, Reading

log = logging.getLogger(__name__)

LOOK_EVERY = timedelta(hours=1)


class UntilDecided(Observer):
    """Stops the run by way of `orders` once nothing is open on any band, for other nights too."""

    def __init__(self, station: Station, store: Store, orders: Orders) -> None:
        self._station = station
        self._store = store
        self._orders = orders
        self._looked: datetime | None = None
        self._shares: dict[str, float] = {}
        self._turn = 0

    def bands_due(self) -> frozenset[str] | None:
        """The bands to visit in the next pass, open ones more often than decided ones; None: all of them."""
        if not self._shares:
            return None
        from sweeper.analysis import bands_due

        self._turn += 1
        return bands_due(self._shares, self._turn - 1) | self._unheard()

    def _unheard(self) -> frozenset[str]:
        """Bands of which nothing usable is stored yet: they are as open as can be."""
        return frozenset(channel.band for channel in self._station.channels()) - self._shares.keys()

    def finished(self, record: PassRecord, readings: Sequence[Reading]) -> None:
        if record.outcome != "done":
            return
        if self._looked is not None and record.ended - self._looked < LOOK_EVERY:
            return
        self._looked = record.ended
        # Here, not above: what a run without this wish never needs, it does not load.
        from sweeper.analysis import effort, outlook
        from sweeper.reduction import facts_of, summaries_of

        facts = facts_of(self._station)
        ahead = outlook(summaries_of(self._store, facts), facts)
        self._shares = effort(ahead)
        still = [each.band for each in ahead if not each.decided]
        if ahead and not still and not self._unheard():
            log.info("Every band has its verdict; the run ends.")
            self._orders.stop()
