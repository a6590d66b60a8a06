"""Time as a parameter: the real clock, and one that jumps ahead when its users sleep."""

import threading
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from typing import Protocol


class Clock(Protocol):
    """What a part may ask of time."""

    def now(self) -> datetime:
        """The wall clock: an aware UTC instant. It may be stepped, so no interval is taken from it."""
        ...

    def monotonic(self) -> float:
        """Seconds since some fixed moment; never steps back."""
        ...

    def sleep(self, seconds: float, wake: threading.Event | None = None) -> bool:
        """Let `seconds` pass, or fewer if `wake` is set meanwhile. True when woken by `wake`."""
        ...


class SystemClock:
    """The clock of this computer."""

    def now(self) -> datetime:
        return datetime.now(UTC)

    def monotonic(self) -> float:
        return time.monotonic()

    def sleep(self, seconds: float, wake: threading.Event | None = None) -> bool:
        if wake is not None:
            return wake.wait(seconds) if seconds > 0.0 else wake.is_set()
        time.sleep(max(seconds, 0.0))
        return False


class JumpingClock:
    """A clock that stands still while work is done and jumps ahead when its one sleeper sleeps.

    The simulated station reads it from other threads. Only one thread may sleep on it: with two,
    each would age the other's work.
    """

    def __init__(self, start: datetime) -> None:
        if start.tzinfo is None:
            raise ValueError("a clock starts at an aware instant, such as 2026-11-01T16:00:00+00:00")
        self._start = start.astimezone(UTC)
        self._elapsed = 0.0
        self._lock = threading.Lock()
        self._followers: list[Callable[[], None]] = []

    def follow(self, after_jump: Callable[[], None]) -> Callable[[], None]:
        """Have `after_jump` called after each jump, before the sleeper goes on; the call that ends that."""
        self._followers.append(after_jump)
        return lambda: self._followers.remove(after_jump)

    def now(self) -> datetime:
        return self._start + timedelta(seconds=self._elapsed)

    def monotonic(self) -> float:
        return self._elapsed

    def sleep(self, seconds: float, wake: threading.Event | None = None) -> bool:
        if wake is not None and wake.is_set():
            return True
        with self._lock:
            self._elapsed += max(seconds, 0.0)
        for after_jump in tuple(self._followers):
            after_jump()
        return False

    def step(self, seconds: float) -> None:
        """Set the wall clock forward (or back, negative) without letting time pass, as NTP does."""
        with self._lock:
            self._start += timedelta(seconds=seconds)
