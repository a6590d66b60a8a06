"""Calls of a library that knows no deadline, each given one: what does not come back fails, and is left behind.

A call runs on a thread of its own. While one has not come back no other is begun, so that no threads pile up behind
a device that hangs. A library that keeps the interpreter to itself meanwhile cannot be left behind like that; the
watch over the measuring thread ends such a program (`sweeper/daemon/service/guard.py`).
"""

import threading
from collections.abc import Callable
from contextvars import copy_context
from typing import TypeVar

from drivers.errors import LinkLost, LinkTimeout
from drivers.waiting import Deadline, GivenUp, aside

T = TypeVar("T")

COMING_BACK_S = 0.5
"""A call that was given up for a stop order comes back within so long, unless it hangs."""


class Foreign:
    """The calls of one library. `part` and `mend`: whose fault it is, and what to do, where one hangs."""

    def __init__(self, part: str, mend: str) -> None:
        self._part, self._mend = part, mend
        self._back = threading.Event()
        self._back.set()
        self._what = ""

    def call(
        self,
        what: str,
        within_s: float,
        call: Callable[[], T],
        discard: Callable[[T], None] = lambda late: None,
    ) -> T:
        """What `call` returns or raises. `LinkTimeout` when that takes longer; what comes later is discarded.

        Waits inside are bounded as outside. `LinkLost` while an earlier call has not come back.
        """
        if not self._back.wait(COMING_BACK_S):
            raise LinkLost(
                self._part, f"{self._what} has not come back since it was called before.", self._mend
            )
        self._back = back = threading.Event()
        self._what = what
        within = copy_context()

        def called() -> T:
            try:
                return within.run(call)
            finally:
                back.set()

        try:
            return aside(called, Deadline(within_s, self._part), discard)
        except GivenUp:
            raise LinkTimeout(self._part, f"{what} does not come back.", self._mend) from None
