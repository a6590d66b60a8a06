"""`run` and `simulate`: the commands that move relays."""

import signal
from collections.abc import Iterator
from datetime import datetime, timedelta
from threading import Event
from typing import TYPE_CHECKING, Annotated

import typer

from sweeper.cli.instants import instant
from sweeper.cli.options import DataFolder, StationFile, open_store

if TYPE_CHECKING:
    from sweeper.clock import Clock
    from sweeper.station import Station


def run(
    station_file: StationFile,
    passes: Annotated[
        int | None, typer.Option(min=1, metavar="N", help="Do N passes now, one after another, and end.")
    ] = None,
    until: Annotated[str | None, typer.Option(metavar="TIME", help="End at this instant.")] = None,
    data: DataFolder = None,
) -> None:
    """Measure: now, or as the station's schedule says, until stopped."""
    from sweeper.clock import SystemClock
    from sweeper.daemon.campaign import Campaign, run_passes
    from sweeper.report.terminal import told_pass
    from sweeper.station import load

    station = load(station_file)
    store = open_store(station, station_file, data, read_only=False)
    stop = stop_on_signals()
    clock = SystemClock()
    campaign = Campaign(station, store, clock, stop)
    try:
        due = due_times(station, clock, passes, instant(until, "--until"))
        records = run_passes(campaign, due, told=lambda record: told_pass(record))
    finally:
        store.close()
    if any(record.outcome == "failed" for record in records):
        raise typer.Exit(1)


def due_times(
    station: "Station", clock: "Clock", passes: int | None, until: datetime | None
) -> Iterator[datetime | None]:
    """When passes are due: `passes` at once, else by the schedule; nothing later than `until`."""
    from sweeper.schedule import next_times

    if passes is not None or not station.schedule:
        count = 0
        while (passes is None or count < passes) and (until is None or clock.now() < until):
            count += 1
            yield None
        return
    after = clock.now()
    while True:
        upcoming = next_times(station, after, 1)
        if not upcoming or (until is not None and upcoming[0] > until):
            return
        yield upcoming[0]
        after = max(clock.now(), upcoming[0] + timedelta(milliseconds=1))


def stop_on_signals() -> Event:
    """An event that SIGINT, SIGTERM and SIGHUP set, so that the pass under way leaves the station as found."""
    stop = Event()
    for name in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP):
        signal.signal(name, lambda number, frame: stop.set())
    return stop
