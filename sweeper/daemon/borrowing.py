"""The rig in the hands of a command that a person runs: checked first, put back at the end, also after a crash."""

from collections.abc import Iterator
from contextlib import contextmanager

from drivers.errors import Transmitting
from sweeper.daemon.as_found import AS_FOUND, hold_rig, put_right
from sweeper.daemon.instruments import Rig, open_rig
from sweeper.station import Station
from sweeper.store import Store


@contextmanager
def borrowed_rig(station: Station, store: Store) -> Iterator[Rig]:
    """Receiver and switch, put back at the end as they were found, whatever happens in between.

    What an earlier run left is put right first. `Transmitting` when the receiver is on the air: nothing was touched.
    A crash in between is put right by the next command that takes the rig.
    """
    with hold_rig(store.folder):
        for fault in put_right(station, store):
            raise fault
        with open_rig(station) as rig:
            if rig.receiver.is_transmitting():
                raise Transmitting(
                    "receiver", "its transmitter is on; nothing was touched. Let go of the key first."
                )
            remembered = rig.receiver.remember()
            store.remember(AS_FOUND, dict(remembered))
            try:
                yield rig
            finally:
                try:
                    rig.switch.select(str(station.switch.rest))
                finally:
                    rig.receiver.restore(remembered)
                    store.remember(AS_FOUND, None)
