"""Who has the rig: one process of this program at a time."""

import errno
import fcntl
import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from drivers.errors import InUse, RigError
from sweeper.store.files import NOT_THROUGH_A_LINK


@contextmanager
def hold_rig(folder: Path) -> Iterator[None]:
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


def _opened(file: Path) -> int:
    try:
        return os.open(file, os.O_RDWR | os.O_CREAT | NOT_THROUGH_A_LINK, 0o660)
    except OSError as fault:
        if fault.errno != errno.EROFS:
            raise
    return os.open(file, os.O_RDONLY | NOT_THROUGH_A_LINK)  # a lock is no write
