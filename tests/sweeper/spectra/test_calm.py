"""Static is left out of a stay, signals that come and go are not, and noise alone loses nothing."""

import math

import numpy as np
import pytest

from drivers.contracts import Block
from sweeper.spectra.axis import axis_of
from sweeper.spectra.calm import calm_spectrum
from sweeper.spectra.welch import spectrum

RATE_HZ = 12_000
AXIS = axis_of(RATE_HZ, real=True, band_hz=(0.0, 5000.0))
BAND_HZ = (200.0, 3000.0)


def level_db(block: Block) -> float:
    one = calm_spectrum(block, AXIS, BAND_HZ)
    hz = one.start_hz + one.step_hz * np.arange(len(one.mean))
    return 10 * math.log10(float(one.mean[(hz > 2000) & (hz < 2800)].mean()))


def noise(seed: int, seconds: float = 1.0) -> np.ndarray:
    return np.random.default_rng(seed).standard_normal(round(seconds * RATE_HZ)).astype(np.float32)


def block(samples: np.ndarray) -> Block:
    return Block(samples, RATE_HZ, (0.0, len(samples) / RATE_HZ))


def test_noise_alone_is_as_it_was() -> None:
    """Not one in a hundred stays loses a piece, so that the level is biased by nothing that counts."""
    lost = 0
    for seed in range(100):
        mine = block(noise(seed))
        lost += calm_spectrum(mine, AXIS, BAND_HZ).segments < spectrum([mine], AXIS).segments
    assert lost <= 1


@pytest.mark.parametrize("crashes", [1, 3])
def test_a_crash_of_static_does_not_lift_the_noise(crashes: int) -> None:
    off = []
    for seed in range(20):
        samples = noise(seed)
        quiet = level_db(block(samples.copy()))
        for nth in range(crashes):
            samples[2000 + 3000 * nth : 2060 + 3000 * nth] *= 30.0
        off.append(level_db(block(samples)) - quiet)
    assert np.abs(np.mean(off)) < 0.1


def test_a_signal_that_comes_and_goes_is_no_crash() -> None:
    samples = noise(5)
    at = np.arange(len(samples)) / RATE_HZ
    samples += (3.0 * np.sin(2 * np.pi * 1000 * at) * (np.sin(2 * np.pi * 3 * at) > 0)).astype(np.float32)
    mine = block(samples)
    assert calm_spectrum(mine, AXIS, BAND_HZ).segments == spectrum([mine], AXIS).segments


def test_noise_that_is_restless_all_the_time_is_taken_as_it_is() -> None:
    samples = noise(6)
    samples *= np.where((np.arange(len(samples)) // 1200) % 2, 4.0, 1.0)
    mine = block(samples.astype(np.float32))
    assert calm_spectrum(mine, AXIS, BAND_HZ).segments > 0.4 * spectrum([mine], AXIS).segments
