"""What stands over the noise, and where that cannot be told."""

import numpy as np

from sweeper.spectra.carriers import signals
from sweeper.spectra.noise_bins import NoiseBins


def tuning(kept: slice, bins: int = 80) -> NoiseBins:
    keep = np.zeros(bins, np.bool_)
    keep[kept] = True
    keep[39:42] = False
    return NoiseBins(keep, np.ones(bins, np.bool_), np.ones(bins), 1000.0)


def test_the_edge_of_a_filter_is_no_signal():
    """Below bin 16 there is no noise bin: what the pass band is there is a guess, and so is what stands over it."""
    over = np.zeros(80)
    over[5:15] = 6.3
    over[39:42] = (100.0, 400.0, 100.0)
    assert [signal.peak for signal in signals(over, tuning(slice(16, 80)))] == [40]


def test_between_noise_bins_every_line_is_told():
    over = np.zeros(80)
    over[39:42] = (100.0, 400.0, 100.0)
    (found,) = signals(over, tuning(slice(0, 80)))
    assert (found.first, found.last, found.peak, found.narrow) == (39, 41, 40, True)
