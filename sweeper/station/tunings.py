"""The tunings of a band that is measured from its edges: as few as the sampled width allows. Pure."""

from dataclasses import dataclass
from itertools import pairwise
from math import ceil

USABLE = 0.8
"""Share of the sampled width that is used: towards its ends the receiver's own filter falls off, and folds."""
Edges = tuple[int, int]


@dataclass(frozen=True, slots=True)
class BandTuning:
    """One tuning of a band, in hertz: where its samples are centred, what of them is looked at, and where noise is
    read. `carriers_hz`: the lines that the station file names; None where lines are learned.
    """

    centre_hz: int
    edges_hz: Edges
    noise_hz: tuple[Edges, ...]
    carriers_hz: tuple[int, ...] | None = None


def tunings(
    edges_hz: Edges,
    rate_hz: int,
    noise_edges_hz: tuple[Edges, ...] = (),
    carriers_hz: tuple[int, ...] | None = None,
) -> tuple[BandTuning, ...]:
    """Equal parts of the band, each within the width that is used. Noise is read in all of it, or only between
    `noise_edges_hz`: in the same tuning where all of that fits, else in tunings of its own.
    """
    usable_hz = USABLE * rate_hz
    every = (edges_hz, *noise_edges_hz)
    lowest, highest = min(each[0] for each in every), max(each[1] for each in every)
    if noise_edges_hz and highest - lowest <= usable_hz:
        whole = (lowest, highest)
        return (BandTuning(sum(whole) // 2, whole, noise_edges_hz, carriers_hz),)
    found = [
        BandTuning(sum(part) // 2, part, () if noise_edges_hz else (part,), carriers_hz)
        for part in _parts(edges_hz, usable_hz)
    ]
    found += [
        BandTuning(sum(part) // 2, part, (part,), ())
        for each in noise_edges_hz
        for part in _parts(each, usable_hz)
    ]
    return tuple(found)


def _parts(edges_hz: Edges, usable_hz: float) -> list[Edges]:
    lowest, highest = edges_hz
    count = max(ceil((highest - lowest) / usable_hz), 1)
    return list(pairwise(lowest + round(nth * (highest - lowest) / count) for nth in range(count + 1)))
