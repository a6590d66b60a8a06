"""Spectra are SciPy's numbers, gaps spoil nothing, and noise scatters as the Gamma law says."""

import numpy as np
import pytest
from scipy.fft import next_fast_len
from scipy.signal import get_window, welch

from drivers.contracts import Block
from sweeper.spectra.axis import axis_of, quick_length
from sweeper.spectra.welch import low_quantile, noise_bandwidth, shape_of, spectrum, window


def _block(samples: np.ndarray, rate_hz: float, **more: object) -> Block:
    return Block(samples, rate_hz, (0.0, len(samples) / rate_hz), **more)  # type: ignore[arg-type]


def test_the_window_is_the_four_term_blackman_harris() -> None:
    there = get_window("blackmanharris", 256)  # SciPy
    assert np.allclose(window(256), there / there.sum(), rtol=1e-5)
    assert noise_bandwidth(4096) == pytest.approx(2.0, abs=0.01)  # Harris 1978, table 1: 2.00 bins


@pytest.mark.parametrize("real", [True, False])
def test_a_spectrum_is_scipys(real: bool) -> None:
    rng = np.random.default_rng(1)
    samples = rng.standard_normal(40_000) + (0 if real else 1j * rng.standard_normal(40_000))
    axis = axis_of(8000.0, real=real)
    ours = spectrum([_block(samples.astype(np.float32 if real else np.complex64), 8000.0)], axis)
    theirs = welch(
        samples,
        8000.0,
        "blackmanharris",
        axis.length,
        detrend=False,
        return_onesided=real,
        scaling="spectrum",
    )
    expected = theirs[1] if real else np.fft.fftshift(theirs[1])
    assert np.allclose(ours.mean, expected, rtol=2e-3)
    assert ours.segments == (len(samples) - axis.length) // (axis.length // 2) + 1


def test_blocks_of_any_size_give_the_same_spectrum() -> None:
    samples = np.random.default_rng(2).standard_normal(30_000).astype(np.float32)
    axis = axis_of(8000.0, real=True)
    whole = spectrum([_block(samples, 8000.0)], axis)
    parts = spectrum([_block(part, 8000.0) for part in np.array_split(samples, 37)], axis)
    assert parts.segments == whole.segments
    assert np.allclose(parts.mean, whole.mean, rtol=1e-4)


def test_a_gap_beside_a_strong_carrier_lifts_no_noise() -> None:
    rng = np.random.default_rng(3)
    t = np.arange(40_000) / 8000.0
    phase = np.where(np.arange(40_000) < 20_000, 0.0, 2.0)  # samples went missing: the carrier's phase jumps
    samples = (0.5 * np.cos(2 * np.pi * 1000.0 * t + phase) + 1e-4 * rng.standard_normal(40_000)).astype(
        np.float32
    )
    axis = axis_of(8000.0, real=True)
    told = spectrum([_block(samples, 8000.0, gaps=(20_000,))], axis)
    hushed = spectrum([_block(samples, 8000.0)], axis)
    far = slice(90, 120)
    assert told.mean[far].mean() == pytest.approx(
        2 * noise_bandwidth(axis.length) * 1e-8 / axis.length, rel=0.1
    )
    assert hushed.mean[far].mean() > 10 * told.mean[far].mean()
    assert "gap" in told.quality


def test_a_gap_at_an_unknown_place_voids_the_spectrum() -> None:
    samples = np.ones(4000, np.float32)
    assert "void" in spectrum([_block(samples, 8000.0, unplaced=True)], axis_of(8000.0, real=True)).quality


def test_noise_scatters_by_the_gamma_law() -> None:
    rng = np.random.default_rng(4)
    axis = axis_of(8000.0, real=False)
    segments = 9
    length = axis.length * (segments + 1) // 2
    powers = np.array(
        [
            spectrum(
                [
                    _block(
                        (rng.standard_normal(length) + 1j * rng.standard_normal(length)).astype(np.complex64),
                        8e3,
                    )
                ],
                axis,
            ).mean
            for _ in range(60)
        ]
    )
    shape = powers.mean() ** 2 / powers.var()
    assert shape == pytest.approx(shape_of(segments, axis.length), rel=0.06)


def test_the_lower_side_band_runs_the_other_way() -> None:
    t = np.arange(16_000) / 8000.0
    tone = np.cos(2 * np.pi * 1000.0 * t).astype(np.float32)
    axis = axis_of(8000.0, real=True, centre_hz=3_600_000.0, inverted=True, band_hz=(100.0, 3500.0))
    found = spectrum([_block(tone, 8000.0)], axis)
    assert found.start_hz + found.step_hz * int(np.argmax(found.mean)) == pytest.approx(
        3_599_000.0, abs=axis.step_hz
    )


def test_a_long_stay_with_gaps_in_blocks_of_any_size_is_the_mean_of_its_whole_segments() -> None:
    """Against every segment computed by itself: no piece, join or end of the stream loses or doubles one."""
    rng = np.random.default_rng(4)
    count, gaps = 330_123, (1_000, 1_001, 123_456, 200_000, 330_000)
    samples = (rng.standard_normal(count) + 1j * rng.standard_normal(count)).astype(np.complex64)
    samples *= np.linspace(1.0, 3.0, count, dtype=np.float32)
    axis = axis_of(8000.0, real=False)
    length, hop = axis.length, axis.length // 2
    starts = [
        start
        for start in range(0, count - length + 1, hop)
        if not any(start < gap < start + length for gap in gaps)
    ]
    taper = get_window("blackmanharris", length)
    each = [np.abs(np.fft.fft(samples[at : at + length] * taper / taper.sum())) ** 2 for at in starts]
    blocks, at = [], 0
    while at < count:
        end = at + int(rng.integers(1, 70_000))
        within = tuple(gap - at for gap in gaps if at <= gap < end)
        blocks.append(_block(samples[at:end], 8000.0, gaps=within))
        at = end
    told = spectrum(blocks, axis)
    assert told.segments == len(starts) > 1000
    assert np.allclose(told.mean, np.fft.fftshift(np.mean(each, axis=0)), rtol=2e-3)
    assert told.low is not None and np.all(told.low <= 1.05 * told.mean)


def test_lengths_are_those_that_scipy_transforms_quickly() -> None:
    assert [quick_length(least) for least in range(1, 3000)] == [
        next_fast_len(least, real=True)
        for least in range(1, 3000)  # SciPy
    ]


@pytest.mark.parametrize("rows", [1, 2, 8, 15, 32, 63])
@pytest.mark.parametrize("share", [0.0, 0.1, 0.25, 0.9, 1.0])
def test_a_low_quantile_is_numpys(rows: int, share: float) -> None:
    values = np.random.default_rng(rows).gamma(2.0, 1.0, (rows, 500)).astype(np.float32)
    values[:, 0] = values[0, 0]  # all alike
    there = np.quantile(values.astype(np.float64), share, axis=0)  # NumPy
    assert np.allclose(low_quantile(values.copy(), share), there, rtol=1e-6)
