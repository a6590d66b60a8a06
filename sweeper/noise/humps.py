"""Broad humps with steep edges, as communications over power lines put on a band.

The noise level in blocks of bins steps up at one edge and down at the other. A step counts where the means of the
blocks to both sides differ clearly, and a hump where it is wider than any station's channel, its floor level between
its edges, and its bins scatter as noise does. The caller asks that the edges stand still from pass to pass: fading
and stations that come and go make steps as well.
"""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from sweeper.spectra.noise_bins import Floats, gamma_quantile
from sweeper.spectra.quiet import BLOCK, block_levels

SIDE = 6
"""Blocks to each side of an edge that are compared: 12 kHz where bins are 31.25 Hz apart."""
STEP_DB = 1.0
"""The least step, far over what the levels of twelve blocks scatter by."""
NARROWEST_HZ = 25_000.0
"""Wider than any channel of broadcasting or speech below 30 MHz."""
LEVEL_DB = 1.5
"""How much the floor within may differ from its middle."""
AS_NOISE = 1.15
"""So much farther apart than of noise may the quantiles of a hump's bins lie: stations side by side do not pass."""


@dataclass(frozen=True, slots=True)
class Hump:
    """Bins `first` to `last` (included), `over`: its level over that beside it, linear power ratio."""

    first: int
    last: int
    over: float


def humps(mean: NDArray[np.floating], shape: float, step_hz: float) -> list[Hump]:
    """Humps of a spectrum, shape (bins,), power in a bin; `shape` of the noise's Gamma law there."""
    levels = 10 * np.log10(block_levels(mean, shape))
    if len(levels) < 4 * SIDE:
        return []
    edges = _edges(levels)
    found = []
    for (up, rises), (down, falls) in pairwise(edges):
        if not rises or falls:
            continue
        within = levels[up:down]
        beside = np.concatenate([levels[up - SIDE : up], levels[down : down + SIDE]])
        over_db = float(np.median(within) - np.median(beside))
        wide = (down - up) * BLOCK * step_hz >= NARROWEST_HZ
        flat = float(np.quantile(np.abs(within - np.median(within)), 0.9)) < LEVEL_DB
        if wide and flat and over_db >= STEP_DB and _is_noise(mean, levels, shape, up, down):
            found.append(Hump(up * BLOCK, down * BLOCK - 1, 10 ** (over_db / 10)))
    return found


def _edges(levels: Floats) -> list[tuple[int, bool]]:
    """Blocks that begin with a step, and whether it goes up; of neighbours the steepest."""
    means = np.convolve(levels, np.full(SIDE, 1.0 / SIDE), "valid")
    steps = means[SIDE:] - means[:-SIDE]  # at block SIDE + k: the mean after it less that before
    found: list[tuple[int, bool]] = []
    left = np.abs(steps)
    while left.max(initial=0.0) >= STEP_DB:
        at = int(np.argmax(left))
        found.append((at + SIDE, bool(steps[at] > 0)))
        left[max(at - SIDE, 0) : at + SIDE + 1] = 0.0
    return sorted(found)


def _is_noise(mean: NDArray[np.floating], levels: Floats, shape: float, up: int, down: int) -> bool:
    """Whether the bins scatter about their blocks' levels as noise would."""
    part = np.asarray(mean[up * BLOCK : down * BLOCK], np.float64).reshape(-1, BLOCK)
    flat = part / 10 ** (levels[up:down, None] / 10)
    seen = np.quantile(flat, 0.75) / np.quantile(flat, 0.25)
    wanted = gamma_quantile(0.75, shape) / gamma_quantile(0.25, shape)
    return bool(np.log(seen) < AS_NOISE * np.log(wanted))
