"""What a wide tuning of samples shows: noise cells across the band, and the lines that stood in it. Pure.

As in a receiver's sound (`rows`), but the band is cut into equal parts, each with a pass band of its own, and a cell
reads the noise of its whole part, as a density times the cell's width. Where the parts lie follows from the band's
edges alone, so they are the same every night.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from sweeper.spectra.blocks import without_blocks
from sweeper.spectra.carriers import without_images_and_centre
from sweeper.spectra.noise_bins import FEWEST_BINS, NoiseBins, noise_bins
from sweeper.spectra.rows import (
    CELL_HZ,
    MOST_CELLS,
    PLACE_HZ,
    Learned,
    NothingHeard,
    Slice,
    both_routes,
    named,
    steady_lines,
)
from sweeper.words import Channel, Labelled

Floats = NDArray[np.float64]
FEWEST_A_PART = 256
"""Bins of a part, so that a pass band can be drawn through it."""
SMOOTH = 3
"""Cosines that draw the pass band of a part: a receiver of samples has a smooth one, and more would follow signals."""
OCCUPIED_DB = 6.0
"""A part whose noise stands so far over that of the quietest one is full of signals; noise changes less over a band."""
CENTRE_HZ = 150.0
"""To each side of the samples' centre, where converters leave a line."""


Edges = tuple[int, int]


@dataclass(frozen=True, slots=True)
class Asked:
    """What is to be read of a tuning, in hertz: noise between these edges, and the lines at these places."""

    band: str
    noise_hz: tuple[Edges, ...]
    lines_hz: tuple[int, ...] = ()


def learn_tuning(
    asked: Asked, pass_number: int, sequence: Sequence[Labelled]
) -> tuple[Learned, tuple[int, ...]]:
    """Noise bins and cells of a tuning from all its spectra of a pass, both routes alike, with the lines that are read;
    and the places in hertz of the lines that stood in this pass, which later ones may read (`lines`).

    The spectra's `tuning` is the radio frequency of the samples' centre. `NothingHeard` where there is no quiet place
    in what is asked for. What stood is told only where the load was heard, too.
    """
    good, routes, shapes = both_routes(sequence, "samples")
    one = good[0].spectrum
    centre = ((good[0].tuning or 0.0) - one.start_hz) / one.step_hz
    guard = max(round(CENTRE_HZ / one.step_hz), 4)
    usable = without_images_and_centre(np.ones(len(routes[0]), np.bool_), routes[0], centre, guard)
    noise, over, parts = by_parts(routes, shapes, usable)
    cells = tuple(_cells(asked, noise, parts, one.start_hz, one.step_hz))
    if asked.noise_hz and not cells:
        raise NothingHeard("no quiet place: name one with noise_edges_hz")
    lines = tuple(named(Channel(asked.band, hz, "carrier", CELL_HZ), good[0], over) for hz in asked.lines_hz)
    stood = tuple(line.channel.hz for line in steady_lines(asked.band, good, noise, over, centre=centre))
    return Learned(pass_number, noise, cells, lines, 0.0), stood


def by_parts(
    routes: Sequence[Floats], shapes: tuple[float, ...], usable: NDArray[np.bool_]
) -> tuple[NoiseBins, Floats, list[slice]]:
    """The noise bins of every part, S/N of each bin over its own part's noise, and where the parts lie."""
    bins = len(usable)
    count = max(min(MOST_CELLS, bins // FEWEST_A_PART), 1)
    ends = np.linspace(0, bins, count + 1).round().astype(int)
    parts = [slice(int(first), int(last)) for first, last in pairwise(ends)]
    keep, curve, over = np.zeros(bins, np.bool_), np.ones(bins), np.zeros(bins)
    levels: dict[int, float] = {}
    seen = []
    for part in parts:
        if usable[part].sum() < 2 * FEWEST_BINS:
            continue
        here = tuple(route[part] for route in routes)
        found = noise_bins(here, shapes, usable[part], most_terms=SMOOTH, without=without_blocks)
        if found.keep.sum() < FEWEST_BINS:
            continue
        keep[part], curve[part] = found.keep, found.pass_band
        over[part] = np.mean(
            [route[part] / (found.level(route[part]) * found.pass_band) - 1.0 for route in routes], axis=0
        )
        levels[part.start] = found.level(routes[0][part])
        seen.append(found.shape)
    for part in parts:
        if levels.get(part.start, 0.0) > min(levels.values(), default=0.0) * 10 ** (OCCUPIED_DB / 10):
            keep[part] = False
    return NoiseBins(keep, usable, curve, float(np.median(seen)) if seen else 1.0), over, parts


def _cells(
    asked: Asked, noise: NoiseBins, parts: Sequence[slice], start_hz: float, step_hz: float
) -> Iterator[Slice]:
    """Of each part what lies between edges for noise: its place follows from part and edges alone."""
    for part in parts:
        for lowest, highest in asked.noise_hz:
            first = max(part.start, round((lowest - start_hz) / step_hz))
            last = min(part.stop - 1, round((highest - start_hz) / step_hz))
            bins = first + np.flatnonzero(noise.keep[first : last + 1]) if last > first else np.array([], int)
            if len(bins) >= FEWEST_BINS:
                place = round((start_hz + step_hz * (first + last) / 2.0) / PLACE_HZ) * PLACE_HZ
                yield Slice(Channel(asked.band, place, "noise", CELL_HZ), bins)
