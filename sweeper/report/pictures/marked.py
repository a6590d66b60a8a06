"""Marks under the spectrum of a tuning: a comb's lines as ticks, a hump's edges as a bracket, and both in words.

A row each, its name at its left, where a phone shows it first.
"""

from collections.abc import Callable, Iterator, Sequence
from datetime import UTC, datetime
from html import escape
from zoneinfo import ZoneInfo

from sweeper.noise.shown import Shown
from sweeper.report import wording

ROW = 13
"""Height of a row of marks, in the picture's points."""
TICK = 7


def rows(marks: Sequence[Shown], x: Callable[[float], float], left: float, top: float) -> Iterator[str]:
    """The rows, the first one from `top` down; `x` of a frequency in hertz; names end at `left`."""
    for nth, mark in enumerate(marks):
        y = top + ROW * nth + 3
        if mark.kind == "comb":
            d = "".join(f"M{x(hz):.1f} {y}v{TICK}" for hz in mark.lines_hz)
        else:
            d = f"M{x(mark.low_hz):.1f} {y + TICK}v-{TICK}H{x(mark.high_hz):.1f}v{TICK}"
        yield f'<path class="way" d="{d}"/><text class="level" x="{left}" y="{y + TICK}">{escape(brief(mark))}</text>'


def brief(mark: Shown) -> str:
    """``21.3 kHz``: the spacing of a comb; what else it is."""
    return mark.name.removeprefix("comb every ") if mark.kind == "comb" else mark.kind


def in_words(marks: Sequence[Shown], zone: str) -> list[str]:
    """Each mark of one picture for those who do not see it."""
    return [
        f"{len(mark.lines_hz)} ticks mark a {mark.name}, as it stood at {clock(mark, zone)}"
        if mark.kind == "comb"
        else f"a bracket marks the {mark.name}"
        for mark in marks
    ]


def sentences(marks: Sequence[Shown], zone: str) -> list[str]:
    """A sentence for each source: by what it is marked, under which bands, and when it stood so."""
    found = []
    for name in dict.fromkeys(mark.name for mark in marks):
        mine = [mark for mark in marks if mark.name == name]
        comb = mine[0].kind == "comb"
        where = [
            f"{mark.band}{f' ({_day(mark, zone)}, {clock(mark, zone)})' if comb or mark.levels_db else ''}"
            for mark in mine
        ]
        sign = "ticks" if comb else "a bracket"
        found.append(f"{name[0].upper()}{name[1:]}: {sign} under {', '.join(where)}.")
    if any(mark.levels_db for mark in marks):
        found.append(
            "What wanders or comes and goes is lost in a median: the spectrum of that one pass is drawn over it."
        )
    return [line.replace(" kHz", "\u00a0kHz") for line in found]


def clock(mark: Shown, zone: str) -> str:
    """When it stood so: ``20:31``."""
    return wording.clock(datetime.fromtimestamp(mark.time, UTC), zone)


def _day(mark: Shown, zone: str) -> str:
    there = datetime.fromtimestamp(mark.time, ZoneInfo(zone))
    return f"{there.day} {there:%B}"
