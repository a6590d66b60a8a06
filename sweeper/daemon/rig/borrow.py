"""The rig in the hands of a command that a person runs: checked first, restored at the end, also after a crash."""

from collections.abc import Iterator
from contextlib import contextmanager

from drivers.errors import Transmitting
from sweeper.clock import Clock
from sweeper.daemon.rig.in_flight import clear_in_flight, mark_in_flight
from sweeper.daemon.rig.instruments import Rig, open_rig
from sweeper.daemon.rig.lock import hold_rig
from sweeper.daemon.rig.relay_life import CountedSwitch, count
from sweeper.daemon.rig.restore import in_time, restore_station
from sweeper.station import Station
from sweeper.store import Store


@contextmanager
def borrowed_rig(station: Station, store: Store, clock: Clock) -> Iterator[Rig]:
    """Receiver and switch, restored at the end whatever happens in between.

    What an earlier run left is restored first. `Transmitting` when the receiver is on the air: nothing was touched.
    A crash in between is mended by the next command that takes the rig, and so is a receiver that is on the air at
    the end (`Transmitting`): relays go to rest all the same, dial and mode do not move under a transmission.
    """
    with hold_rig(store.folder):
        for fault in restore_station(station, store, clock.now()).faults:
            raise fault
        with open_rig(station) as rig:
            if rig.receiver.is_transmitting():
                raise Transmitting(
                    "receiver", "its transmitter is on; nothing was touched. Let go of the key first."
                )
            remembered = rig.receiver.remember()
            mark_in_flight(store, remembered)
            switch = CountedSwitch(rig.switch, station)
            try:
                yield Rig(rig.receiver, switch, rig.samples)
            finally:
                try:
                    with in_time(station):
                        switch.select(str(station.switch.rest))
                finally:
                    count(store.folder, switch.moves, clock.now())
                    with in_time(station):
                        if rig.receiver.is_transmitting():
                            raise Transmitting(
                                "receiver", "it is on the air, so it is restored at the next start."
                            )
                        rig.receiver.restore(remembered)
                    clear_in_flight(store)
