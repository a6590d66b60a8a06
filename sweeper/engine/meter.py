"""From what the meter shows to dBm and flags. Pure."""

from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

COARSE = 0.5
"""Steps of the meter's own unit from which neighbouring channels may well read alike."""


@dataclass(frozen=True, slots=True)
class Meter:
    """How the station's meter reads; levels in its own unit.

    `curve` holds (reading, dBm) pairs in rising order; empty with `in_dbm` False means uncalibrated.
    """

    in_dbm: bool
    curve: tuple[tuple[float, float], ...] = ()
    floor: float | None = None
    top: float | None = None

    def dbm(self, reading: float) -> float | None:
        """The reading in dBm; None where the meter is not calibrated or the reading lies off its curve."""
        if self.curve:
            return _along(self.curve, reading)
        return reading if self.in_dbm else None

    def flag(self, reading: float) -> str:
        """``floor``, ``clipped`` or nothing."""
        if self.floor is not None and reading <= self.floor:
            return "floor"
        if self.top is not None and reading >= self.top:
            return "clipped"
        return ""


def _along(curve: Sequence[tuple[float, float]], reading: float) -> float | None:
    right = bisect_left(curve, reading, key=lambda point: point[0])
    if right < len(curve) and curve[right][0] == reading:
        return curve[right][1]
    if right == 0 or right == len(curve):
        return None  # a value off the curve was never compared with anything
    (x0, y0), (x1, y1) = curve[right - 1], curve[right]
    return y0 + (y1 - y0) * (reading - x0) / (x1 - x0)


def stuck_readings(values: Sequence[float], visits: Sequence[int], flags: Sequence[str]) -> list[bool]:
    """Which readings of a pass come from a meter that stands still.

    `values`, `visits` (the number of the visit each was taken in) and `flags` have one entry a reading.
    A meter rests on its floor or top for hours, and may well repeat itself during a visit. One that
    shows the same value through three visits in a row, each on another channel or path, has stopped reading;
    but one that reads in whole decibels or S-units may do so on quiet channels, and has stopped only when it
    shows nothing else all through the pass.
    """
    stale = [False] * len(values)
    distinct = sorted(set(values))
    if len(distinct) > 1 and min(b - a for a, b in pairwise(distinct)) >= COARSE:
        return stale
    start = 0
    for end in range(1, len(values) + 1):
        if end < len(values) and values[end] == values[start]:
            continue
        if (
            visits[end - 1] - visits[start] >= 2
            and not flags[start]
            and _whole_visits(visits, start, end) >= 3
        ):
            stale[start:end] = [True] * (end - start)
        start = end
    return stale


def _whole_visits(visits: Sequence[int], start: int, end: int) -> int:
    first_is_whole = start == 0 or visits[start - 1] != visits[start]
    last_is_whole = end == len(visits) or visits[end] != visits[end - 1]
    return visits[end - 1] - visits[start] + 1 - (not first_is_whole) - (not last_is_whole)
