"""Switched by hand: what a person pressed, held against the steps that are heard. Numbers and words only.

Where the noise steps by 2 dB and more, the steps say when: presses come late, twice or not at all. Which way is in is
told by the direction of the first step, since the test begins with the stage out, and by what most presses say; where
the two contradict each other nothing is believed. Smaller steps are not seen one by one, so the presses stand for
them. Beside a press a second is left out, unless the sound as a whole tells the instant of the flip (`flips`), and then
only flips whose instant is told count; whether presses and flips still go together is seen over all of them.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from math import inf
from typing import Literal

import numpy as np

from sweeper.ab.moments import Marks, moments, turning
from sweeper.attended.flips import placed
from sweeper.attended.levels import Levels
from sweeper.attended.stays import NEVER_AT_REST, Stay, Stays
from sweeper.words import Route, SignalPath

Key = Literal["switched", "load"]

TWICE_S = 0.7
"""Two presses of one key within this are one."""
NEAR_S = 2.5
"""A press belongs to a step so far from it at most."""
BEFORE_S, AFTER_S = 1.2, 0.4
"""Left out beside a press whose step is not seen: a hand flips first, presses then, and some the other way round."""
APART_S, ASTRAY_S = 2.6, 1.4
"""Sides of a flip that lie further apart than this are not compared; and so much more is left out before a press whose
flip is not told though others are. It is mostly one at which the carrier faded against the stage, which hides the step;
so such flips would read low (2 dB and more), each in its own way and all together."""
MARGIN_S = 0.16
"""What a step that is seen may be off by."""
CABLE_S, LOAD_AFTER_S = 4.0, 1.0
"""Left out before and after a change between antenna and load: a cable is unscrewed before the key is pressed."""
AGREE = 0.7
"""Share of the presses that has to go with the steps."""
SHORTEST_S = 3.0
"""Antenna heard before steps are looked for."""
NO_MARKS = Marks((), 0.0)
HURRY_S, HURRIED = 2.0, 6
"""Flips that follow each other faster leave little to compare beside them; told by the middle of so many presses."""
FEWEST_EACH = 4
"""Changes on each side from which it can be told that they got out of step."""

TOO_FAST = "You switch faster than can be compared: leave three seconds between flips."
CONTRADICT = (
    "What you pressed and the steps that are heard do not go together, so nothing is told: begin again with the stage "
    "out, and press the space bar once at each flip."
)


@dataclass(frozen=True, slots=True)
class Press:
    """``switched``: I have switched the stage; ``load``: the load is in place of the antenna, or no longer."""

    key: Key
    at_s: float
    claims: Route = "stage"
    """Where the stage stood after it, by what the person was told before."""


def single(presses: Sequence[Press]) -> list[Press]:
    """Without those that came twice."""
    kept: list[Press] = []
    for press in presses:
        last = next((each for each in reversed(kept) if each.key == press.key), None)
        if last is None or press.at_s - last.at_s > TWICE_S:
            kept.append(press)
    return kept


class ByHand:
    """A person's switching from `began_s` on, beginning with the stage out on the antenna."""

    def __init__(self, began_s: float) -> None:
        self._began_s = began_s
        self._presses: list[Press] = []
        self._last: Stays = Stays((Stay(SignalPath("antenna", "bypass"), began_s),))
        self.seen = False

    def pressed(self, key: Key, at_s: float) -> None:
        """A key at that instant."""
        known = [stay for stay in self._last.each if stay.from_s <= at_s - NEAR_S]
        route, from_s = (known[-1].path.route, known[-1].from_s) if known else ("bypass", self._began_s)
        if from_s > self._began_s:
            from_s += NEAR_S  # whatever was pressed until then belongs to that very change
        since = sum(press.key == "switched" and press.at_s > from_s for press in single(self._presses))
        flipped = (route == "stage") == (since % 2 == 0)
        self._presses.append(Press(key, at_s, "bypass" if flipped else "stage"))

    @property
    def stands(self) -> SignalPath:
        """Where the switch stands by what was heard and pressed last."""
        route: Route = self._last.each[-1].path.route if self._last.each else "bypass"
        switched = [press for press in single(self._presses) if press.key == "switched"]
        if switched and self._last.each and switched[-1].at_s > self._last.each[-1].from_s + NEAR_S:
            route = switched[-1].claims
        return SignalPath("load" if self.on_load else "antenna", route)

    @property
    def last_s(self) -> float:
        """When something was last switched, by ear or key; when it began, before that."""
        heard_s = self._last.each[-1].from_s if self._last.each else self._began_s
        return max([self._began_s, heard_s, *(press.at_s for press in self._presses)])

    @property
    def hurried(self) -> bool:
        """Whether the latest flips were pressed so fast that fewer than half of all are believed."""
        pressed_s = [press.at_s for press in single(self._presses) if press.key == "switched"]
        if len(pressed_s) < HURRIED or 2 * self._last.edges >= len(pressed_s):
            return False
        return float(np.median(np.diff(pressed_s[-HURRIED:]))) < HURRY_S

    @property
    def on_load(self) -> bool:
        """Whether the load is in place of the antenna, by what was pressed."""
        return sum(press.key == "load" for press in single(self._presses)) % 2 == 1

    @property
    def load_seen(self) -> bool:
        """Whether it was there and is gone again."""
        return sum(press.key == "load" for press in single(self._presses)) >= 2

    def stays(self, levels: Levels) -> Stays:
        """What is to be believed by now."""
        presses = single(self._presses)
        parts = _parts(presses, self._began_s)
        heard = _on_antenna(parts, levels)
        joined = np.concatenate([part.floor_db for part in heard])
        marks = moments(joined, levels.every_s) if len(joined) * levels.every_s > SHORTEST_S else NO_MARKS
        self.seen = bool(marks.moments)
        stays = _by_steps(parts, presses, heard, marks) if self.seen else _by_presses(parts, presses, levels)
        if stays.each:
            self._last = stays
        return stays


