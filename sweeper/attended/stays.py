"""When the receiver heard which path. Frozen values, and the order in which a relay goes through the paths."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import pairwise
from math import inf
from typing import Protocol

from sweeper.ab import moments
from sweeper.attended.levels import Levels
from sweeper.words import ANTENNA_BYPASS, ANTENNA_STAGE, LOAD_BYPASS, SignalPath


@dataclass(frozen=True, slots=True)
class Stay:
    """The chain stood at `path`, with nothing moving, from `from_s` to `until_s` of the source's clock."""

    path: SignalPath
    from_s: float
    until_s: float = inf


@dataclass(frozen=True, slots=True)
class Stays:
    """In the order of time. `problem`: why they are not to be believed, one sentence; empty if they are."""

    each: tuple[Stay, ...]
    problem: str = ""

    @property
    def edges(self) -> int:
        """Changes between stage and bypass on the antenna."""
        across = {ANTENNA_BYPASS, ANTENNA_STAGE}
        return sum({one.path, other.path} == across for one, other in pairwise(self.each))


class Timeline(Protocol):
    """What is known of the switching so far."""

    def stays(self, levels: Levels) -> Stays:
        """Up to now. `levels`: of the noise over time, for those that look there for the switch."""
        ...


class ByRelay:
    """A relay's own log: when it was told to move, and when it had settled."""

    def __init__(self) -> None:
        self._each: list[Stay] = []

    def moved(self, path: SignalPath, told_s: float, settled_s: float) -> None:
        """It left where it stood at `told_s`, and stands at `path` from `settled_s` on."""
        if self._each:
            last = self._each[-1]
            self._each[-1] = Stay(last.path, last.from_s, told_s)
        self._each.append(Stay(path, settled_s))

    def stays(self, levels: Levels) -> Stays:
        """A stage that comes up after it was switched in is left out until it is there."""
        known = [
            (before.path, stay)
            for before, stay in pairwise(self._each)
            if levels.start_s <= stay.from_s < levels.until_s
        ]
        heard = [stay for _, stay in known]
        steps = moments.steps_between(
            [stay.from_s - levels.start_s for stay in heard],
            [(path, stay.path) for path, stay in known],
            levels.floor_db,
            levels.every_s,
        )
        turned = moments.Turning(0.0, 0.0, 0.0, *moments.coming_s(levels.floor_db, levels.every_s, steps))
        if turned.coming_s == inf:
            return Stays((), NEVER_AT_REST)
        waits_s = {
            stay.from_s: turned.beside(step.step_db > 0.0)[1] for stay, step in zip(heard, steps, strict=True)
        }
        each = [replace(stay, from_s=stay.from_s + waits_s.get(stay.from_s, 0.0)) for stay in self._each]
        return Stays(tuple(stay for stay in each if stay.until_s > stay.from_s))


NEVER_AT_REST = f"{moments.NEVER_AT_REST[0].upper()}{moments.NEVER_AT_REST[1:]}."
"""Told of a relay and of a hand."""


FIRST_LOAD, LOAD_EACH = 2, 4
"""In and out so often before the first look at the load, and between two looks at it."""


def relay_order(load: bool) -> Iterator[SignalPath]:
    """Out and in by turns, without end; with a load also that in place of the antenna, each time from bypass."""
    pairs = 0
    while True:
        yield ANTENNA_BYPASS
        if load and pairs % LOAD_EACH == FIRST_LOAD:
            yield LOAD_BYPASS
            yield ANTENNA_BYPASS
        yield ANTENNA_STAGE
        pairs += 1
