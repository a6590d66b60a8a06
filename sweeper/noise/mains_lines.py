"""The share of mains-synchronous noise from envelopes of single visits, which are too short to fold.

An envelope E(f) has lines at the multiples of twice the mains frequency, or of that itself (`spectra.envelope`): r² at
the first, where the noise's power swings by 2r. Their phases are not kept, so how long a burst lasts within its half
cycle is taken from the second and third line: with ρ = max(r₂, 0.82 r₃)/r₁ the share is 2 r₁/(1 + ρ). It is exact for a
swing 1 + cos, for short bursts and for those of half of the time; bursts in between are read up to 16 % of their share
too high, longer ones up to 23 % too low, and a rectified sine (which rests for an instant only) at 0.56 of its share.

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
TRIED = tuple((mains_hz, 1.0 + off) for mains_hz in MAINS_HZ for off in (0.0, -0.0015, 0.0015, -0.003, 0.003))
REACH = 4
"""The taper spreads a line so many steps to each side."""
SPREAD = 2.763
"""Sum of a line's spread powers over its own: the noise bandwidth, in steps, of the taper's square, which the power
of a tapered block carries."""
CHANCE = 1e-6
THIRD = 0.82
"""Bursts of half of the time have no second line; this makes them right by their third."""
EVERY, ODD = (1, 2, 3, 4, 5), (1, 3, 5)


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
    tried = [
        (_score(power, len(alike), 2 * mains_hz * off, EVERY, step_hz), mains_hz * off)
        for mains_hz, off in TRIED
    ]
    score, mains_hz = max(tried)
    chance = min(float(gammaincc(len(EVERY) * len(alike), score)) * len(tried), 1.0)
    # bursts once a cycle stand at the odd multiples, too; their chance is that of as many lines alone
    odd = _score(power, len(alike), mains_hz, ODD, step_hz)
    chance_odd = float(gammaincc(len(ODD) * len(alike), odd)) * len(tried)
    if min(chance, chance_odd) > CHANCE:
        return None
    every_hz = mains_hz if chance_odd < CHANCE else 2 * mains_hz
    first, second, third = (max(_line(power, len(alike), nth * every_hz, step_hz), 0.0) for nth in (1, 2, 3))
    if first <= 0.0:
        return None
    floor = _floor(power, len(alike), every_hz, step_hz)
    # a line of power P in noise of power n scatters by sqrt(2 P n + n²), averaged over the envelopes
    scatter = float(np.sqrt((2 * first * floor + floor**2 * REACH) / len(alike)))
    depth = float(np.sqrt(first))
    bent = 1.0 + min(float(np.sqrt(max(second, THIRD**2 * third) / first)), 1.0)
    share = min(2.0 * depth / bent, 1.0)
    return MainsLines(float(mains_hz), share, share * scatter / (2.0 * first), chance)


def _score(power: Floats, averages: int, base_hz: float, multiples: Sequence[int], step_hz: float) -> float:
    """Powers at multiples of a frequency over the floor beside each, added."""
    return sum(
        float(power[round(nth * base_hz / step_hz)])
        / _floor(power, averages, nth * base_hz, step_hz)
        * averages
        for nth in multiples
    )


def _line(power: Floats, averages: int, hz: float, step_hz: float) -> float:
    """Power of a line over the floor."""
    at = round(hz / step_hz)
    near = power[max(at - REACH, 0) : at + REACH + 1]
    return float(np.sum(near - _floor(power, averages, hz, step_hz))) / SPREAD


def _floor(power: Floats, averages: int, hz: float, step_hz: float) -> float:
    """The envelope of steady noise near `hz`, from the median of what lies beside the line."""
    off = np.abs(np.arange(len(power)) * step_hz - hz)
    beside = power[(off > 10.0) & (off < 40.0)]
    return float(np.median(beside)) / gamma_quantile(0.5, averages)