@dataclass(frozen=True, slots=True)
class _Part:
    """A time on one source, changes of cables left out: they are over at `over_s`."""

    source: Literal["antenna", "load"]
    from_s: float
    until_s: float
    over_s: float = inf


def _parts(presses: Sequence[Press], began_s: float) -> list[_Part]:
    parts: list[_Part] = []
    source: Literal["antenna", "load"] = "antenna"
    from_s = began_s
    for press in presses:
        if press.key == "load":
            parts.append(_Part(source, from_s, max(press.at_s - CABLE_S, from_s), press.at_s + LOAD_AFTER_S))
            source = "load" if source == "antenna" else "antenna"
            from_s = press.at_s + LOAD_AFTER_S
    parts.append(_Part(source, from_s, inf))
    return parts


def _on_antenna(parts: Sequence[_Part], levels: Levels) -> list[Levels]:
    return [levels.between(part.from_s, part.until_s) for part in parts if part.source == "antenna"]


def _by_steps(
    parts: Sequence[_Part], presses: Sequence[Press], heard: Sequence[Levels], marks: Marks
) -> Stays:
    """Every step up leads to one route and every step down to the other. `heard`: the parts on the antenna, of which
    `marks` holds the steps as if they followed each other.
    """
    every_s = heard[0].every_s
    turned = turning(
        np.concatenate([part.floor_db for part in heard]),
        np.concatenate([part.total_db for part in heard]),
        every_s,
        marks.moments,
    )
    if turned.coming_s == inf:
        return Stays((), NEVER_AT_REST)
    steps = [replace(step, at_s=_instant(heard, step.at_s)) for step in marks.moments]
    up: Route = "stage" if steps[0].step_db > 0.0 else "bypass"
    down: Route = "bypass" if up == "stage" else "stage"
    claims = []
    for press in presses:
        if press.key == "switched":
            away = [abs(step.at_s - press.at_s) for step in steps]
            nearest = int(np.argmin(away))
            if away[nearest] <= NEAR_S:
                claims.append(press.claims == (up if steps[nearest].step_db > 0.0 else down))
    if claims and sum(claims) < AGREE * len(claims):
        return Stays((), CONTRADICT)
    each: list[Stay] = []
    route: Route = "bypass"
    for part in parts:
        from_s = part.from_s
        if part.source == "load":
            flips, from_s, route = _flipped(part, route, presses)
            each += flips
        for step in steps if part.source == "antenna" else ():
            if part.from_s <= step.at_s < part.until_s:
                rises = step.step_db > 0.0
                before_s, after_s = turned.beside(rises)
                each.append(Stay(SignalPath("antenna", route), from_s, step.at_s - MARGIN_S - before_s))
                route, from_s = (up if rises else down), step.at_s + MARGIN_S + after_s
        each.append(Stay(SignalPath(part.source, route), from_s, part.until_s))
        route = _turned(route, _between(part, presses, [step.at_s for step in steps]))
    return Stays(tuple(stay for stay in each if stay.until_s > stay.from_s))


