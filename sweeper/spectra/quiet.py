"""The noise under one spectrum by itself, bin by bin, and which bins hold nothing else.

The level of a block of bins is its lower quartile over the Gamma law's, which neither lines nor bursts of speech lift
as long as they leave three quarters of the block alone. A block that stands clear of its wider surroundings is
occupied. Narrow tunings, such as a receiver's sound, have too few bins for blocks: there `noise_bins` decides.
"""

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from scipy.signal import fftconvolve

from sweeper.spectra.axis import Axis
from sweeper.spectra.envelope import envelope
from sweeper.spectra.noise_bins import Floats, Mask, gamma_quantile, in_pass_band, noise_bins, threshold
from sweeper.spectra.welch import shape_of
from sweeper.words import Spectrum

if TYPE_CHECKING:
    from drivers.contracts import Block

BLOCK = 64
"""Bins of a block: 2 kHz where they are 31.25 Hz apart."""
NARROW = 8 * BLOCK
AROUND = 24
"""Blocks to each side whose lower third is the surroundings' level."""
OCCUPIED_DB = 2.0
FALSE_ALARMS = 1e-3


def block_levels(mean: NDArray[np.floating], shape: float, block: int = BLOCK) -> Floats:
    """Noise level of each whole block, shape (bins // block,), power in a bin."""
    count = len(mean) // block
    parts = np.asarray(mean[: count * block], np.float64).reshape(count, block)
    found: Floats = np.quantile(parts, 0.25, axis=1) / gamma_quantile(0.25, shape)
    return np.maximum(found, np.finfo(np.float64).tiny)


def floor_of(mean: NDArray[np.floating], shape: float) -> Floats:
    """The noise level at each bin, shape (bins,): straight lines, in decibels, between the blocks' middles."""
    levels = block_levels(mean, shape)
    middles = (np.arange(len(levels)) + 0.5) * BLOCK - 0.5
    floor: Floats = np.exp(np.interp(np.arange(len(mean)), middles, np.log(levels)))
    return floor


def quiet_bins(mean: NDArray[np.floating], shape: float) -> Mask:
    """Bins that hold noise and nothing else, shape (bins,)."""
    if len(mean) < NARROW:
        exact = np.asarray(mean, np.float64)
        return noise_bins((exact,), (shape,), in_pass_band(exact)).keep
    levels = block_levels(mean, shape)
    padded = np.pad(levels, AROUND, mode="reflect")
    around = np.quantile(np.lib.stride_tricks.sliding_window_view(padded, 2 * AROUND + 1), 0.33, axis=1)
    free = levels < around * 10 ** (OCCUPIED_DB / 10)
    whole = np.zeros(len(mean), np.bool_)
    whole[: len(free) * BLOCK] = np.repeat(free, BLOCK)
    keep: Mask = whole & (mean < threshold(shape, FALSE_ALARMS) * floor_of(mean, shape))
    return keep


def with_envelope(one: Spectrum, block: "Block", axis: Axis) -> Spectrum:
    """The spectrum of a block with the envelope of its quiet bins, where the block is long enough for one; of a wide
    tuning one of the bins far from signals and one of those near them.
    """
    if one.segments == 0 or "void" in one.quality:
        return one
    shape = shape_of(one.segments)
    keep = quiet_bins(one.mean, shape)
    parts = (keep,) if len(keep) < NARROW else _far_and_near(one.mean, shape, keep)
    found = [envelope([block], axis, part) for part in parts]
    rows = [each.rows for each in found if each is not None]
    return replace(one, envelope=np.stack(rows)) if len(rows) == len(parts) else one


def _far_and_near(mean: NDArray[np.floating], shape: float, keep: Mask) -> tuple[Mask, Mask]:
    """The quiet bins in halves: by what signals would spill into them, if it fell off with the square of the distance
    as clicks of keying do."""
    signals = np.where(keep, 0.0, np.maximum(mean - floor_of(mean, shape), 0.0))
    away = np.arange(1 - len(mean), len(mean), dtype=np.float64)
    spilt = fftconvolve(signals, 1.0 / np.maximum(np.abs(away), 1.0) ** 2, mode="valid")
    near: Mask = keep & (spilt > np.median(spilt[keep])) if keep.any() else keep
    return keep & ~near, near
