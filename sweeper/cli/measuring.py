"""`run` and `rest`: the commands that measure, and that put a station back when the measuring could not."""

import sys
from contextlib import ExitStack
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from sweeper.cli.instants import instant
from sweeper.cli.options import DataFolder, StationFile, data_folder, open_store
from sweeper.clock import SystemClock
from sweeper.errors import WrongInput
from sweeper.printable import terminal_of

if TYPE_CHECKING:
    from collections.abc import Callable, Collection

    from sweeper.daemon.run.observers import Observer
    from sweeper.station import Station
    from sweeper.store import Store


def run(
    station_file: StationFile,
    passes: Annotated[
        int | None, typer.Option(min=1, metavar="N", help="Do N passes now, one after another, and end.")
    ] = None,
    until: Annotated[
        str | None,
        typer.Option(
            metavar="TIME", help="End at this instant; or `decided`: when every band has its answer."
        ),
    ] = None,
    data: DataFolder = None,
) -> None:
    """Measure: now, or as the station's schedule says, until stopped."""
    from sweeper.daemon.run.orders import Orders, stop_on_signals
    from sweeper.daemon.run.until_decided import UntilDecided
    from sweeper.daemon.service.daemon import run_station
    from sweeper.daemon.service.guard import replaced_by_rescue
    from sweeper.station import load
    from sweeper.station.lines import text_of

    decided = until == "decided"
    end = None if decided else instant(until, "--until")
    if end is not None and end <= SystemClock().now():
        raise WrongInput(
            f"--until: {until} is over already, so nothing would be measured. Name a later time."
        )
    orders = Orders()
    stop_on_signals(orders)
    station = load(station_file)
    store = open_store(station, station_file, data, read_only=False, alone=passes is None)

    def rescue() -> None:
        replaced_by_rescue(station_file, data_folder(station_file, data))

    with ExitStack() as ending:
        ending.callback(store.close)
        # Beside the readings, so that the folder says by itself what was measured and how.
        store.keep_station_file(text_of(station_file))
        observers = _onlookers(station, station_file, store, passes, ending)
        bands_due: Callable[[], Collection[str] | None] = _every_band
        if decided:
            looking = UntilDecided(station, store.folder.parent, orders)
            observers, bands_due = (*observers, looking), looking.bands_due
        well = run_station(station, store, SystemClock(), orders, passes, end, observers, bands_due, rescue)
    if not well and passes is not None:
        raise typer.Exit(1)


def _every_band() -> "Collection[str] | None":
    return None


def _onlookers(
    station: "Station", station_file: Path, store: "Store", passes: int | None, ending: ExitStack
) -> "tuple[Observer, ...]":
    """Say what is going to happen; whoever shows it on a terminal, and whoever sends messages of it."""
    from sweeper.cli import messages
    from sweeper.cli.on_the_way import Shown, beginning

    for sentence in (
        *_found_before(store.folder),
        beginning(station, SystemClock().now(), passes, store.folder),
    ):
        print(sentence, file=sys.stderr, flush=True)
    terminal = terminal_of(sys.stderr)
    shown: tuple[Observer, ...] = ()
    if terminal.isatty() and not station.switch.by_hand:
        shown = (Shown(terminal, SystemClock()),)
    if passes is None:  # somebody who asks for so many passes is there
        shown += messages.watching(station, station_file, store, ending)
    return shown


def _found_before(folder: Path) -> tuple[str, ...]:
    """What the last `check` found and nobody has mended."""
    from sweeper.daemon.last_check import LastCheck

    last = LastCheck.of(folder)
    return () if last is None else last.sentences()[: len(last.failed)]


def rest(station_file: StationFile, data: DataFolder = None) -> None:
    """Relays to rest and the receiver in its saved state, where an earlier run could not; nothing is measured."""
    from sweeper.daemon.service.rescue import rest_station
    from sweeper.station import load

    station = load(station_file)
    for fault in rest_station(station, data_folder(station_file, data), SystemClock().now()):
        raise fault
    print(f"The relays rest at {station.switch.rest}.")
