"""The noise change claims no more than its bins agree on."""

import numpy as np
import pytest

from sweeper.ab.noise_change import noise_change, unlike
from sweeper.ab.sides import Learned
from sweeper.spectra.noise_bins import NoiseBins
from sweeper.spectra.welch import shape_of
from sweeper.words import ANTENNA_BYPASS, ANTENNA_STAGE

SEGMENTS = 4000


def _learned(rng: np.random.Generator, skirt: float, bins: int = 30) -> Learned:
    """Noise that steps by 10 dB, and under it a signal's skirt, `skirt` of the noise in bypass, that steps by 13 dB."""
    shape = shape_of(SEGMENTS)
    under = skirt * np.linspace(0.0, 2.0, bins)
    out, within = (
        (noise + under * gain) * rng.gamma(shape, 1 / shape, bins) for noise, gain in ((1, 1), (10, 20))
    )
    every = np.ones(bins, np.bool_)
    band = (1.0 + under) / np.mean(1.0 + under)  # as flattening takes a skirt in
    means = {ANTENNA_BYPASS: out, ANTENNA_STAGE: within}
    segments = {ANTENNA_BYPASS: SEGMENTS, ANTENNA_STAGE: SEGMENTS}
    return Learned(0.0, 31.25, 62.6, NoiseBins(every, every, band, 300.0), (), means, segments)


def test_pure_noise_adds_hardly_ever_anything() -> None:
    rng = np.random.default_rng(1)
    assert sum(unlike(_learned(rng, 0.0)) > 0.0 for _ in range(200)) <= 14  # 2 σ: 2.5 to 4 % expected


@pytest.mark.parametrize("skirt", [0.1, 0.2])
def test_a_skirt_under_the_bins_widens_the_interval_over_the_truth(skirt: float) -> None:
    rng = np.random.default_rng(2)
    for _ in range(20):
        learned = _learned(rng, skirt)
        level = {path: learned.noise.level(mean) for path, mean in learned.means.items()}
        step = np.log(level[ANTENNA_STAGE] / level[ANTENNA_BYPASS])
        steps = step + 0.02 * rng.standard_normal(90)
        it, plain = noise_change(steps, unlike(learned), 0.95), noise_change(steps, 0.0, 0.95)
        assert it is not None and it.low < 10.0 < it.high
        assert plain is not None and not plain.low < 10.0 < plain.high
