"""Power in a pass band from complex samples. Pure: arrays in, numbers out.

Samples are scaled so that a full-scale carrier has power 1 (0 dB). Welch's method with a Hann window, in SciPy's
density scaling, which already allows for the window's noise bandwidth: white noise integrates to its power whatever
the window, and the spectrum of a carrier sums to the carrier's power.
"""

from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:  # numpy and SciPy are slow to load; only a receiver that needs them pays
    from numpy.typing import NDArray

BINS_A_BAND = 24
"""Frequency bins across the pass band: its edges are then sharp to a few per cent of its width."""


def pass_band_hz(mode: str, bandwidth_hz: int) -> tuple[float, float]:
    """Lower and upper edge relative to the dial, in hertz: beside it for USB and LSB, around it for all others."""
    match mode:
        case "USB":
            return 0.0, float(bandwidth_hz)
        case "LSB":
            return -float(bandwidth_hz), 0.0
        case _:
            return -bandwidth_hz / 2.0, bandwidth_hz / 2.0


def samples_needed(sample_rate_hz: float, bandwidth_hz: float, averaging_s: float) -> int:
    """How many samples one reading takes: `averaging_s`, and never fewer than two segments of the spectrum."""
    return max(round(sample_rate_hz * averaging_s), 2 * _segment(sample_rate_hz, bandwidth_hz))


def power_in_band(
    samples: "NDArray[np.complexfloating[Any, Any]]", sample_rate_hz: float, low_hz: float, high_hz: float
) -> float:
    """Mean power between two frequencies relative to the centre, full scale being 1.

    `samples`: shape (n,), complex. ValueError when the band does not lie within the sampled width. Relative
    standard deviation for white noise about 1.2 / sqrt((high_hz - low_hz) * n / sample_rate_hz).
    """
    from scipy.signal import welch

    if not -sample_rate_hz / 2 < low_hz < high_hz < sample_rate_hz / 2:
        raise ValueError(
            f"{low_hz:g} to {high_hz:g} Hz does not lie within a sampled width of {sample_rate_hz:g} Hz"
        )
    segment = min(_segment(sample_rate_hz, high_hz - low_hz), len(samples))
    frequencies_hz, density = welch(
        samples, fs=sample_rate_hz, window="hann", nperseg=segment, detrend=False, return_onesided=False
    )
    step_hz = sample_rate_hz / segment
    # each bin stands for the step around it; at the edges only its share lies within the band
    inside = np.minimum(frequencies_hz + step_hz / 2, high_hz) - np.maximum(
        frequencies_hz - step_hz / 2, low_hz
    )
    return float(np.sum(density * np.clip(inside, 0.0, step_hz)))


def is_clipped(samples: "NDArray[np.complexfloating[Any, Any]]", full_scale: float = 1.0) -> bool:
    """Whether the converter ran into its ends: either part of any sample within 0.1 % of full scale."""
    largest = max(float(np.max(np.abs(samples.real))), float(np.max(np.abs(samples.imag))))
    return largest >= 0.999 * full_scale


def _segment(sample_rate_hz: float, bandwidth_hz: float) -> int:
    """A power of two with at least `BINS_A_BAND` bins across the band."""
    return 1 << (int(BINS_A_BAND * sample_rate_hz / bandwidth_hz) - 1).bit_length()
