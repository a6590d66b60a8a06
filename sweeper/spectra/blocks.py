"""Signals that are too weak to be told bin by bin, and wide enough to be told by the mean over many. Pure.

The excision of `noise_bins` once more, on means over windows of ever more bins. As there, what is judged is the sum of
both routes' normalised powers, so that no difference is biased; and where the lowest windows scatter by more than
averaging explains (a filter's ripple), a window has to stand out from that.
"""

import numpy as np
from numpy.typing import NDArray

from sweeper.spectra.noise_bins import FEWEST_BINS, Mask, excise, shape_seen

Floats = NDArray[np.float64]
WIDTHS = (8, 16, 32, 64)
"""Bins of a window."""
CORRELATED = 2.0
"""Neighbouring bins of the window share their noise: so many count as one (its noise bandwidth in bins)."""
FEWEST = 0.5
"""Of a window's bins that have to be left, for its mean to tell anything."""
LEAST_LEFT = 0.1
"""Share of the bins that are left at least; where less would be, all of it is one signal, or none."""


def without_blocks(total: Floats, keep: Mask, shape: float) -> Mask:
    """The noise bins `keep` without those under such signals. `total`: flat powers of all bins, of this shape."""
    left = keep
    for width in WIDTHS:
        if left.sum() < 2 * width:
            break
        fewer = left & ~_raised(total, left, width, shape)
        if fewer.sum() < max(FEWEST_BINS, LEAST_LEFT * keep.sum()):
            break
        left = fewer
    return left


def _raised(total: Floats, keep: Mask, width: int, shape: float) -> Mask:
    """The middle halves of the windows whose mean is no noise's."""
    window = np.ones(width)
    count = np.convolve(keep, window, "same")
    mean = np.convolve(np.where(keep, total, 0.0), window, "same") / np.maximum(count, 1.0)
    told = np.flatnonzero(count >= FEWEST * width)
    raised = np.zeros(len(keep), np.bool_)
    if len(told) < FEWEST_BINS:
        return raised
    averaged = shape * float(np.median(count[told])) / CORRELATED
    raised[told] = ~excise(mean[told], shape_seen(mean[told], averaged))
    half = np.ones(width // 2)
    middle: Mask = np.convolve(raised, half, "same") > 0.5
    return middle
