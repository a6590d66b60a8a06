"""`check`: look at every connected part without changing what the user has set."""

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated
from urllib.parse import urlsplit

import typer

from sweeper.cli.messages import tried
from sweeper.cli.options import DataFolder, StationFile, open_store
from sweeper.clock import SystemClock

if TYPE_CHECKING:
    from sweeper.daemon.checkup import Item
    from sweeper.station import Station

START_SERVER = """\
If hamlib's server does not run yet, start it in a terminal of its own, with your model and port:
  rigctl -l                                               lists the models
  rigctld -m 1035 -r /dev/ttyUSB0 -s 38400 -T 127.0.0.1"""
CAUTIONS = """\
Before anything is wired: disconnect antennas when lightning is about; leave mains work to
licensed people and follow your local electrical code; a transmitter keyed into a receive
stage destroys it; many stages and remote relays take DC over the feed line, so measure
before you short or ground it. docs/relay-wiring.md says more."""


def check(
    station_file: StationFile,
    data: DataFolder = None,
    message: Annotated[
        bool, typer.Option("--message", help="Only send a test message to the addresses of notify:.")
    ] = False,
    level: Annotated[
        bool, typer.Option("--level", help="Show the level of the receiver's sound while you set it.")
    ] = False,
) -> None:
    """Read every connected part: can I tune, does the reading move with the relay, is the transmitter off?"""
    from sweeper.station import load

    station = load(station_file)
    if message:
        print(tried(station))
        return
    if level:
        from sweeper.cli.sound_level import show_level

        with open_store(station, station_file, data, read_only=False) as store:
            show_level(station, store)
        return
    if not all(item.well for item in looked_at(station, station_file, data)):
        raise typer.Exit(1)


def looked_at(station: "Station", station_file: Path, data: Path | None) -> "list[Item]":
    """Look at every part, say what is found as it is found, and keep it for `run`, `plan` and the report."""
    from sweeper.daemon.checkup import check_rig

    items = []
    with open_store(station, station_file, data, read_only=False) as store:
        for item in check_rig(station, store, SystemClock()):
            mark = "note" if item.about_meter else "ok  " if item.well else "FAIL"
            print(f"{mark}  {item.part}: {item.found}", flush=True)
            items.append(item)
        _keep(items, store.folder)
    if any(item.part == "receiver" and not item.well for item in items) and _here(station):
        print(f"\n{START_SERVER}")
    print(f"\n{CAUTIONS}")
    return items


def _here(station: "Station") -> bool:
    """Whether the receiver is to be reached through a server on this computer that a person starts by hand."""
    receiver = station.receiver
    return receiver.driver == "hamlib" and urlsplit(receiver.link).hostname in (
        "127.0.0.1",
        "localhost",
        "::1",
    )


def _keep(items: "list[Item]", folder: Path) -> None:
    """For `run`, `plan` and the report. A disk that takes nothing hides no finding of this look."""
    from sweeper.clock import SystemClock
    from sweeper.daemon.last_check import LastCheck

    failed = tuple(f"{item.part}: {item.found}" for item in items if not item.well)
    meter = tuple(item.found for item in items if item.about_meter)
    try:
        LastCheck(SystemClock().now(), failed, meter).keep(folder)
    except OSError as fault:
        print(f"This could not be kept for `run` and the report: {fault.strerror}.", file=sys.stderr)
