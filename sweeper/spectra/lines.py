"""Which lines of a band are read: those that stood in earlier passes. Pure.

A line that one pass both chose and read would often be one that had just faded up while the stage was in, where it
stands clearer of the receiver's noise, and its gain would come out too high. So what stood in a pass counts from the
next one on.
"""

from collections.abc import Iterable, Mapping

KEPT_UNDER = "lines that stood"
"""The name under which a station keeps them."""
Known = Mapping[int, float]
"""Frequency in hertz, to how often a line stood there of late."""
KEPT = 0.998
"""Of that, from pass to pass: half is forgotten in some 350 passes, two or three days of one every ten minutes."""
SURE = 1.5
"""Stood twice of late: a passer-by does not."""
FADED = 0.2
SAME_HZ = 325
"""Two lines nearer than this are one: the frequency of a receiver, and that of a sender, wander."""
MOST_READ = 8
"""Of a tuning."""
MOST_KEPT = 64
"""Of a band."""
CENTRE_MOVES_HZ = 3000
"""To one side of a tuning's middle in odd passes and to the other in even ones: how far the samples' centre moves, so
that what moves with it shows."""


def with_pass(known: Known, stood: Iterable[int]) -> dict[int, float]:
    """What is known of a band after one more pass, in which lines stood at these frequencies."""
    after = {hz: often * KEPT for hz, often in known.items()}
    for hz in stood:
        near = min(after, key=lambda each: abs(each - hz), default=None)
        at = hz if near is None or abs(near - hz) > SAME_HZ else near
        after[at] = after.get(at, 0.0) + 1.0
    often_first = sorted(after.items(), key=lambda each: -each[1])
    return {hz: round(often, 4) for hz, often in often_first[:MOST_KEPT] if often > FADED}


def to_read(known: Known, edges_hz: tuple[int, int]) -> tuple[int, ...]:
    """The lines of a tuning that are read: those that stood most often of late, `MOST_READ` at the most."""
    lowest, highest = edges_hz
    sure = sorted((-often, hz) for hz, often in known.items() if often >= SURE and lowest < hz < highest)
    return tuple(sorted(hz for _, hz in sure[:MOST_READ]))


def known_of(kept: object) -> dict[str, dict[int, float]]:
    """By band, what was kept as JSON; nothing of what is not in order."""
    if not isinstance(kept, Mapping):
        return {}
    found: dict[str, dict[int, float]] = {}
    for band, lines in kept.items():
        if isinstance(band, str) and isinstance(lines, Mapping):
            found[band] = {
                int(hz): float(often)
                for hz, often in lines.items()
                if str(hz).isdigit() and isinstance(often, int | float) and 0.0 < often < 1e4
            }
    return found
