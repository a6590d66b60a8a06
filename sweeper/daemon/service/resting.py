"""What a service manager calls when the daemon is gone and may have left the station as no listener wants it."""

from contextlib import suppress
from datetime import datetime
from pathlib import Path

from drivers.errors import RigError
from sweeper.daemon.rig.lock import hold_rig
from sweeper.daemon.rig.restore import rest_relays, restore_station
from sweeper.station import Station
from sweeper.store import Store, StoreError, make_folder


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
