"""A station's daemon put together: campaign, log, service manager, live sockets, metrics, signals.

What the `run` command calls. Knows no command line.
"""

import logging
import os
from collections.abc import Callable, Collection
from contextlib import ExitStack, nullcontext
from datetime import datetime, timedelta

import zmq

from sweeper.clock import Clock
from sweeper.daemon.live.messages import Wear
from sweeper.daemon.live.sockets import Live
from sweeper.daemon.rig import relay_life
from sweeper.daemon.rig.instruments import longest_visit_s
from sweeper.daemon.run.campaign import Campaign
from sweeper.daemon.run.loop import keep_measuring, keep_schedule
from sweeper.daemon.run.observers import Observer
from sweeper.daemon.run.orders import Orders
from sweeper.daemon.run.schedule_cursor import NextAfter, after_of
from sweeper.daemon.service.guard import AT_LEAST_S, Guard
from sweeper.daemon.service.health import health_sentence
from sweeper.daemon.service.journal import Log
from sweeper.daemon.service.notify import Notifier
from sweeper.engine.settings import LEAVE_S, PATIENCE_S
from sweeper.errors import UserFacingError
from sweeper.station import Station
from sweeper.store import Store, StoreError, day_of
from sweeper.words import Outcome, PassRecord


def run_station(
    station: Station,
    store: Store,
    clock: Clock,
    orders: Orders,
    passes: int | None = None,
    until: datetime | None = None,
    observers: tuple[Observer, ...] = (),
    bands_due: Callable[[], Collection[str] | None] = lambda: None,
    rescue: Callable[[], None] | None = None,
) -> bool:
    """Measure until the passes are done, `until` is past or `orders` say stop; whether all went well.

    All is well when no pass failed and, of `passes`, one was done or somebody asked to stop.

    With `passes`, so many at once; else as the schedule says; without a schedule one after another. `StoreError`
    when passes could not be stored to the end. `bands_due` names the bands of the next pass, None for all.
    `rescue` is called on another thread when the measuring thread is stuck with the rig in hand; it must not return.
    """
    _stay_small()
    outcomes = _Outcomes()
    visit_s = longest_visit_s(station)
    silence_s = max(AT_LEAST_S, PATIENCE_S + LEAVE_S + 2 * visit_s)
    with ExitStack() as closing:
        guard = None
        if rescue is not None:
            guard = Guard(silence_s, rescue)
            closing.callback(guard.close)
            observers = (guard, *observers)
        campaign = Campaign(
            station,
            store,
            clock,
            orders,
            (outcomes, *observers),
            bands_due,
            nullcontext if guard is None else guard.in_hand,
        )
        campaign.days_apart = True
        log = Log(station.station.name)
        closing.callback(log.close)
        campaign.observer.add(log)
        hears = log.hears()
        logging.getLogger().addHandler(hears)
        closing.callback(logging.getLogger().removeHandler, hears)
        notifier = Notifier(os.environ, longest_visit_s=visit_s if silence_s == AT_LEAST_S else silence_s)
        closing.callback(notifier.close)
        campaign.observer.add(notifier)
        for trouble in store.troubles:
            campaign.observer.trouble(trouble)
        store.on_trouble = campaign.observer.trouble
        _open_endpoints(campaign, closing)
        if passes is None and station.schedule:
            keep_schedule(campaign, _schedule(station), until)
        else:
            keep_measuring(campaign, passes, until)
    return "failed" not in outcomes.met and ("done" in outcomes.met or passes is None or orders.stopping)


def _open_endpoints(campaign: Campaign, closing: ExitStack) -> None:
    """Live sockets and metrics. One that cannot be opened is told, and the measuring goes on without it."""
    station, store = campaign.station, campaign.store

    def look() -> tuple[Wear | None, str]:
        return wear_of(station, campaign.life), health_of(station, store, campaign.clock.now())

    try:
        live = Live(station.station.name, store, campaign.clock, campaign.orders, station.live, look)
    except (OSError, zmq.ZMQError, UserFacingError) as refusal:
        campaign.observer.trouble(f"The live sockets cannot be opened, so nobody can ask or watch. {refusal}")
        return
    closing.callback(live.close)
    campaign.observer.add(live)
    if station.live.metrics_port is not None:
        from sweeper.daemon.live.metrics import serve_metrics

        try:
            _, close = serve_metrics(station.live.metrics_port, lambda: live.state)
        except OSError as taken:
            campaign.observer.trouble(
                f"Metrics cannot be served on port {station.live.metrics_port}: {taken}"
            )
            return
        closing.callback(close)


def wear_of(station: Station, life: relay_life.Life) -> Wear:
    """The relays' life as a message."""
    rated = station.switch.rated_operations
    return Wear(
        operations=life.busiest(),
        rated=rated,
        share=relay_life.share(life, rated),
        warning=relay_life.warning(life, rated),
    )


def health_of(station: Station, store: Store, now: datetime) -> str:
    """The night of `now` (or the one before, while this one has no pass yet) in one sentence."""
    day = day_of(now, station.station.longitude)
    try:
        passes: tuple[PassRecord, ...] = store.passes(day) or store.passes(day - timedelta(days=1))
        return health_sentence(passes, store.troubles)
    except StoreError as unreadable:
        return str(unreadable)


class _Outcomes(Observer):
    """What became of the passes."""

    def __init__(self) -> None:
        self.met: set[Outcome] = set()

    def finished(self, record: PassRecord, readings: object) -> None:
        self.met.add(record.outcome)


def _schedule(station: Station) -> NextAfter:
    from sweeper.schedule import next_times  # brings the sun and the calendar, which few commands need

    return after_of(lambda after, count: tuple(next_times(station, after, count)))


def _stay_small() -> None:
    """Before polars is imported for the first finished day: one thread, and freed memory given back at once.

    A day a day is no work for more, and what its allocator keeps would be kept all season. polars and jemalloc
    read these from the environment, in their documentation's own names.
    """
    os.environ.setdefault("POLARS_MAX_THREADS", "1")
    os.environ.setdefault("_RJEM_MALLOC_CONF", "dirty_decay_ms:0,muzzy_decay_ms:0")
