"""Whether the meter has settled when a visit begins to read it: one sentence where it has not.

A visit that reads sooner measures the path or the channel before. What is looked at is noise, which does not fade.
"""

import math
from collections.abc import Sequence
from itertools import cycle
from statistics import median

from drivers.contracts import Receiver, Switch
from sweeper.clock import Clock
from sweeper.station import Station
from sweeper.words import ANTENNA_STAGE, Channel

HOPS = 4
"""There and back, twice: a server that remembers its last reading for a while shows it in most of them."""
WATCHED_S = 1.5
LATE = 0.25
"""Of the way to the new level, from which on a reading is not there yet."""
LEAST_DB = 2.0
"""What noise and the steps of a 1 dB meter do not do to a median of a few readings."""
STRAYS = 3.0
"""Times as far as the meter moves by itself in the end: numbers of a meter need be no decibels, and levels drift."""

Course = Sequence[tuple[float, float]]
"""Seconds since a visit would have begun to read, and what the meter showed."""


def unsettled(
    station: Station, receiver: Receiver, switch: Switch, clock: Clock, noise: Sequence[Channel]
) -> str:
    """What to mend where the meter comes late in more than one of several moves of dial and relay; empty else."""
    if not noise or station.switch.by_hand or station.receiver.by_hand:
        return ""
    late = []
    places = cycle(((noise[-1], str(ANTENNA_STAGE)), (noise[0], station.switch.rest)))
    for _, (channel, path) in zip(range(HOPS), places, strict=False):
        switch.select(path)
        receiver.set_mode(station.receiver.mode, channel.bandwidth_hz)
        receiver.tune(station.receiver.dial_hz(channel.hz))
        clock.sleep(max(station.switch.settle_s, station.receiver.settle_s))
        late.append(late_s(_course(receiver, clock, station.receiver.interval_s), station.receiver.readings))
    if sum(each > 0.0 for each in late) < 2:
        return ""
    begins_s = station.receiver.settle_s
    wanted_s = math.ceil((begins_s + max(late)) * 10 + 1) / 10
    return (
        f"after a move the meter still changes {max(late):.1f} s after a visit has begun to read, so it would measure "
        f"what was there before. Raise receiver.settle_s from {begins_s:g} to {wanted_s:g} and look again."
    )


def _course(receiver: Receiver, clock: Clock, interval_s: float) -> Course:
    began_s = clock.monotonic()
    course = []
    while (at_s := clock.monotonic() - began_s) < WATCHED_S:
        course.append((at_s, receiver.read_power()))
        clock.sleep(max(interval_s, 0.02))
    return course


def late_s(course: Course, count: int) -> float:
    """How long the meter was not yet where it ends, seconds; 0 where the first `count` readings are there already."""
    shown = [value for _, value in course]
    tail = shown[-max(len(shown) // 3, 1) :]
    ends_at, moves = median(tail), max(tail) - min(tail)
    way = abs(median(shown[:count]) - ends_at)
    if way <= max(LEAST_DB, STRAYS * moves):
        return 0.0
    return max((at_s for at_s, value in course if abs(value - ends_at) > LATE * way), default=0.0)
