"""One process at a time measures on a station."""

import os
from pathlib import Path

from sweeper.store.errors import StoreError
from sweeper.store.files import NOT_THROUGH_A_LINK, lock, told


def take_lock(file: Path) -> int:
    """The descriptor that holds the lock until it is closed. `StoreError` when another process holds it."""
    with told("lock it", file):
        descriptor = os.open(file, os.O_RDWR | os.O_CREAT | NOT_THROUGH_A_LINK, 0o644)
        try:
            lock(descriptor)
        except BlockingIOError:
            os.lseek(descriptor, 0, os.SEEK_SET)
            holder = os.read(descriptor, 20).decode("ascii", "replace").strip() or "unknown"
            os.close(descriptor)
            raise StoreError(
                f"{file.parent}: another sweeper (process {holder}) already writes to this station's data. "
                "Two at once would fight over the relays. Stop the other one, or talk to it with `sweeper status`."
            ) from None
        os.ftruncate(descriptor, 0)
        os.lseek(descriptor, 0, os.SEEK_SET)
        os.write(descriptor, f"{os.getpid()}\n".encode())
    return descriptor
