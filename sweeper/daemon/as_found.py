"""Putting a station back as it was found, also after a crash or a power cut, from another process.

Relays first, then the receiver, each tried even when the other cannot be reached.
"""

import errno
import fcntl
import os
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from datetime import datetime
from pathlib import Path as FilePath
from typing import Any

from drivers.contracts import Receiver
from drivers.errors import InUse, RigError, Transmitting
from sweeper.daemon import wear
from sweeper.daemon.instruments import open_receiver, open_switch
from sweeper.engine.one_pass import DIAL_STEP_HZ, without_dial
from sweeper.station import Station
from sweeper.store import Store, StoreError

AS_FOUND = "receiver-as-found"
"""Under this key the store keeps how the receiver stood, from before a pass touches it until it is put back."""


@contextmanager
def hold_rig(folder: FilePath) -> Iterator[None]:
    """Keep other processes of this program from the relays meanwhile; `InUse` when one holds them.

    The kernel lets go of it when the process ends, however it ends. Where there is no folder there is nobody to
    share with. `RigError` when the computer does not allow it.
    """
    try:
        handle = _opened(folder / "rig.lock")
    except FileNotFoundError:
        yield
        return
    except OSError as fault:
        raise RigError(
            "station", f"{folder / 'rig.lock'} cannot be locked: {fault.strerror}, so nothing was touched."
        ) from fault
    try:
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            raise InUse(
                "station",
                "another command of this program has its relays; it is let go when that command ends.",
            ) from None
        yield
    finally:
        os.close(handle)


def _opened(file: FilePath) -> int:
    try:
        return os.open(file, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o660)
    except OSError as fault:
        if fault.errno != errno.EROFS:
            raise
    return os.open(file, os.O_RDONLY | os.O_CLOEXEC)  # a lock is no write


def put_right(station: Station, store: Store, now: datetime) -> tuple[RigError, ...]:
    """Relays to rest, and the receiver as it was before a pass that did not end well; what stood in the way.

    The caller holds the rig. Nobody knows how the relays stand after a crash, so they are set whatever is
    remembered, without asking the receiver: the stage in a transmitter's way would be the greater harm.
    """
    return (*rest_relays(station, store.folder, now), *_put_receiver_back(station, store))


def rest_relays(station: Station, folder: FilePath, now: datetime) -> tuple[RigError, ...]:
    """Relays to rest, and their moves counted in the station's data folder; what stood in the way."""
    try:
        switch = open_switch(station)
        try:
            counted = wear.CountedSwitch(switch, station)
            try:
                counted.select(str(station.switch.rest))
            finally:
                wear.count(folder, counted.moves, now)
        finally:
            switch.close()
    except RigError as fault:
        return (fault,)
    return ()


def _put_receiver_back(station: Station, store: Store) -> tuple[RigError, ...]:
    as_found = _remembered(store)
    if as_found is None:
        return ()
    try:
        receiver = open_receiver(station)
        try:
            if receiver.is_transmitting():
                raise Transmitting("receiver", "it is on the air, so it is put back as it was found later.")
            receiver.restore(_unless_touched(station, receiver, as_found))
        finally:
            receiver.close()
    except RigError as fault:
        return (fault,)
    with suppress(StoreError):  # It is put back once more than needed, and the dial left alone if turned.
        store.remember(AS_FOUND, None)
    return ()


def _remembered(store: Store) -> Mapping[str, Any] | None:
    try:
        as_found = store.recall(AS_FOUND)
    except StoreError:
        return None  # An unreadable store must not keep the relays from their rest.
    return as_found if isinstance(as_found, Mapping) else None


def _unless_touched(station: Station, receiver: Receiver, as_found: Mapping[str, Any]) -> Mapping[str, Any]:
    """Without the dial, if somebody has turned it since the program left it; with mode and pass band if those
    are still the program's.

    The program leaves it on one of its channels, or still where it was found when it got no further than the mode.
    """
    at = receiver.tuning()
    ours = [channel.hz for channel in station.channels()]
    tuning = as_found.get("tuning")
    if isinstance(tuning, Mapping):
        ours.append(int(tuning["hz"]))
    if any(abs(hz - at.hz) < DIAL_STEP_HZ for hz in ours):
        return as_found
    bandwidths = {None, *(channel.bandwidth_hz for channel in station.channels())}
    mode_is_ours = at.mode.upper() == station.receiver.mode.upper() and at.bandwidth_hz in bandwidths
    return without_dial(as_found, mode_is_ours)
