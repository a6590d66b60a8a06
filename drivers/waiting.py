"""Every wait of every driver ends here: until when it may last, and who may end it sooner.

The one place in `drivers` that looks at time. A `Deadline` is made once for a whole request and asked what is left
before each step of it, so that bytes that drip, or steps that each end in time, cannot add up. Around it the program
sets bounds for everything a thread does meanwhile (`bounded`): a stop order, a time by which all must be over, a
clock. A driver waits only through `Deadline`, `pause` and `ready`, in stretches of at most `LOOK_S`.
"""

import math
import select
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from typing import Any, Protocol, TypeVar

from drivers.errors import CalledOff

T = TypeVar("T")

LOOK_S = 0.1
"""Between looks for a stop order. Nothing is asked while bytes come at their usual pace, so it costs nothing."""


class Clock(Protocol):
    """What a driver may ask of time."""

    def monotonic(self) -> float:
        """Seconds since some fixed moment; never steps back."""
        ...

    def sleep(self, seconds: float) -> object:
        """Let `seconds` pass."""
        ...


class _OwnClock:
    monotonic = staticmethod(time.monotonic)
    sleep = staticmethod(time.sleep)


_OWN_CLOCK: Clock = _OwnClock()


class StopOrder(threading.Event):
    """An order to stop that remembers when it was given, so that all that is still done then shares one grace."""

    def __init__(self, clock: Clock = _OWN_CLOCK) -> None:
        super().__init__()
        self._clock = clock
        self.given_s = 0.0

    def set(self) -> None:
        self.given_s = self._clock.monotonic()
        super().set()


class _Bounds:
    """What holds for every wait of a thread: the clock, a stop order, and until when."""

    def __init__(self, clock: Clock, until_s: float, stop: threading.Event | None, grace_s: float) -> None:
        self.clock = clock
        self.until_s = until_s
        self.stop = stop
        self.grace_s = grace_s

    def heed(self, part: str) -> float:
        """The moment, on the clock, by which all must be over. `CalledOff` once a stop order leaves no grace."""
        if self.stop is not None and self.stop.is_set():
            if self.grace_s <= 0.0:
                raise CalledOff(part, "asked to stop while waiting for it.")
            given_s = self.stop.given_s if isinstance(self.stop, StopOrder) else self.clock.monotonic()
            self.until_s = min(self.until_s, given_s + self.grace_s)
            self.stop = None
        return self.until_s


_NONE = _Bounds(_OWN_CLOCK, math.inf, None, 0.0)
_around: ContextVar[_Bounds] = ContextVar("bounds", default=_NONE)


@contextmanager
def bounded(
    within_s: float = math.inf,
    stop: threading.Event | None = None,
    grace_s: float | None = None,
    clock: Clock | None = None,
) -> Iterator[None]:
    """Bound every wait inside, in this thread: to `within_s` seconds from now, and by `stop`.

    Once `stop` is set, waits raise `drivers.errors.CalledOff`; with `grace_s`, they go on for so many seconds instead
    (of a `StopOrder`: from when it was given), and then time out as usual. What is not given is as it was outside;
    nothing inside can last longer than outside.
    """
    outer = _around.get()
    clock = clock or outer.clock
    until_s = outer.until_s
    if clock is not outer.clock:
        until_s += clock.monotonic() - outer.clock.monotonic()  # as long as is left, told by another clock
    if within_s < math.inf:
        until_s = min(until_s, clock.monotonic() + within_s)
    if grace_s is None:
        grace_s = outer.grace_s
    token = _around.set(_Bounds(clock, until_s, stop or outer.stop, grace_s))
    try:
        yield
    finally:
        _around.reset(token)


def clock() -> Clock:
    """The clock of this thread's bounds."""
    return _around.get().clock


def monotonic() -> float:
    """Seconds since some fixed moment, by the clock of this thread's bounds."""
    return _around.get().clock.monotonic()


class Deadline:
    """When something must be over: `within_s` seconds from now, or earlier where the thread is bounded."""

    __slots__ = ("_at_s", "_part", "within_s")

    def __init__(self, within_s: float, part: str) -> None:
        self.within_s = within_s
        self._part = part
        self._at_s = _around.get().clock.monotonic() + within_s

    def remaining(self) -> float:
        """Seconds left; 0 when it is over. `CalledOff` when somebody ordered to stop."""
        around = _around.get()
        return max(min(self._at_s, around.heed(self._part)) - around.clock.monotonic(), 0.0)

    def look_s(self) -> float:
        """For how long to wait before the next look at this deadline; 0 when it is over. `CalledOff` as above."""
        return min(self.remaining(), LOOK_S)

    def sooner(self, within_s: float) -> "Deadline":
        """This one, or one `within_s` seconds from now where that is earlier."""
        return Deadline(min(self.remaining(), within_s), self._part)


def pause(seconds: float, part: str) -> None:
    """Let `seconds` pass, or fewer where the thread is bounded. `CalledOff` when somebody ordered to stop."""
    deadline = Deadline(seconds, part)
    while (left_s := deadline.look_s()) > 0.0:
        _around.get().clock.sleep(left_s)


def ready(file: Any, deadline: Deadline, events: int = select.POLLIN) -> bool:
    """Wait until `file` (anything with a descriptor) can be read, or what `events` says; False when time is over."""
    poll = select.poll()
    poll.register(file, events)
    while True:
        left_s = deadline.look_s()
        if poll.poll(math.ceil(left_s * 1000)):
            return True
        if left_s <= 0.0:
            return False


class GivenUp(TimeoutError):
    """What was done aside did not come back in time."""


def aside(call: Callable[[], T], deadline: Deadline, discard: Callable[[T], None]) -> T:
    """What `call` returns or raises, done on a thread of its own; `GivenUp` when it is not back in time.

    For what a library or the system waits for without end (names of hosts, say). What comes too late is discarded.
    """
    done = threading.Event()
    lock = threading.Lock()
    result: list[T] = []
    raised: list[BaseException] = []
    given_up = False

    def run() -> None:
        try:
            value = call()
            with lock:
                result.append(value)
                late = given_up
            if late:
                discard(value)
        except BaseException as fault:
            raised.append(fault)
        finally:
            done.set()

    threading.Thread(target=run, name="aside", daemon=True).start()
    try:
        while not done.wait(left_s := deadline.look_s()):
            if left_s <= 0.0:
                raise GivenUp("no answer in time")
    except BaseException:
        with lock:
            given_up = True
            late_result = bool(result)
        if late_result:
            discard(result[0])
        raise
    if raised:
        try:
            raise raised.pop()  # not kept here, or it and all that its frames hold would live on in a circle
        finally:
            del call, run
    return result[0]
