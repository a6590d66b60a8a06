"""Noise of a tuning half occupied is found, pure noise is left alone, and the choice biases no difference."""

import numpy as np
import pytest
from scipy.stats import gamma

from sweeper.spectra.noise_bins import excise, gamma_quantile, in_pass_band, noise_bins, threshold


@pytest.mark.parametrize("shape", [2.0, 10.0, 1000.0])
def test_thresholds_are_scipys(shape: float) -> None:
    assert threshold(shape, 1e-3) == pytest.approx(gamma(shape).isf(1e-3) / shape)
    assert gamma_quantile(0.25, shape) == pytest.approx(gamma(shape).ppf(0.25) / shape)


@pytest.mark.parametrize("shape", [2.0, 10.0, 10_000.0])
def test_false_alarms_on_pure_noise_are_those_asked_for(shape: float) -> None:
    rng = np.random.default_rng(5)
    out = [1.0 - excise(rng.gamma(shape, 1 / shape, 4000), shape, 0.01).mean() for _ in range(60)]
    assert np.mean(out) == pytest.approx(0.01, rel=0.1)


def _half_occupied(
    rng: np.random.Generator, bins: int, shape: float, blocks: bool
) -> tuple[np.ndarray, np.ndarray, float]:
    place = np.linspace(0, 1, bins)
    band = 10 ** (0.6 * (place - 0.5) + 0.03 * np.sin(25 * place))
    signal = np.zeros(bins)
    while np.mean(signal > 0) < 0.47:
        width = bins // 8 if blocks else int(rng.choice([3, 12, 20]))
        at = int(rng.integers(0, bins - width))
        signal[at : at + width] += 10 ** rng.uniform(0.8, 3) * (1 if blocks else np.hanning(width + 2)[1:-1])
    routes = [
        band * (rng.gamma(shape, 1 / shape, bins) + signal * rng.gamma(8, 1 / 8, bins)) for _ in range(2)
    ]
    return routes[0], routes[1], band


@pytest.mark.parametrize("blocks", [False, True])
def test_noise_of_a_tuning_half_occupied_is_within_a_tenth_of_a_decibel(blocks: bool) -> None:
    rng = np.random.default_rng(6)
    errors = []
    for _ in range(25):
        out, within, band = _half_occupied(rng, 256, 400.0, blocks)
        noise = noise_bins((out, within), (400.0, 400.0))
        errors.append(10 * np.log10(np.mean((out / band)[noise.keep])))
    assert np.abs(np.mean(errors)) < 0.05
    assert np.max(np.abs(errors)) < 0.1


def test_the_choice_of_bins_biases_no_difference() -> None:
    rng = np.random.default_rng(7)
    steps = []
    for _ in range(150):
        routes = rng.gamma(4, 1 / 4, 200), 10 * rng.gamma(4, 1 / 4, 200)
        noise = noise_bins(routes, (4.0, 4.0), false_alarms=0.05)
        steps.append(10 * np.log10(noise.level(routes[1]) / noise.level(routes[0])) - 10)
    assert np.mean(steps) == pytest.approx(0.0, abs=3.5 * np.std(steps) / np.sqrt(150))


def test_what_the_filter_does_not_pass_is_no_noise() -> None:
    rng = np.random.default_rng(8)
    low = np.where((np.arange(160) > 10) & (np.arange(160) < 85), 1.0, 1e-4) * rng.gamma(50, 1 / 50, 160)
    inside = in_pass_band(low)
    assert inside[20:80].all()
    assert not inside[90:].any()


@pytest.mark.parametrize("levels_db", [(27.0, 13.0, 35.0), (20.0,), (40.0, 15.0)])
def test_noise_between_strong_wide_signals_is_no_stop_band(levels_db: tuple[float, ...]) -> None:
    rng = np.random.default_rng(9)
    power = np.ones(400)
    power[:8] = power[-8:] = 1e-4  # the filter's own ends
    for at, level_db in zip((20, 150, 260), (*levels_db, 30.0), strict=False):
        power[at : at + 60] += 10 ** (level_db / 10)
    power[330:380] += 10**3
    inside = in_pass_band(power * rng.gamma(200, 1 / 200, 400))
    assert inside[90:140].all() and inside[225:250].all() and inside[25:75].all()
    assert not inside[:8].any() and not inside[-8:].any()


def test_silence_has_no_pass_band() -> None:
    assert not in_pass_band(np.zeros(160)).any()
