"""Restoring a station, also after a crash or a power cut, from another process.

Relays first, then the receiver, each tried even when the other cannot be reached.
"""

import math
from collections.abc import Mapping
from contextlib import AbstractContextManager, suppress
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from drivers.contracts import Receiver
from drivers.errors import RigError, Transmitting
from drivers.waiting import bounded
from sweeper.daemon.rig import relay_life
from sweeper.daemon.rig.in_flight import SAVED_STATE, record_interrupted_pass
from sweeper.daemon.rig.instruments import open_receiver, open_switch
from sweeper.engine import same_dial, without_dial
from sweeper.engine.settings import GRACE_S, LEAVE_S, RELAYS_SHARE
from sweeper.station import Station
from sweeper.store import Store, StoreError


@dataclass(frozen=True, slots=True)
class Restored:
    """What restoring came to: `faults` that stood in its way (none: the station is in its saved state), and one
    sentence about a pass that an end without warning interrupted, or an empty one."""

    faults: tuple[RigError, ...]
    interrupted: str = ""


def restore_station(station: Station, store: Store, now: datetime, unwritten: bool = False) -> Restored:
    """Relays to rest, the receiver in its saved state, and a record of a pass that was interrupted.

    The caller holds the rig. Nobody knows how the relays stand after a crash, so they are set whatever is
    remembered, without asking the receiver: the stage in a transmitter's way would be the greater harm.
    `unwritten`: passes wait to be stored, among them perhaps the one in flight, so none is called interrupted.
    """
    with in_time(station):
        faults = (*rest_relays(station, store.folder, now), *_restore_receiver(station, store))
    return Restored(faults, "" if unwritten else record_interrupted_pass(station, store, now))


def rest_relays(station: Station, folder: Path, now: datetime) -> tuple[RigError, ...]:
    """Relays to rest, and their moves counted in the station's data folder; what stood in the way."""
    try:
        with in_time(station, RELAYS_SHARE):
            switch = open_switch(station)
            try:
                counted = relay_life.CountedSwitch(switch, station)
                try:
                    counted.select(str(station.switch.rest))
                finally:
                    relay_life.count(folder, counted.moves, now)
            finally:
                switch.close()
    except RigError as fault:
        return (fault,)
    return ()


def in_time(station: Station, share: float = 1.0) -> AbstractContextManager[None]:
    """Whatever the instruments do; a person at the switch is waited for as long as their driver does."""
    return bounded(math.inf if station.switch.by_hand else LEAVE_S * share, grace_s=GRACE_S)


def _restore_receiver(station: Station, store: Store) -> tuple[RigError, ...]:
    saved_state = _remembered(store)
    if saved_state is None:
        return ()
    try:
        receiver = open_receiver(station)
        try:
            if receiver.is_transmitting():
                raise Transmitting("receiver", "it is on the air, so it is restored later.")
            receiver.restore(_unless_touched(station, receiver, saved_state))
        finally:
            receiver.close()
    except RigError as fault:
        return (fault,)
    with suppress(StoreError):  # It is restored once more than needed, and the dial left alone if turned.
        store.remember(SAVED_STATE, None)
    return ()


def _remembered(store: Store) -> Mapping[str, Any] | None:
    try:
        saved_state = store.recall(SAVED_STATE)
    except (StoreError, ValueError):
        return None  # An unreadable store must not keep the relays from their rest.
    if not isinstance(saved_state, Mapping):
        return None
    tuning = saved_state.get("tuning")
    if tuning is not None and not (isinstance(tuning, Mapping) and isinstance(tuning.get("hz"), int)):
        return None  # Nothing that was ever saved here.
    return saved_state


def _unless_touched(
    station: Station, receiver: Receiver, saved_state: Mapping[str, Any]
) -> Mapping[str, Any]:
    """Without the dial, if somebody has turned it since the program left it; with mode and pass band if those
    are still the program's.

    The program leaves it on one of its channels, or still where it was found when it got no further than the mode.
    """
    at = receiver.tuning()
    ours = [station.receiver.dial_hz(channel.hz) for channel in station.channels()]
    tuning = saved_state.get("tuning")
    if isinstance(tuning, Mapping):
        ours.append(int(tuning["hz"]))
    if any(same_dial(hz, at.hz) for hz in ours):
        return saved_state
    bandwidths = {None, *(channel.bandwidth_hz for channel in station.channels())}
    mode_is_ours = at.mode.upper() == station.receiver.mode.upper() and at.bandwidth_hz in bandwidths
    return without_dial(saved_state, mode_is_ours)
