"""What the person at the station wants of a running program: go on, pause, or stop. Thread-safe; no socket, no file."""

import signal
import threading
from types import FrameType

from drivers.waiting import StopOrder

STOPPED = "asked to stop"
PAUSED_BY = "paused by hand"


class Orders:
    """Stop and pause, and the event that wakes whoever sleeps or measures so that they look here.

    `wake` is set from an order until the measuring thread has taken note of it (`heed`), and for good once
    the order is to stop.
    """

    def __init__(self) -> None:
        self.wake = StopOrder()
        self._lock = threading.Lock()
        self._stopping = False
        self._paused = False
        self._why = STOPPED

    @property
    def stopping(self) -> bool:
        return self._stopping

    @property
    def paused(self) -> bool:
        return self._paused

    def why(self) -> str:
        """What ends a pass under way, as its record says it."""
        return self._why

    def stop(self) -> None:
        """End the program; the pass under way ends within one visit."""
        with self._lock:
            if self._stopping:
                return  # whoever asks again gives no new grace
            self._stopping = True
            self._why = STOPPED
            self.wake.set()

    def pause(self) -> bool:
        """Measure no more until resumed; False when paused already."""
        with self._lock:
            changed, self._paused = not self._paused, True
            if changed and not self._stopping:
                self._why = PAUSED_BY
            if changed:
                self.wake.set()
            return changed

    def resume(self) -> bool:
        """Measure again; False when not paused."""
        with self._lock:
            changed, self._paused = self._paused, False
            if changed:
                self.wake.set()
            return changed

    def heed(self) -> None:
        """The measuring thread has seen what is wanted, and may sleep again unless it is to stop."""
        with self._lock:
            if not self._stopping:
                self.wake.clear()


def stop_on_signals(orders: Orders) -> None:
    """Let SIGINT, SIGTERM and SIGHUP end the program by way of `orders`. Call from the main thread."""

    def handler(number: int, frame: FrameType | None) -> None:
        # Setting an event takes a lock that the interrupted main thread may hold at this very moment, inside
        # its own wait for that event; another thread can wait for it, a signal handler would wait for ever.
        threading.Thread(target=orders.stop, name="stop", daemon=True).start()

    for name in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP):
        signal.signal(name, handler)
