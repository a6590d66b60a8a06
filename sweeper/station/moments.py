"""The words of a schedule: lengths of time and moments of the day, read from text. No sun and no calendar here."""

import re
from dataclasses import dataclass
from datetime import time, timedelta
from typing import Literal, get_args

SunEvent = Literal[
    "sunrise",
    "sunset",
    "noon",
    "dawn",
    "dusk",
    "civil dawn",
    "civil dusk",
    "nautical dawn",
    "nautical dusk",
    "astronomical dawn",
    "astronomical dusk",
]
SUN_EVENTS: tuple[SunEvent, ...] = get_args(SunEvent)

_SECONDS = {"s": 1, "min": 60, "h": 3600}
_PART = re.compile(r"([0-9]{1,18}(?:\.[0-9]{1,18})?)\s*(s|min|h)")
_SHIFTED = re.compile(r"([+-])")
_MOST = timedelta(hours=24)


class MomentError(ValueError):
    """A length or moment that cannot be read."""

    def __init__(self, what: str, mend: str) -> None:
        super().__init__(what)
        self.mend = mend


@dataclass(frozen=True, slots=True)
class Moment:
    """A moment of the day: a clock time in the station's zone, or a sun event, shifted by `offset`."""

    event: SunEvent | time
    offset: timedelta = timedelta()


def parse_duration(text: str) -> timedelta:
    """``10 min``, ``1 h 30 min``, ``45 s``: above zero and at most a day."""
    parts = _PART.findall(text)
    if not parts or _PART.sub("", text).strip():
        raise MomentError(
            f"{text!r} is no length of time.", "Write a number with s, min or h, such as 10 min."
        )
    seconds = sum(float(number) * _SECONDS[unit] for number, unit in parts)
    length = timedelta(seconds=min(seconds, 2 * _MOST.total_seconds()))
    if not timedelta(seconds=1) <= length <= _MOST:
        raise MomentError(
            f"{text!r} is not between one second and one day.", "Write a length such as 10 min."
        )
    return length


def parse_moment(text: str) -> Moment:
    """``18:30``, ``sunset``, ``civil dawn + 20 min``, ``sunrise - 1 h``."""
    base, sign, shift = _SHIFTED.split(text, maxsplit=1) if _SHIFTED.search(text) else (text, "", "")
    offset = parse_duration(shift) if sign else timedelta()
    if sign == "-":
        offset = -offset
    words = " ".join(base.lower().split())
    for event in SUN_EVENTS:
        if words == event:
            return Moment(event, offset)
    clock = re.fullmatch(r"([01]?\d|2[0-3]):([0-5]\d)(?::([0-5]\d))?", words)
    if clock is None:
        raise MomentError(
            f"{text!r} is no moment of the day.",
            f"Write a clock time such as 18:30, or one of {', '.join(SUN_EVENTS)}, with + or - a length.",
        )
    return Moment(time(int(clock[1]), int(clock[2]), int(clock[3] or 0)), offset)
