"""The tunings of a band that is measured from its edges: as few as the sampled width allows. Pure."""

from itertools import pairwise
from math import ceil

USABLE = 0.8
"""Share of the sampled width that is used: towards its ends the receiver's own filter falls off, and folds."""


def tunings(edges_hz: tuple[int, int], rate_hz: int) -> tuple[tuple[int, tuple[int, int]], ...]:
    """(centre, (lowest, highest)) of each, in hertz: equal parts of the band, each within the width that is used."""
    lowest, highest = edges_hz
    count = max(ceil((highest - lowest) / (USABLE * rate_hz)), 1)
    ends = [lowest + round(nth * (highest - lowest) / count) for nth in range(count + 1)]
    return tuple(((first + last) // 2, (first, last)) for first, last in pairwise(ends))
