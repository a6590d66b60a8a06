"""The share of mains-synchronous noise from envelopes of single visits, which are too short to fold.

An envelope E(f) has lines at the multiples of twice the mains frequency, or of that itself (`spectra.envelope`): r² at
the first, where the noise's power swings by 2r. Their phases are not kept, so how long a burst lasts within its half
cycle is taken from the second line: with ρ = r₂/r₁ the share is 2 r₁/(1 + ρ). It is exact for a swing 1 + cos and for
bursts that are short, within a fifth for bursts of up to half of the time, and reads a rectified sine (which rests for
an instant only) at 0.56 of its share.

Whether there is anything: the sum of the lines' powers over the local floor, a Gamma variable of shape K for K
independent powers (the periodogram of noise: Percival and Walden, Spectral Analysis for Physical Applications, 1993,
chapter 6, from memory), times the number of frequencies tried.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import gammaincc

from sweeper.spectra.noise_bins import Floats, gamma_quantile

HIGHEST_HZ = 1000.0
MAINS_HZ = (50.0, 60.0)
OFFS = (-0.003, -0.0015, 0.0, 0.0015, 0.003)
REACH = 4
"""The taper spreads a line so many steps to each side."""
SPREAD = 2.763
"""Sum of a line's spread powers over its own: the noise bandwidth, in steps, of the taper's square, which the power
of a tapered block carries."""
CHANCE = 1e-6
HARMONICS = 5


@dataclass(frozen=True, slots=True)
class MainsLines:
    """`share` of the noise's power, with its standard error from the envelope's own scatter."""

    mains_hz: float
    share: float
    share_se: float
    chance: float


def mains_lines(envelopes: Sequence[NDArray[np.floating]]) -> MainsLines | None:
    """From envelopes of equal length, each from 0 to 1 kHz; None where nothing is beyond chance.

    They count as independent, and each as one average.
    """
    lengths = [len(each) for each in envelopes]
    alike = [each for each in envelopes if len(each) == max(lengths, default=0)]
    if not alike or max(lengths) < 200:
        return None
    power = np.mean(np.asarray(alike, np.float64), axis=0)
    step_hz = HIGHEST_HZ / (len(power) - 1)
    if 2 * REACH * step_hz > 20.0:
        return None
    best: tuple[float, float, Floats] = (1.0, 0.0, np.zeros(0))
    tried = [(mains_hz * (1 + off), a_cycle) for mains_hz in MAINS_HZ for off in OFFS for a_cycle in (2, 1)]
    for mains_hz, a_cycle in tried:
        lines, chance = _lines(power, len(alike), a_cycle * mains_hz, step_hz)
        if chance < best[0]:
            best = (chance, mains_hz, lines)
    chance = min(best[0] * len(tried), 1.0)
    if chance > CHANCE:
        return None
    _, mains_hz, lines = best
    first, second = max(float(lines[0]), 0.0), max(float(lines[1]), 0.0)
    if first <= 0.0:
        return None
    floor = _floor(power, len(alike), 2 * mains_hz, step_hz)
    # a line of power P in noise of power n scatters by sqrt(2 P n + n²), averaged over the envelopes
    scatter = float(np.sqrt((2 * first * floor + floor**2 * REACH) / len(alike)))
    depth = float(np.sqrt(first))
    bent = 1.0 + min(float(np.sqrt(second / first)), 1.0)
    share = min(2.0 * depth / bent, 1.0)
    return MainsLines(float(mains_hz), share, share * scatter / (2.0 * first), chance)


def _lines(power: Floats, averages: int, every_hz: float, step_hz: float) -> tuple[Floats, float]:
    """Power of each line over the floor, shape (`HARMONICS`,), and the chance of so much in steady noise."""
    lines, score = [], 0.0
    for harmonic in range(1, HARMONICS + 1):
        at = round(harmonic * every_hz / step_hz)
        floor = _floor(power, averages, harmonic * every_hz, step_hz)
        near = power[max(at - REACH, 0) : at + REACH + 1]
        lines.append(float(np.sum(near - floor)) / SPREAD)
        score += float(power[at]) / floor * averages
    return np.array(lines), float(gammaincc(HARMONICS * averages, score))


def _floor(power: Floats, averages: int, hz: float, step_hz: float) -> float:
    """The envelope of steady noise near `hz`, from the median of what lies beside the line."""
    off = np.abs(np.arange(len(power)) * step_hz - hz)
    beside = power[(off > 10.0) & (off < 40.0)]
    return float(np.median(beside)) / gamma_quantile(0.5, averages)
