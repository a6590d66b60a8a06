"""The rig in the hands of a command that a person runs: checked first, put back at the end, also after a crash."""

from collections.abc import Iterator
from contextlib import contextmanager

from drivers.errors import Transmitting
from sweeper.clock import Clock
from sweeper.daemon.as_found import hold_rig, put_right
from sweeper.daemon.cut_short import account_cut_short, let_go, took_in_hand
from sweeper.daemon.instruments import Rig, open_rig
from sweeper.daemon.wear import CountedSwitch, count
from sweeper.station import Station
from sweeper.store import Store


@contextmanager
def borrowed_rig(station: Station, store: Store, clock: Clock) -> Iterator[Rig]:
    """Receiver and switch, put back at the end as they were found, whatever happens in between.

    What an earlier run left is put right first. `Transmitting` when the receiver is on the air: nothing was touched.
    A crash in between is put right by the next command that takes the rig.
    """
    with hold_rig(store.folder):
        faults = put_right(station, store, clock.now())
        account_cut_short(station, store, clock.now())
        for fault in faults:
            raise fault
        with open_rig(station) as rig:
            if rig.receiver.is_transmitting():
                raise Transmitting(
                    "receiver", "its transmitter is on; nothing was touched. Let go of the key first."
                )
            remembered = rig.receiver.remember()
            took_in_hand(store, remembered)
            switch = CountedSwitch(rig.switch, station)
            try:
                yield Rig(rig.receiver, switch)
            finally:
                try:
                    switch.select(str(station.switch.rest))
                finally:
                    count(store.folder, switch.moves, clock.now())
                    rig.receiver.restore(remembered)
                    let_go(store)
