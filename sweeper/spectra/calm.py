"""A spectrum without crashes of static: pieces of a stay in which the whole pass band leapt up at once. Pure.

Static of a thunderstorm lasts milliseconds and fills every bin; a signal that comes and goes fills its own. So each
piece is judged by the lower quartile over its bins, and what stands clear above the stay's median is left out: half of
the pieces at most, so that noise that is restless all the time stays.
"""

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from sweeper.spectra.axis import Axis
from sweeper.spectra.welch import Welch, shape_of, spectrum
from sweeper.words import Spectrum

if TYPE_CHECKING:
    from drivers.contracts import Block

PIECE = 4
"""Segments of a piece: 0.08 s with bins of 31.25 Hz, as long as a crash and its echo."""
CLEAR = 5.0
"""Standard deviations of the quartile by which a piece of pure noise leaps up in one of millions."""


def within(axis: Axis, band_hz: tuple[float, float]) -> NDArray[np.bool_]:
    """The bins of a spectrum that lie in `band_hz` of the sound, shape (bins,)."""
    first, end = axis.bins
    hz = np.abs(np.arange(first, end) * axis.step_hz)
    inside: NDArray[np.bool_] = (hz >= band_hz[0]) & (hz <= band_hz[1])
    return inside[::-1] if axis.inverted else inside


def calm_spectrum(block: "Block", axis: Axis, band_hz: tuple[float, float]) -> Spectrum:
    """As `spectrum` of the one block, from its calm pieces. `band_hz`: of the sound, where receiver noise is heard."""
    whole = spectrum([block], axis)
    pieces = list(Welch(axis, PIECE).feed(block, 0))
    if "void" in whole.quality or len(pieces) < 6:
        return whole
    inside = within(axis, band_hz)
    if inside.sum() < 8:
        return whole
    quartiles = np.quantile([piece.mean[inside] for piece in pieces], 0.25, axis=1)
    # the window's two bins share their noise, so half of the bins are independent; a quartile scatters 1.4 times more
    scatter = 1.4 * np.sqrt(2.0 / (inside.sum() * shape_of(PIECE)))
    calm = quartiles <= np.median(quartiles) * (1.0 + CLEAR * scatter)
    if calm.all():
        return whole
    kept = [piece for piece, is_calm in zip(pieces, calm, strict=True) if is_calm]
    segments = sum(piece.segments for piece in kept)
    mean = np.sum([piece.mean.astype(np.float64) * piece.segments for piece in kept], axis=0) / segments
    return replace(whole, mean=mean.astype(np.float32), low=None, segments=segments)
