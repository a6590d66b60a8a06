"""What passes showed, as lines of text for keeping: JSON, one line a pass."""

import json
from collections.abc import Iterable, Sequence
from dataclasses import asdict, fields
from typing import Any

from sweeper.noise.seen import Found, Heard
from sweeper.outside import json_of

FORMAT = "sweeper-noise-1"


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
    names = {each.name for each in fields(Heard)} - {"found"}
    if set(told) != names | {"found"}:
        raise ValueError("this is no tuning of a pass")
    numbers = [told[name] for name in names - {"band", "receiver", "mains_read"}]
    if not all(isinstance(each, int | float) for each in numbers) or not isinstance(told["band"], str):
        raise ValueError("these are no numbers")
    return Heard(**{name: told[name] for name in names}, found=tuple(Found(**each) for each in told["found"]))
