"""Figures, nights and hours as a listener reads them. Words only, for every room and for whoever shows findings."""

from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

from sweeper.analysis.statistics.interval import Interval


def decibels(interval: Interval) -> str:
    """``3.1 dB (2.6 to 3.7)``."""
    return f"{interval.value:.1f} dB ({plain(interval.low)} to {plain(interval.high)})"


def plain(value: float) -> str:
    """A number to a tenth, with a true minus sign; never ``−0.0``."""
    text = f"{value:.1f}"
    return "0.0" if text == "-0.0" else text.replace("-", "−")


S_UNIT_DB = 6.0
"""An S-unit below S9: IARU Region 1 technical recommendation R.1 (1990)."""


def s_units(over_s9_db: float) -> str:
    """``S3`` for −36 dB over S9, ``S1½`` between two, ``S9+20`` for 20 above; ``<S1`` below what the needle shows."""
    if over_s9_db > 0:
        return f"S9+{over_s9_db:.0f}"
    halves = round(2 * (9 + over_s9_db / S_UNIT_DB))
    return "<S1" if halves < 2 else f"S{halves // 2}{'½' if halves % 2 else ''}"


def nights_of(count: int) -> str:
    """``1 night``, ``3 nights``."""
    return "1 night" if count == 1 else f"{count} nights"


def on_nights_measured(count: int) -> str:
    """``on the night measured``, ``on the 2 nights measured``: of findings that say nothing of other nights."""
    return "on the night measured" if count == 1 else f"on the {nights_of(count)} measured"


def clock_spans(hours: Sequence[int], zone: str, on: datetime) -> str:
    """``19:00–23:00 and 01:00–02:00 (18:00–22:00 and 00:00–01:00 UTC)``; one of them where the zone keeps UTC."""
    both = []
    for start, length in spans(hours):
        begin = datetime(on.year, on.month, on.day, start, tzinfo=UTC)
        ends = (begin, begin + timedelta(hours=length))
        there = "–".join(f"{moment.astimezone(ZoneInfo(zone)):%H:%M}" for moment in ends)
        both.append((there, "–".join(f"{moment:%H:%M}" for moment in ends)))
    local, utc = zip(*sorted(both), strict=True) if both else ((), ())
    if local == utc:
        return f"{listed(utc)} UTC"
    return f"{listed(local)} ({listed(utc)} UTC)"


def listed(words: Sequence[str]) -> str:
    """``a, b and c``."""
    return " and ".join([", ".join(words[:-1]), words[-1]]) if len(words) > 1 else "".join(words)


def spans(hours: Sequence[int]) -> list[tuple[int, int]]:
    """Hours of the day joined into (first hour, number of hours), across midnight too."""
    wanted = sorted(set(hours))
    if len(wanted) == 24:
        return [(0, 24)]
    starts = [hour for hour in wanted if (hour - 1) % 24 not in wanted]
    found = []
    for start in starts:
        length = 1
        while (start + length) % 24 in wanted:
            length += 1
        found.append((start, length))
    return found
