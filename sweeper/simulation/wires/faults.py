"""What can happen to replies on their way: faults on demand, at the bytes, for any instrument.

A fault is armed for the next so many replies and then spends itself. Delays are in real seconds, since the
deadlines that they try are.
"""

import threading
import time
from collections import deque
from collections.abc import Callable

Send = Callable[[bytes], None]


class WireFaults:
    """The faults armed on one wire. `hang_up`, `unplug` and `plug` belong to the wire that carries them."""

    def __init__(self) -> None:
        self._armed: deque[tuple[str, float]] = deque()
        self._held = b""
        self._held_for: Send | None = None
        self._lock = threading.Lock()
        self.silent = False
        self.hang_up: Callable[[], None] = lambda: None
        self.unplug: Callable[[], None] = lambda: None
        self.plug: Callable[[], None] = lambda: None

    def drop(self, replies: int = 1) -> None:
        """Lose the next `replies` replies."""
        self._arm("drop", 0.0, replies)

    def delay(self, seconds: float, replies: int = 1) -> None:
        """Hold the next replies back."""
        self._arm("delay", seconds, replies)

    def garble(self, replies: int = 1) -> None:
        """Turn bits over in the middle of the next replies."""
        self._arm("garble", 0.0, replies)

    def split(self, replies: int = 1, pause_s: float = 0.01) -> None:
        """Send the next replies in two pieces."""
        self._arm("split", pause_s, replies)

    def merge(self) -> None:
        """Hold the next reply until there is another, and send both at once."""
        self._arm("merge", 0.0, 1)

    def noise(self, replies: int = 1) -> None:
        """Put bytes that mean nothing before the next replies."""
        self._arm("noise", 0.0, replies)

    def truncate(self, replies: int = 1) -> None:
        """Lose the end of the next replies."""
        self._arm("truncate", 0.0, replies)

    def close(self) -> None:
        """Hang up instead of the next reply."""
        self._arm("close", 0.0, 1)

    def hang(self) -> None:
        """Say nothing more until `mend`."""
        self.silent = True

    def mend(self) -> None:
        """No fault any more."""
        with self._lock:
            self._armed.clear()
            self._held = b""
            self.silent = False

    @property
    def spent(self) -> bool:
        """Whether all that was armed has happened."""
        return not self._armed and not self.silent

    @property
    def none_at_hand(self) -> bool:
        """Whether the next reply goes as it is."""
        return not (self._armed or self._held or self.silent)

    def _arm(self, kind: str, seconds: float, replies: int) -> None:
        with self._lock:
            self._armed.extend([(kind, seconds)] * replies)

    def carry(self, reply: bytes, send: Send) -> None:
        """Send a reply, or what becomes of it."""
        if self.none_at_hand:
            send(reply)
            return
        if self.silent:
            return
        with self._lock:
            kind, seconds = self._armed.popleft() if self._armed else ("", 0.0)
            held = (
                self._held if send == self._held_for else b""
            )  # what was held for a connection dies with it
            reply, self._held = held + reply, b""
            if kind == "merge":
                self._held, self._held_for, reply = reply, send, b""
        if kind == "drop":
            return
        if kind == "close":
            self.hang_up()
            return
        middle = len(reply) // 2
        if kind == "delay":
            time.sleep(seconds)
        elif kind == "garble":
            reply = (
                reply[:middle]
                + bytes(byte ^ 0x55 for byte in reply[middle : middle + 2])
                + reply[middle + 2 :]
            )
        elif kind == "noise":
            reply = b"\x00\xff?#" + reply
        elif kind == "truncate":
            reply = reply[:middle]
        elif kind == "split":
            send(reply[:middle])
            time.sleep(seconds)
            reply = reply[middle:]
        if reply:
            send(reply)