def _between(part: _Part, presses: Sequence[Press], steps_s: Sequence[float]) -> int:
    """Flips while cables were changed after a part, where no step tells: presses that belong to none before."""
    own = [
        press.at_s
        for press in presses
        if press.key == "switched" and part.until_s <= press.at_s < part.over_s
    ]
    return sum(all(not press_s - NEAR_S < step_s < part.until_s for step_s in steps_s) for press_s in own)


def _turned(route: Route, flips: int) -> Route:
    other: Route = "stage" if route == "bypass" else "bypass"
    return other if flips % 2 else route


def _instant(heard: Sequence[Levels], at_s: float) -> float:
    """Of the source's clock, from seconds of antenna heard."""
    for part in heard[:-1]:
        if at_s < len(part.floor_db) * part.every_s:
            return part.start_s + at_s
        at_s -= len(part.floor_db) * part.every_s
    return heard[-1].start_s + at_s


def _by_presses(parts: Sequence[_Part], presses: Sequence[Press], levels: Levels) -> Stays:
    """One flip at each press. Where instants are told, flips without one are not compared; where none is, a second
    beside each is left out.
    """
    each: list[Stay] = []
    route: Route = "bypass"
    for part in parts:
        flips, from_s, route = _flipped(part, route, presses, levels)
        each += flips
        each.append(Stay(SignalPath(part.source, route), from_s, part.until_s))
        route = _turned(route, _between(part, presses, ()))
    stays = tuple(stay for stay in each if stay.until_s > stay.from_s)
    return Stays((), CONTRADICT) if out_of_step(stays, levels) else Stays(stays)


def _flipped(
    part: _Part, route: Route, presses: Sequence[Press], levels: Levels | None = None
) -> tuple[list[Stay], float, Route]:
    """The stays that a press ended, and from when on it stands how at the end; at first it stands at `route`. `levels`:
    of the sound, where it may tell the instants.
    """
    each, from_s = [], part.from_s
    pressed_s = [
        press.at_s
        for press in presses
        if press.key == "switched" and part.from_s <= press.at_s < part.until_s
    ]
    told_s = [None] * len(pressed_s) if levels is None else placed(pressed_s, levels, BEFORE_S, AFTER_S)
    before_s = BEFORE_S + (ASTRAY_S if any(at_s is not None for at_s in told_s) else 0.0)
    for press_s, at_s in zip(pressed_s, told_s, strict=True):
        until_s, again_s = (
            (press_s - before_s, press_s + AFTER_S) if at_s is None else (at_s - MARGIN_S, at_s + MARGIN_S)
        )
        each.append(Stay(SignalPath(part.source, route), from_s, until_s))
        route, from_s = _turned(route, 1), again_s
    return each, from_s, route


def out_of_step(stays: Sequence[Stay], levels: Levels) -> bool:
    """Whether the noise stepped one way with the stage up to some change and the other way from there on.

    A flip that was pressed twice, or not at all, turns everything round. By the mean step before and after against its
    error.
    """
    steps = []
    for one, other in pairwise(stays):
        if one.path.source == other.path.source == "antenna" and one.path.route != other.path.route:
            before = levels.between(max(one.from_s, one.until_s - 3.0), one.until_s).floor_db
            after = levels.between(other.from_s, min(other.until_s, other.from_s + 3.0)).floor_db
            if len(before) >= 5 and len(after) >= 5:
                rise = float(np.median(after) - np.median(before))
                steps.append(rise if other.path.route == "stage" else -rise)
    for split in range(FEWEST_EACH, len(steps) - FEWEST_EACH + 1):
        first, second = _sure_sign(steps[:split]), _sure_sign(steps[split:])
        if first * second < 0.0:
            return True
    return False


def _sure_sign(steps: Sequence[float]) -> float:
    """Of the mean, 0 unless it is beyond four of its errors."""
    mean, error = float(np.mean(steps)), float(np.std(steps, ddof=1) / np.sqrt(len(steps)))
    return float(np.sign(mean)) if abs(mean) > 4.0 * max(error, 0.05) else 0.0
