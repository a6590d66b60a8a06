"""What passes showed, as lines of text for keeping: JSON, one line a pass."""

import json
from collections.abc import Iterable, Sequence
from dataclasses import asdict, fields, replace
from types import UnionType
from typing import Any, Literal, get_args, get_origin

from sweeper.noise.seen import Found, Heard
from sweeper.outside import json_of

FORMAT = "sweeper-noise-1"
MOST, MOST_FOUND, LONGEST_WORD = 1e12, 10_000, 1000
"""Hertz, decibels or counts that no station sees; kinds of noise in one tuning; letters of a band's name."""
FIRST_S, LAST_S = 0.0, 7.0e9
"""1970 to 2190, in seconds since 1970."""
LEAST_HZ = 1e-3
LATER = {"first_hz"}
"""Fields that lines of before have not."""


def line_of(heard: Sequence[Heard]) -> str:
    """The tunings of one pass as one line, without its end."""
    return json.dumps({"format": FORMAT, "tunings": [asdict(each) for each in heard]})


def heard_of(lines: Iterable[str]) -> list[Heard]:
    """All tunings of such lines; a line that is torn or of another form is left out, as is a pass's second one."""
    found: dict[tuple[int, str, float], Heard] = {}
    for line in lines:
        try:
            told = json_of(line)
            if told["format"] != FORMAT:
                continue
            every = [_heard(each) for each in told["tunings"]]
        except (ValueError, TypeError, KeyError):
            continue
        for one in every:
            found[one.pass_number, one.band, one.start_hz] = one
    return sorted(found.values(), key=lambda each: (each.time, each.start_hz))


def _heard(told: Any) -> Heard:
    found = told["found"]
    if not isinstance(found, list) or len(found) > MOST_FOUND:
        raise ValueError("these are no kinds of noise")
    one: Heard = _checked(Heard, {**told, "found": ()})
    if not (FIRST_S <= one.time <= LAST_S and one.pass_number >= 1):
        raise ValueError("no pass was then")
    return replace(one, found=tuple(_found(each) for each in found))


def _found(told: Any) -> Found:
    one: Found = _checked(Found, told)
    if one.kind in ("mains", "comb") and one.every_hz < LEAST_HZ:
        raise ValueError("its lines have no spacing")
    return one


def _checked(kind: Any, told: dict[str, Any]) -> Any:
    """A value of that dataclass, if its fields are told (`LATER` may lack), no others, each of its type and bounds."""
    types = {each.name: each.type for each in fields(kind)}
    if not set(types) - LATER <= set(told) <= set(types):
        raise ValueError("other things are told")
    if wrong := [name for name, value in told.items() if name != "found" and not _fits(value, types[name])]:
        raise ValueError(f"{wrong[0]} is none")
    return kind(**told)


def _fits(value: Any, kind: Any) -> bool:
    if get_origin(kind) is Literal:
        return isinstance(value, str) and value in get_args(kind)
    if isinstance(kind, UnionType):
        return value is None or _fits(value, get_args(kind)[0])
    if kind is str:
        return isinstance(value, str) and len(value) <= LONGEST_WORD
    if kind is bool or isinstance(value, bool):
        return kind is bool and isinstance(value, bool)
    whole = kind is not int or isinstance(value, int)
    return isinstance(value, int | float) and whole and -MOST <= value <= MOST
