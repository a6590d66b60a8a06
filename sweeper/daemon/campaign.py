"""Passes one after another: open the rig, put right what an earlier run left, measure, store, let go.

The rig is opened for each pass and let go after it, so that between passes the receiver belongs to whoever
listens, and a cable that comes back is simply there at the next pass.
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from threading import Event
from typing import Any

from drivers.errors import RigError
from sweeper.clock import Clock
from sweeper.daemon.instruments import Rig, manner_of, open_rig
from sweeper.engine import Sink, measure_pass
from sweeper.plan import one_pass
from sweeper.station import Station
from sweeper.store import Store
from sweeper.words import PassRecord, Reading, Visit

AS_FOUND = "receiver-as-found"


@dataclass(frozen=True)
class Campaign:
    """What a run of passes needs. `watchers` see everything after the store has it."""

    station: Station
    store: Store
    clock: Clock
    stop: Event = field(default_factory=Event)
    watchers: tuple[Sink, ...] = ()


def run_passes(campaign: Campaign, due: Iterable[datetime | None]) -> list[PassRecord]:
    """One pass at each instant of `due` (None: at once), until `due` ends or the campaign is stopped."""
    records = []
    for instant in due:
        if not wait_for(instant, campaign):
            break
        records.append(attempt(campaign))
        campaign.store.finish_days(campaign.clock.now())
        if campaign.stop.is_set():
            break
    return records


def wait_for(instant: datetime | None, campaign: Campaign) -> bool:
    """Wait in short stretches, so that a stepped clock is noticed. False when asked to stop."""
    while instant is not None and not campaign.stop.is_set():
        remaining_s = (instant - campaign.clock.now()).total_seconds()
        if remaining_s <= 0:
            return True
        campaign.clock.sleep(min(remaining_s, LOOK_AT_CLOCK_S), campaign.stop)
    return not campaign.stop.is_set()


LOOK_AT_CLOCK_S = 30.0


def attempt(campaign: Campaign) -> PassRecord:
    """One pass; a rig that cannot be reached is a failed pass with its reason, not an exception."""
    started = campaign.clock.now()
    number = campaign.store.next_pass_number()
    sink = _Recording(campaign.store, campaign.watchers)
    try:
        with open_rig(campaign.station) as rig:
            put_right(campaign, rig)
            return measure_pass(
                number,
                one_pass(campaign.station, number),
                rig.receiver,
                rig.switch,
                campaign.clock,
                manner_of(campaign.station),
                sink,
                campaign.stop,
            )
    except RigError as fault:
        record = PassRecord(number, started, campaign.clock.now(), "failed", str(fault), 0)
        sink.finished(record, ())
        return record


def put_right(campaign: Campaign, rig: Rig) -> None:
    """Relays to rest, and the receiver as it was before a run that did not end well.

    Comes before anything else: after a crash or a power cut nobody knows how the relays stand.
    """
    rig.switch.select(str(campaign.station.switch.rest))
    as_found = campaign.store.recall(AS_FOUND)
    if isinstance(as_found, Mapping):
        rig.receiver.restore(as_found)
        campaign.store.remember(AS_FOUND, None)


class _Recording:
    """Store first, watchers after: what they are told is already safe."""

    def __init__(self, store: Store, watchers: Sequence[Sink]) -> None:
        self._store = store
        self._watchers = watchers

    def found(self, remembered: Mapping[str, Any]) -> None:
        self._store.remember(AS_FOUND, dict(remembered))
        self._tell(lambda watcher: watcher.found(remembered))

    def visited(self, visit: Visit, readings: Sequence[Reading]) -> None:
        self._tell(lambda watcher: watcher.visited(visit, readings))

    def finished(self, record: PassRecord, readings: Sequence[Reading]) -> None:
        self._store.write_pass(record, readings)
        self._tell(lambda watcher: watcher.finished(record, readings))

    def put_back(self) -> None:
        self._store.remember(AS_FOUND, None)
        self._tell(lambda watcher: watcher.put_back())

    def _tell(self, call: Callable[[Sink], None]) -> None:
        for watcher in self._watchers:
            call(watcher)
