"""The share of mains-synchronous noise from the envelopes of single visits, whose phases nobody knows.

*Whether.* At each multiple of twice the mains frequency (or of that itself, for bursts once a cycle) |Y|² of the rows
of an envelope (`spectra.envelope`) is close to an exponential variable over its local floor, so that the sum over the
first multiples of K rows is a Gamma variable (the periodogram of noise: Percival and Walden, Spectral Analysis for
Physical Applications, 1993, chapter 6, from memory); its chance is multiplied by the number of frequencies tried.
Nowhere beside the mains' own frequencies may the sum be larger by more than chance: it is a logarithm of likelihood, so
that twice what the likeliest frequency has over the true one is close to χ² with one degree of freedom (Wilks, Ann.
Math. Stat. 9 (1938) 60, from memory).

*How much.* The rows are turned until their multiples agree; together they are the swell of one cycle. What lies over
its quietest place is the share. The place is sought in all other rows than the one it is read in, so that noise feigns
none. Seen through windows of an eighth and of a quarter of the cycle, q₈ and q₄ of the mean, the quietest place without
a window is 2 q₈ − q₄: right for a source that rests for a quarter or longer and for one that rests for an instant only
(a rectified sine), a twentieth of the share too high for a swell 1 + cos.

A source that never rests has a steady part, which is no other noise's to see: of it the share is a lower bound.

*What is no noise.* Dots, steps of phase and bits may keep time with the mains, and spill over bins without signals;
but such noise falls off with the distance from its signal, and noise of the mains does not. Where an envelope has two
parts, far from signals and near them, both have to show it, and about as strongly.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import gammaincc

from sweeper.spectra.noise_bins import Floats, gamma_quantile

HIGHEST_HZ = 1000.0
MAINS_HZ = (50.0, 60.0)
OFF = tuple(0.0005 * nth for nth in range(-6, 7))
"""Grids stay within 0.2 % of their frequency; so does the clock of the samples."""
BEYOND = tuple(sign * off for off in (0.005, 0.01, 0.015, 0.02, 0.03, 0.04, 0.06, 0.08) for sign in (-1, 1))
"""Where a rhythm is none of the mains, though half a second hardly tells it from theirs: a fan, a display, a set that
makes its own alternating current."""
BY_CHANCE = 2.7
"""By so much the sum of a frequency beside is larger in one of fifty looks at noise of the mains: half of χ². Two stays
of a tenth of a second then lose one source of ten, and still tell 52 Hz from 50, but 51 Hz not always."""
BESIDE_HZ = 10.0
NEAR_HZ = 45.0
CHANCE = 1e-6
ODDS = 2.0
"""So many times as strong beside all other noise may it be in one part as in the other."""
EVERY, ODD = (1, 2, 3, 4, 5), (1, 3, 5)
PLACES = 128
TURNS = 3
Rows = NDArray[np.complexfloating]


@dataclass(frozen=True, slots=True)
class MainsLines:
    """`share` of the noise's power, with its standard error: the rows' own scatter, and half of what a window of no
    width adds."""

    mains_hz: float
    share: float
    share_se: float
    chance: float


def mains_lines(envelopes: Sequence[Rows]) -> MainsLines | None:
    """From envelopes of visits, shape (parts, rows, lines), each from 0 to 1 kHz; None where nothing is beyond chance.

    Rows count as independent; of rows of two lengths the longer ones are read.
    """
    lines = max((each.shape[-1] for each in envelopes), default=0)
    alike = [each for each in envelopes if each.shape[-1] == lines]
    if lines < 2 or len({len(each) for each in alike}) > 1:
        return None
    found = [_of_part(np.concatenate(part)) for part in zip(*alike, strict=True)]
    known = [each for each in found if each is not None]
    if len(known) < len(found) or not _alike(known):
        return None
    share = sum(each.share for each in known) / len(known)
    error = math.hypot(*(each.share_se for each in known)) / len(known)
    return MainsLines(known[0].mains_hz, share, error, max(each.chance for each in known))


def _alike(parts: Sequence[MainsLines]) -> bool:
    """Whether all parts show the same mains, and its ratio to all other noise is about the same, errors allowed for."""
    rhythms = [each.mains_hz for each in parts]
    most, least = (pick(parts, key=lambda each: each.share) for pick in (max, min))
    low, high = max(most.share - most.share_se, 0.0), min(least.share + least.share_se, 1.0)
    return max(rhythms) - min(rhythms) < 1.0 and low * (1.0 - high) <= ODDS * high * (1.0 - low)


def _of_part(rows: Rows) -> MainsLines | None:
    lines = rows.shape[1]
    rows = rows[rows[:, 0].real > 0.0].astype(np.complex128)
    if not len(rows):
        return None
    rows /= rows[:, :1].real
    step_hz = HIGHEST_HZ / (lines - 1)
    waves = np.fft.irfft(rows, 2 * (lines - 1))
    offs = OFF if step_hz < 5.0 else (0.0,)  # shorter ones do not tell so little
    found = []
    for mains_hz in MAINS_HZ:
        floor = _Floor(rows, mains_hz, step_hz)
        for every_hz, multiples in ((2 * mains_hz, EVERY), (mains_hz, ODD)):
            scores = {off: _score(waves, floor, every_hz * (1.0 + off), multiples) for off in offs}
            off = max(scores, key=lambda each: scores[each])
            score = scores[off]
            chance = float(gammaincc(len(multiples) * len(rows), score)) * 2 * len(offs) * len(MAINS_HZ)
            if chance <= CHANCE and all(
                _score(waves, floor, every_hz * (1.0 + other), multiples) < score + BY_CHANCE
                for other in BEYOND
                if abs(other) * every_hz * multiples[-1] >= step_hz  # shorter rows cannot tell them apart
            ):
                found.append((chance, -score, every_hz * (1.0 + off), mains_hz))
    if not found:
        return None
    chance, _, _, mains_hz = min(found)
    once = [each for each in found if each[3] == mains_hz and each[2] < 1.5 * mains_hz]
    every_hz = min(once or [each for each in found if each[3] == mains_hz])[2]
    hz: Floats = every_hz * np.arange(1.0, int(HIGHEST_HZ / every_hz) + 1)
    share, error = _share(_at(waves, hz), _Floor(rows, mains_hz, step_hz)(hz))
    mains_found = every_hz if every_hz < 1.5 * mains_hz else every_hz / 2
    return MainsLines(float(mains_found), share, error, min(chance, 1.0)) if share > 0.0 else None


def _score(waves: Floats, floor: "_Floor", every_hz: float, multiples: Sequence[int]) -> float:
    """Sum of |Y|² over its floor, of all rows at multiples of a frequency."""
    over = [nth * every_hz for nth in multiples]
    return float(np.sum(np.square(np.abs(_at(waves, over))).sum(axis=0) / floor(over)))


def _at(waves: Floats, hz: Sequence[float] | Floats) -> Rows:
    """Rows at any frequencies, between their lines too: shape (rows, frequencies). `waves`: the rows over time."""
    turns = np.outer(np.arange(waves.shape[1]) / (2 * HIGHEST_HZ), hz)
    found: Rows = waves @ np.exp(-2j * np.pi * turns)
    return found


class _Floor:
    """What steady noise shows near frequencies: the median of what lies beside all multiples of the mains."""

    def __init__(self, rows: Rows, mains_hz: float, step_hz: float) -> None:
        hz = np.arange(rows.shape[1]) * step_hz
        off = np.abs((hz + mains_hz / 2) % mains_hz - mains_hz / 2)
        self._beside = off >= max(BESIDE_HZ, 2 * step_hz) - 1e-6
        self._hz, self._power = hz, np.mean(np.square(np.abs(rows)), axis=0)
        self._median = gamma_quantile(0.5, len(rows))

    def __call__(self, hz: Sequence[float] | Floats) -> Floats:
        """The mean of |Y|², shape as `hz`."""
        found = [
            float(np.median(self._power[self._beside & (np.abs(self._hz - each) < NEAR_HZ)])) for each in hz
        ]
        return np.maximum(np.array(found) / self._median, 1e-30)


def _share(swings: Rows, floor: Floats) -> tuple[float, float]:
    """What lies over the quietest place, with its standard error. `swings`: shape (rows, multiples)."""
    count, nth = len(swings), np.arange(1, swings.shape[1] + 1)
    turned = np.exp(1j * np.outer(nth, 2 * np.pi * np.arange(PLACES) / PLACES))
    order = swings
    like = swings[np.argmax(np.square(np.abs(swings)).sum(axis=1))]
    for _ in range(TURNS):
        order = _aligned(swings, np.broadcast_to(like, swings.shape), turned)
        like = order.mean(axis=0)
    if count > 1:
        others = (order.sum(axis=0) - order) / (count - 1)
        power = np.maximum(np.square(np.abs(others)), 1e-30)
        others = others * np.clip(1.0 - floor / max(count - 1, 1) / power, 0.0, 1.0)
        order = _aligned(swings, others, turned)
    else:
        others = order
    whole = np.sinc(
        nth / (len(nth) + 1)
    )  # Lanczos' factors: multiples end at 1 kHz, and short bursts do not ring
    narrow, wide = whole * np.sinc(nth / 8), whole * np.sinc(nth / 4)
    place = np.argmin(((others * wide) @ turned).real, axis=1)
    there = order * turned[:, place].T
    eighth, quarter = (1.0 + 2.0 * (there * window).sum(axis=1).real for window in (narrow, wide))
    shares = 1.0 - (2.0 * eighth - quarter)
    scatter = float(np.std(shares, ddof=1)) / np.sqrt(count) if count > 1 else float(np.sqrt(2 * floor.sum()))
    wider = float(np.mean(quarter - eighth))
    return float(np.clip(shares.mean(), 0.0, 1.0)), float(np.hypot(scatter, wider / 2))


def _aligned(swings: Rows, like: Rows, turned: Rows) -> Rows:
    """Each row turned to where it is most like its own row of `like`."""
    found: Rows = swings * turned[:, np.argmax(((swings * like.conj()) @ turned).real, axis=1)].T
    return found
