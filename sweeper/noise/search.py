"""A guided search at home: one circuit or device off at a time, while the source is watched.

Each look tells the source's level, or that it is not there. First it is watched alone, with nothing touched: a source
that comes and goes by itself convicts the innocent, and how seldom it did so is what every later claim rests on. Then,
for each device, off, on, off and on again: only what goes each time it is off and comes back each time it is on has
followed the switch.

*The chance of a claim by mistake.* Of n looks without a change nobody asked for, the rate of such changes is under
3/n a look (the rule of three: Hanley and Lippman-Hand, JAMA 249 (1983) 1743, from memory). The source would have to
change by itself within each of the four waits, in the right direction: (3/n)⁴ for one device, and as many times that
as there were devices tried. All this by callbacks: whoever calls has the person and the receiver.
"""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

ALONE = 10
"""Looks with nothing touched."""
EACH = 3
"""Looks at each stand of a switch: all of them have to agree."""
FALLS_DB = 3.0
"""From this fall on it went away in part: several devices of one kind are told one after the other."""
SURE = 0.95

Look = Callable[[], float | None]
"""The source's level in dB, any zero; None where it is not there."""
Answer = Literal["done", "skip", "end"]
Ask = Callable[[str], Answer]


@dataclass(frozen=True, slots=True)
class Verdict:
    """`device` that the source followed, None where none did; `confidence` that it did, 0 to 1; `fell_db`, None where
    it was not seen any more. `sentence` for the person.
    """

    device: str | None
    confidence: float
    fell_db: float | None
    sentence: str


@dataclass(frozen=True, slots=True)
class _Stand:
    """Levels of the looks at one stand of the switch."""

    levels: tuple[float | None, ...]

    @property
    def there(self) -> bool:
        return all(level is not None for level in self.levels)

    @property
    def mean(self) -> float:
        return float(np.mean([level for level in self.levels if level is not None]))

    def under(self, other: "_Stand") -> bool:
        """Whether every look of this stand lies clear under every look of the other, or shows nothing."""
        if not other.there:
            return False
        lowest = min(level for level in other.levels if level is not None)
        return all(level is None or level <= lowest - FALLS_DB for level in self.levels)


def search(
    name: str,
    look: Look,
    ask: Ask,
    devices: Iterable[str],
    told: Callable[[str], None] = lambda line: None,
    off: list[str] | None = None,
) -> Verdict:
    """Watch the source called `name`, and ask for `devices` one after the other.

    `off` holds at each moment, also when this is cut short, the devices that by the answers are switched off.
    """
    off = [] if off is None else off
    told(f"Touch nothing for {ALONE} looks: first it is watched by itself.")
    alone = _Stand(tuple(look() for _ in range(ALONE)))
    if not any(level is not None for level in alone.levels):
        return Verdict(
            None, 0.0, None, f"The {name} is not there now, so nothing was asked. Try when it runs."
        )
    spread = [level for level in alone.levels if level is not None]
    if not alone.there or max(spread) - min(spread) >= 2 * FALLS_DB:
        return Verdict(
            None,
            0.0,
            None,
            f"The {name} comes and goes by itself ({len(spread)} of {ALONE} looks), so no switch could be told from "
            "chance now. Try when it stays.",
        )
    told(f"It was there in all {ALONE}.")
    steady, tried = ALONE, 0
    for device in devices:
        stands: list[_Stand] = []
        before = alone
        for nth, way in enumerate(("off", "on", "off", "on")):
            answer = _switched(ask, off, way, device, f"Switch {way}: {device}. Nothing else.")
            if answer == "end":
                return _nothing(name, tried)
            if answer == "skip":
                break
            stand = _Stand(tuple(look() for _ in range(EACH)))
            stands.append(stand)
            followed = stand.under(before) if way == "off" else before.under(stand)
            if not followed:
                told(_not_it(name, device, nth))
                if way == "off" and (
                    _switched(ask, off, "on", device, f"Switch on again: {device}.") == "end"
                ):
                    return _nothing(name, tried + 1)
                break
            told(_followed(way, stand, before))
            before = stand
        tried += bool(stands)
        if len(stands) == 4 and stands[2].under(before):
            return _claim(name, device, alone, stands, steady, tried)
        if len(stands) == 1 and stands[0].there:
            steady += EACH  # nothing changed: so many looks more without a change of its own
        elif len(stands) > 1:
            steady = (
                ALONE // 2
            )  # it changed by itself, or only once with the switch: less is known than was thought
        before = alone
    return _nothing(name, tried)


def _switched(ask: Ask, off: list[str], way: str, device: str, words: str) -> Answer:
    """Ask for a device to be switched; what was skipped stays as it was."""
    answer = ask(words)
    if answer == "done":
        off[:] = [each for each in off if each != device] + ([device] if way == "off" else [])
    return answer


def _claim(
    name: str, device: str, alone: _Stand, stands: Sequence[_Stand], steady: int, tried: int
) -> Verdict:
    chance = min((3.0 / steady) ** 4 * tried, 1.0)
    off = [level for stand in stands[::2] for level in stand.levels]
    left = [level for level in off if level is not None]
    fell_db = alone.mean - float(np.mean(left)) if len(left) == len(off) else None
    how = "went away" if fell_db is None else f"fell by {fell_db:.0f} dB"
    confidence = 1.0 - chance
    if confidence < SURE:
        return Verdict(
            None, confidence, fell_db,
            f"The {name} {how} with {device} twice, but it changes too often by itself to be sure "
            f"({confidence:.0%}). Search again when it stays.",
        )  # fmt: skip
    shown = min(int(confidence * 1000) / 10, 99.9)
    return Verdict(
        device, confidence, fell_db,
        f"The {name} {how} each time {device} was off, and came back each time it was on: it comes from there, or "
        f"from what hangs on it ({shown:g} % sure).",
    )  # fmt: skip


def _followed(way: str, stand: _Stand, before: _Stand) -> str:
    if way == "on":
        return "There again."
    return f"It fell by {before.mean - stand.mean:.0f} dB." if stand.there else "Gone."


def _not_it(name: str, device: str, nth: int) -> str:
    if nth == 0:
        return f"The {name} did not change with {device}."
    return f"The {name} did not follow {device} a second time: it changed by itself, or another way."


def _nothing(name: str, tried: int) -> Verdict:
    if tried == 0:
        return Verdict(None, 0.0, None, f"No device was tried, so nothing is said of the {name}.")
    return Verdict(
        None, 0.0, None,
        f"The {name} followed none of the {tried} that were tried: it may come from another circuit, from a "
        "neighbour or from the line.",
    )  # fmt: skip
