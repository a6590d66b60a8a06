"""`check`: look at every connected part without changing what the user has set."""

import typer

from sweeper.cli.options import DataFolder, StationFile, open_store
from sweeper.clock import SystemClock

CAUTIONS = """\
Before anything is wired: disconnect antennas when lightning is about; leave mains work to
licensed people and follow your local electrical code; a transmitter keyed into a receive
stage destroys it; many stages and remote relays take DC over the feed line, so measure
before you short or ground it. docs/relay-wiring.md says more."""


def check(station_file: StationFile, data: DataFolder = None) -> None:
    """Read every connected part: can I tune, does the reading move with the relay, is the transmitter off?"""
    from sweeper.daemon.checkup import check_rig
    from sweeper.station import load

    all_well = True
    station = load(station_file)
    with open_store(station, station_file, data, read_only=False) as store:
        for item in check_rig(station, store, SystemClock()):
            print(f"{'ok  ' if item.well else 'FAIL'}  {item.part}: {item.found}", flush=True)
            all_well = all_well and item.well
    print(f"\n{CAUTIONS}")
    if not all_well:
        raise typer.Exit(1)
