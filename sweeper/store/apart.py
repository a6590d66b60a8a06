"""A day's file made in a process of its own, so that what the work takes of memory is given back with it."""

import signal
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from datetime import date
from multiprocessing import get_context
from pathlib import Path
from typing import TypeVar

from sweeper.store.errors import StoreError

T = TypeVar("T")


def written_apart(write: Callable[[], T], folder: Path, day: date) -> T:
    """What `write`, which must be picklable, returns from a new process. `StoreError` when it does not come back."""
    with ProcessPoolExecutor(1, mp_context=get_context("spawn"), initializer=_leave_signals) as pool:
        try:
            return pool.submit(write).result()
        except BrokenProcessPool as killed:
            raise StoreError(
                f"{folder}: the process that made a file of {day} was killed, perhaps for want of memory. Its "
                "readings stay in the database and are safe."
            ) from killed


def _leave_signals() -> None:
    """Ctrl-C is for the program that waits for this one."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
