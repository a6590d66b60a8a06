"""Which instant of the schedule comes next, right also when the clock is stepped. Pure but for the clock it reads.

The schedule names instants of the wall clock; how long something took is told by the monotonic one. A step
back of hours means that the clock was wrong before, so the instants it repeats are new ones; a step back of
moments must not measure the same instant twice.
"""

from collections.abc import Callable
from datetime import datetime, timedelta

from sweeper.clock import Clock

NextAfter = Callable[[datetime], datetime | None]
"""The first instant of the schedule after an aware instant; None when there is none any more."""

A_STEP_S = 1.0
"""Clocks are slewed by less than this in one look; anything more is a step."""

LONGEST_REPEAT_S = 1800.0
"""A repeated instant this long after its first run is measured again, however long its interval."""


class ScheduleCursor:
    """Walks along a schedule. `every` takes only each so-many-th instant, to spare the relays."""

    def __init__(self, next_after: NextAfter, clock: Clock, every: int = 1) -> None:
        self._next_after = next_after
        self._clock = clock
        self.every = every
        self._after = clock.now()
        self._pending: datetime | None = None
        self._last: datetime | None = None
        self._last_at_s = 0.0
        self._look()

    def upcoming(self) -> datetime | None:
        """The instant to wait for."""
        if self._pending is not None:
            return self._pending
        instant = self._next_after(self._after)
        for _ in range(self.every - 1):
            instant = instant and self._next_after(instant)
        return instant

    def following(self, instant: datetime) -> datetime | None:
        """The instant after that one."""
        return self._next_after(instant)

    def took(self, instant: datetime) -> None:
        """Remember that `instant` came: the next one is looked for after it."""
        self._last, self._last_at_s = instant, self._clock.monotonic()
        self._after, self._pending = max(self._after, instant), None

    def stepped(self) -> float:
        """Seconds by which the clock was stepped since the last look, 0.0 for none; begins anew from there.

        After a step back the instants between there and here come again. After a step forward the one that was
        waited for is due, and those that never were are left out.
        """
        now, monotonic_s = self._clock.now(), self._clock.monotonic()
        step_s = (now - self._seen).total_seconds() - (monotonic_s - self._seen_at_s)
        self._look()
        if step_s <= -A_STEP_S:
            self._after, self._pending = min(self._after, now), None
            while (again := self._next_after(self._after)) is not None and self._is_repeat(again):
                self._after = again
        elif step_s >= A_STEP_S:
            instant = self.upcoming()
            if instant is not None and instant <= now:
                self._after, self._pending = now, instant
        return step_s if abs(step_s) >= A_STEP_S else 0.0

    def missed(self, at_most: int = 500) -> tuple[datetime, ...]:
        """The instants that went by since the one that came last, but for the latest, which is due at once."""
        now = self._clock.now()
        if self.stepped():
            # In the middle of a pass there was no instant waited for, so none is due at once.
            self._after, self._pending = max(self._after, now), None
            return ()
        gone: list[datetime] = []
        while (instant := self.upcoming()) is not None and instant <= now and len(gone) < at_most:
            gone.append(instant)
            self._after, self._pending = instant, None
        if gone:
            self._pending = gone[-1]
        return tuple(gone[:-1])

    def _look(self) -> None:
        self._seen, self._seen_at_s = self._clock.now(), self._clock.monotonic()

    def _is_repeat(self, instant: datetime) -> bool:
        if self._last is None or instant > self._last:
            return False
        following = self._next_after(instant)
        gap_s = (following - instant).total_seconds() if following is not None else LONGEST_REPEAT_S
        wait_s = max((instant - self._clock.now()).total_seconds(), 0.0)
        apart_s = self._clock.monotonic() - self._last_at_s + wait_s
        return apart_s < min(gap_s / 2, LONGEST_REPEAT_S)


def after_of(times: Callable[[datetime, int], tuple[datetime, ...]]) -> NextAfter:
    """`NextAfter` from a function that lists the next so-many instants after an instant.

    Asks for several at a time, since a schedule by the sun costs more to ask than to list.
    """
    known: list[datetime] = []
    asked: datetime | None = None

    def next_after(after: datetime) -> datetime | None:
        nonlocal asked
        if asked is None or not known or not asked <= after < known[-1]:
            known[:] = times(after, AHEAD)
            asked = after
        return next((instant for instant in known if instant > after), None)

    return next_after


AHEAD = 16


def passes_a_day(next_after: NextAfter, now: datetime) -> float:
    """How many passes a day the schedule has in the week ahead, or as far ahead as `COUNTED` passes reach."""
    week = timedelta(days=7)
    count, instant = 0, next_after(now)
    while instant is not None and instant < now + week and count < COUNTED:
        count += 1
        instant = next_after(instant)
    span = week if count < COUNTED or instant is None else instant - now
    return count * timedelta(days=1) / span


COUNTED = 3000
"""Three passes in ten minutes for a week; a denser schedule is judged by its first days or hours."""
