"""What a service manager calls when the daemon is gone and may have left the station as no listener wants it."""

from contextlib import suppress
from datetime import datetime
from pathlib import Path as FilePath

from drivers.errors import RigError
from sweeper.daemon.as_found import hold_rig, put_right, rest_relays
from sweeper.daemon.cut_short import account_cut_short
from sweeper.station import Station
from sweeper.store import Store, StoreError


def rest_station(station: Station, folder: FilePath, now: datetime) -> tuple[RigError, ...]:
    """`put_right`, or at least the relays, and the record of a pass that was cut short.

    Without a store that can be opened (none yet, broken, or a daemon at work on it) only the relays are set;
    `InUse` is among the faults while a pass is under way, since then nothing is wrong.
    """
    place = station.station
    with suppress(OSError):
        (folder / place.name).mkdir(parents=True, exist_ok=True)
    try:
        with hold_rig(folder / place.name):
            try:
                with Store(folder, place.name, place.longitude) as store:
                    faults = put_right(station, store, now)
                    account_cut_short(station, store, now)
                    return faults
            except StoreError:
                return rest_relays(station, folder / place.name, now)
    except RigError as held:
        return (held,)
