"""What makes a recording unfit: one sentence each, with what to do. Levels and spectra in, words out."""

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from sweeper.recordings.converter import Converter
    from sweeper.recordings.levels import Levels

Floats = NDArray[np.float64]

MOST_CLIPPED = 0.01
MOST_SILENT = 0.5
MOST_UNEVEN = 2.35
"""Noise reduction by spectral subtraction shows 2.3 to 3.6 here (`levels.unevenness`), by how much it takes away."""
SYMMETRIC_DB = 1.5
SIDE_BAND_BINS = 6
APART_BINS = 6


def silent(levels: "Levels", name: str) -> str | None:
    """Digital silence, or too much of it."""
    if not np.isfinite(levels.floor_db).any() or levels.silent > MOST_SILENT:
        return (
            f"{name}: {levels.silent:.0%} of it is silence, so nothing can be compared; check which input was "
            f"recorded, "
            "and that no squelch was on."
        )
    return None


def clipped(levels: "Levels", name: str) -> str | None:
    """Void above 1 % of the samples."""
    if levels.clipped > MOST_CLIPPED:
        return (
            f"{name}: {levels.clipped:.1%} of its samples are clipped, over the {MOST_CLIPPED:.0%} up to "
            f"which levels can be "
            "trusted; record it again with the level turned down (peaks below −3 dBFS)."
        )
    return None


def hardly_moved(converter: "Converter", name: str) -> str | None:
    """Samples that move by less than half a step of their converter: no level can be told from them."""
    if converter.hardly_moved:
        return (
            f"{name}: somewhere its samples move by less than half a step of the converter, so levels there cannot be "
            "told; record it again with more gain in front of it."
        )
    return None


def processed(levels: "Levels", name: str) -> str | None:
    """Noise out of which a program has taken what it held for noise."""
    if levels.uneven > MOST_UNEVEN:
        return (
            f"{name}: its noise comes in patches, as noise reduction or a lossy codec leaves it, and they change S/N "
            "by themselves; record it again with noise reduction off, as WAV or FLAC from the start."
        )
    return None


def am_by_the_look(mean: Floats, floor: Floats) -> float | None:
    """Bin of a carrier in audio with side bands alike to both sides, not rounded; None where there is none.

    `mean`: mean spectrum, linear, shape (bins,); `floor`: its noise. Both side bands stand 6 dB over the noise in at
    least six bins beyond the window's own, and mirror each other within 1.5 dB there.
    """
    over = mean / floor
    peak = int(np.argmax(over))
    if over[peak] < 1000.0:
        return None
    reach = min(peak, len(mean) - 1 - peak)
    apart = np.arange(APART_BINS, reach)
    if len(apart) < SIDE_BAND_BINS:
        return None
    above, below = over[peak + apart], over[peak - apart]
    there = (above > 4.0) & (below > 4.0)
    either = (above > 4.0) | (below > 4.0)
    if there.sum() < SIDE_BAND_BINS or there.sum() < 0.8 * either.sum():
        return None
    unlike = 10.0 * np.abs(np.log10(above[there] / below[there]))
    up, down = np.log(above[either]), np.log(below[either])
    alike = float(np.corrcoef(up, down)[0, 1]) if np.std(up) > 0.1 and np.std(down) > 0.1 else 0.0
    return float(peak) if float(np.median(unlike)) < SYMMETRIC_DB and alike > 0.8 else None
