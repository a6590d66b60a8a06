"""When the daemon is gone or stuck: relays to rest, receiver in its saved state, from a process of its own.

A service manager asks for it by a command. Run as a module by `guard` it takes the place of a stuck daemon, and ends
with no success; the process, and so the service manager's view of it, is the daemon's own.
"""

import faulthandler
import sys
from contextlib import suppress
from datetime import datetime
from pathlib import Path

from drivers.errors import RigError
from sweeper.clock import SystemClock
from sweeper.daemon.rig.lock import hold_rig
from sweeper.daemon.rig.restore import rest_relays, restore_station
from sweeper.station import Station, load
from sweeper.store import Store, StoreError, make_folder

LIMIT_S = 75.0
"""Longer than relays and receiver may take; within the service manager's patience, counted from the daemon's."""


def rest_station(station: Station, folder: Path, now: datetime) -> tuple[RigError, ...]:
    """`restore_station`, or at least the relays; what stood in the way.

    Without a store that can be opened (none yet, broken, or a daemon at work on it) only the relays are set;
    `InUse` is among the faults while a pass is under way, since then nothing is wrong.
    """
    place = station.station
    with suppress(StoreError):
        make_folder(folder / place.name)
    try:
        with hold_rig(folder / place.name):
            try:
                with Store(folder, place.name, place.longitude) as store:
                    return restore_station(station, store, now).faults
            except StoreError:
                return rest_relays(station, folder / place.name, now)
    except RigError as held:
        return (held,)


def main(station_file: Path, folder: Path) -> int:
    """Put the station right; always 1, since a run that stuck is to be started again."""
    faulthandler.dump_traceback_later(LIMIT_S, exit=True)
    station = load(station_file)
    faults = rest_station(station, folder, SystemClock().now())
    for fault in faults:
        sys.stderr.write(f"The measuring stuck, and not all could be put right: {fault}\n")
    if not faults:
        sys.stderr.write(f"The measuring stuck; the relays rest at {station.switch.rest}.\n")
    return 1


if __name__ == "__main__":
    sys.exit(main(Path(sys.argv[1]), Path(sys.argv[2])))
