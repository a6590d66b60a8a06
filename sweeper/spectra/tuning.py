"""What a wide tuning of samples shows: noise cells across the band, and the lines that stood in it. Pure.

As in a receiver's sound (`rows`), but the band is cut into equal parts, each with a pass band of its own, and a cell
reads the noise of its whole part, as a density times the cell's width. Where the parts lie follows from the band's
edges alone, so they are the same every night.
"""

from collections.abc import Iterator, Sequence
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

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
    steady_lines,
)
from sweeper.words import Channel, Labelled

Floats = NDArray[np.float64]
FEWEST_A_PART = 256
"""Bins of a part, so that a pass band can be drawn through it."""
OCCUPIED_DB = 6.0
"""A part whose noise stands so far over that of the quietest one is full of signals; noise changes less over a band."""
CENTRE_HZ = 150.0
"""To each side of the samples' centre, where converters leave a line."""


def learn_tuning(band: str, pass_number: int, sequence: Sequence[Labelled]) -> Learned:
    """Noise bins, cells and lines of a tuning from all its spectra of a pass, both routes alike.

    Their `tuning` is the radio frequency of the samples' centre. `NothingHeard` where there is no quiet place. Lines
    are told only where the load was heard, too.
    """
    good, routes, shapes = both_routes(sequence, "samples")
    one = good[0].spectrum
    centre = ((good[0].tuning or 0.0) - one.start_hz) / one.step_hz
    guard = max(round(CENTRE_HZ / one.step_hz), 4)
    usable = without_images_and_centre(np.ones(len(routes[0]), np.bool_), routes[0], centre, guard)
    noise, over, parts = _by_parts(routes, shapes, usable)
    cells = tuple(_cells(band, noise, parts, one.start_hz, one.step_hz))
    if not cells:
        raise NothingHeard("no quiet place: give noise a band of its own, with edges_hz beside this one")
    return Learned(
        pass_number, noise, cells, tuple(steady_lines(band, good, noise, over, centre=centre)), 0.0
    )


def _by_parts(
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
        found = noise_bins(tuple(route[part] for route in routes), shapes, usable[part])
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
    band: str, noise: NoiseBins, parts: Sequence[slice], start_hz: float, step_hz: float
) -> Iterator[Slice]:
    for part in parts:
        bins = part.start + np.flatnonzero(noise.keep[part])
        if len(bins) >= FEWEST_BINS:
            middle = start_hz + step_hz * (part.start + part.stop - 1) / 2.0
            place = round(middle / PLACE_HZ) * PLACE_HZ
            yield Slice(Channel(band, place, "noise", CELL_HZ), bins)
