"""Spectra with the receiver's gain taken out: signals against the noise of the same instant, and no level. Pure.

Signal and noise of one moment share the gain of the receiver, whatever its gain control does. So a stay is cut into
pieces, short enough for a gain control to hold still, and each is divided by its own median over the bins. What ratio
a line and the noise have is left, and that alone.
"""

from collections.abc import Iterator
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from sweeper.spectra.axis import Axis
from sweeper.spectra.calm import within
from sweeper.spectra.welch import Welch, spectrum_of
from sweeper.words import Spectrum

if TYPE_CHECKING:
    from drivers.contracts import Block

HELD_S = 0.25
"""In a piece of this length a fast gain control moves the ratio by 0.07 dB at the most; in one of 2 s by 0.4 dB."""


def gain_out(
    block: "Block", axis: Axis, band_hz: tuple[float, float]
) -> Iterator[tuple[float, float, Spectrum]]:
    """Each whole piece of a block: its seconds from the block's beginning, and its power over its own median in
    `band_hz` of the sound."""
    inside = within(axis, band_hz)
    segments = max(int(HELD_S * axis.rate_hz / (axis.length // 2)) - 1, 1)
    for piece in Welch(axis, segments).feed(block, 0):
        middle = float(np.median(piece.mean[inside]))
        if middle > 0.0:
            one = replace(spectrum_of(piece, axis), mean=(piece.mean / middle).astype(np.float32), low=None)
            yield piece.first / axis.rate_hz, piece.last / axis.rate_hz, one
