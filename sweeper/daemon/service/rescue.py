"""What takes a stuck daemon's place: relays to rest, receiver in its saved state, and an end that is no success.

Run as a module by `guard`; the process, and so the service manager's view of it, is the daemon's own.
"""

import faulthandler
import sys
from pathlib import Path

from sweeper.clock import SystemClock
from sweeper.daemon.service.resting import rest_station
from sweeper.station import load

LIMIT_S = 75.0
"""Longer than relays and receiver may take; within the service manager's patience, counted from the daemon's."""


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
