"""A long season with its mishaps: what goes wrong when, drawn from a seed, and a clock that lets it happen.

Everything happens in the one thread that sleeps, at its moment of simulated time, so that a season with faults
runs the same twice.
"""

import heapq
import itertools
import math
import threading
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Literal

from sweeper.clock import JumpingClock
from sweeper.simulation.chance import uniform
from sweeper.simulation.serve import Served

What = Literal[
    "lost reply",
    "garbled reply",
    "silence",
    "receiver unplugged",
    "board unplugged",
    "receiver rebooted",
    "board rebooted",
    "stuck relay",
    "frozen meter",
    "operator",
    "transmission",
    "clock step",
]

A_SEASON: Mapping[What, float] = {
    "lost reply": 0.5,
    "garbled reply": 0.5,
    "silence": 0.05,
    "receiver unplugged": 0.03,
    "board unplugged": 0.03,
    "receiver rebooted": 0.05,
    "board rebooted": 0.05,
    "stuck relay": 0.02,
    "frozen meter": 0.05,
    "operator": 0.5,
    "transmission": 0.2,
    "clock step": 0.05,
}
"""How often in a night each comes, on average: an unlucky station, but no impossible one."""
_LASTS_S: Mapping[What, tuple[float, float]] = {
    "silence": (30.0, 1800.0),
    "receiver unplugged": (60.0, 7200.0),
    "board unplugged": (60.0, 7200.0),
    "stuck relay": (600.0, 7200.0),
    "frozen meter": (300.0, 3600.0),
    "operator": (120.0, 3600.0),
    "transmission": (5.0, 180.0),
}
_LONGEST_STEP_S = 90.0


@dataclass(frozen=True, slots=True, order=True)
class Mishap:
    """Something that happens at a moment (UTC) and lasts so many seconds; 0 for what is over at once."""

    at: datetime
    what: What
    lasts_s: float = 0.0
    size: float = 0.0
    """Seconds of a clock step; hertz where an operator goes; otherwise 0."""


class EventfulClock(JumpingClock):
    """A clock that jumps, but stops on its way wherever something is to happen."""

    def __init__(self, start: datetime) -> None:
        super().__init__(start)
        self._due: list[tuple[float, int, Callable[[], None]]] = []
        self._count = itertools.count()

    def after(self, seconds: float, action: Callable[[], None]) -> None:
        """Do `action` when so many seconds have passed from now."""
        heapq.heappush(self._due, (self.monotonic() + seconds, next(self._count), action))

    def sleep(self, seconds: float, wake: threading.Event | None = None) -> bool:
        end = self.monotonic() + max(seconds, 0.0)
        while self._due and self._due[0][0] <= end:
            moment, _, action = heapq.heappop(self._due)
            if super().sleep(moment - self.monotonic(), wake):
                heapq.heappush(self._due, (moment, -1, action))
                return True
            action()
        return super().sleep(end - self.monotonic(), wake)


def mishaps(
    seed: int, start: datetime, nights: int, rates: Mapping[What, float] = A_SEASON
) -> tuple[Mishap, ...]:
    """The mishaps of so many nights from `start` on, in order of time. `rates` says how many a night there are."""
    drawn = []
    for what, rate in rates.items():
        at_night, nth = 0.0, 0
        while rate > 0.0:
            at_night -= math.log(uniform(seed, what, nth, "gap")) / rate
            if at_night >= nights:
                break
            shortest_s, longest_s = _LASTS_S.get(what, (0.0, 0.0))
            part = uniform(seed, what, nth, "length")
            lasts_s = shortest_s * (longest_s / shortest_s) ** part if shortest_s else 0.0
            size = 0.0
            if what == "clock step":
                size = _LONGEST_STEP_S * (2.0 * uniform(seed, what, nth, "size") - 1.0)
            elif what == "operator":
                size = round(1e6 * (1.0 + 28.0 * uniform(seed, what, nth, "size")), -2)
            drawn.append(Mishap(start + timedelta(days=at_night), what, lasts_s, size))
            nth += 1
    return tuple(sorted(drawn))


def arm(clock: EventfulClock, served: Served, season: Iterable[Mishap]) -> None:
    """Let a season's mishaps befall a served station, each at its moment and for its time."""
    for mishap in season:
        begin, end = _actions(clock, served, mishap)
        wait_s = (mishap.at - clock.now()).total_seconds()
        clock.after(wait_s, begin)
        if end is not None:
            clock.after(wait_s + mishap.lasts_s, end)


def _actions(
    clock: EventfulClock, served: Served, mishap: Mishap
) -> tuple[Callable[[], None], Callable[[], None] | None]:
    """How a mishap begins and, if it lasts, how it ends."""
    bench, receiver, switch = served.receiver, served.faults.receiver, served.faults.switch

    def frozen(yes: bool) -> None:
        bench.frozen = yes

    def transmitting(yes: bool) -> None:
        bench.transmitting = yes

    def reboot(hang_up: Callable[[], None], restart: Callable[[], None]) -> None:
        restart()
        hang_up()

    match mishap.what:
        case "lost reply":
            return receiver.drop, None
        case "garbled reply":
            return receiver.garble, None
        case "silence":
            return receiver.hang, receiver.mend
        case "receiver unplugged":
            return receiver.unplug, receiver.plug
        case "board unplugged":
            return switch.unplug, switch.plug
        case "receiver rebooted":
            return lambda: reboot(receiver.hang_up, bench.reboot_receiver), None
        case "board rebooted":
            return lambda: reboot(switch.hang_up, bench.reboot_board), None
        case "stuck relay":
            return lambda: bench.stick(0), lambda: bench.loosen(0)
        case "frozen meter":
            return lambda: frozen(True), lambda: frozen(False)
        case "operator":
            return lambda: bench.turn_dial(int(mishap.size), "LSB"), lambda: bench.turn_dial(7_074_000, "LSB")
        case "transmission":
            return lambda: transmitting(True), lambda: transmitting(False)
        case "clock step":
            return lambda: clock.step(mishap.size), None
