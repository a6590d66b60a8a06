"""`follow`: the relay as the findings recommend, while somebody listens."""

import sys

import typer

from sweeper.cli.options import DataFolder, StationFile, open_store
from sweeper.clock import SystemClock


def follow(station_file: StationFile, data: DataFolder = None) -> None:
    """While somebody listens, set the relay as the findings recommend for where they tune."""
    from sweeper.daemon.follow import follow as follow_dial
    from sweeper.daemon.run.orders import Orders, stop_on_signals
    from sweeper.reduction import facts_of, reduce_store
    from sweeper.station import load

    orders = Orders()
    stop_on_signals(orders)
    station = load(station_file)
    store = open_store(station, station_file, data, read_only=True)
    try:
        findings = reduce_store(store, facts_of(station)).findings
    finally:
        store.close()
    typer.echo(
        "Following the dial; Ctrl-C ends. Keep any transmitter off this antenna, or the stage protected from it.",
        file=sys.stderr,
    )
    follow_dial(station, store.folder, findings, SystemClock(), orders, lambda told: typer.echo(told))
