"""How the power of noise goes up and down within a second: the spectrum of its envelope, 0 to 1 kHz.

Noise from an arc, a dimmer or a rectifier comes and goes with the mains, that of a resistor or of the sky does not.
Only bins of noise count, so that a modulated station does not. A block is tapered by w, transformed, left with its
noise bins, and transformed back to y(t), complex; then

    Y(f) = Σ_t |y|² e^(−2πift)   and   E(f) = Σ |Y(f)|² / Σ Y(0)²,   sums over blocks,

so that noise whose power is m (1 + a cos 2πft) shows a line of (a/2)². Steady Gaussian noise shows the `floor`,

    length · Σw⁴ / (Σw²)² · Σ_k S_k S_k+f / (Σ_k S_k)²,

S_k being its power in line k: the power of complex Gaussian noise has the variance of its mean squared, and two lines
beat at their distance (S. O. Rice, Bell Syst. Tech. J. 24 (1945) 46, section 4.5, from memory). Swings of depth a lift
it by 1 + a²/2. At each frequency the mean over K blocks is close to a Gamma variable of shape K, less by what
overlapping blocks share. The taper of `envelope`, Hann's, spreads a line, that at 0 Hz too, over ±2 steps of 1/T, and
what a station beside the noise bins leaks into them stands at the block's ends, where it is small.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray
from scipy.fft import fft, ifft, next_fast_len, rfft

from sweeper.spectra.axis import Axis
from sweeper.spectra.welch import Floats, window

if TYPE_CHECKING:
    from drivers.contracts import Block

HIGHEST_HZ = 1000.0
POWER_HZ = 4000.0
BLOCK_S = 0.5
"""Length of a block: lines 4 Hz wide, so that 50 and 60 Hz and their harmonics stand apart."""
SHORT_S = 0.1
"""Of a stay that holds no longer one: still a whole number of cycles of either mains."""


@dataclass(frozen=True, slots=True, eq=False)
class Envelope:
    """`rows`: shape (blocks, lines), complex, Y(f) at f = k · `step_hz` from 0 to 1 kHz, over the mean of Y(0). Blocks
    overlap by half. `by_line`: power of the noise in each line of a block's transform, which tells the `floor`.
    """

    step_hz: float
    rows: NDArray[np.complex64]
    by_line: NDArray[np.float64]

    @property
    def power(self) -> Floats:
        """E(f), shape (lines,), 1 at 0 Hz."""
        return power_of(self.rows)

    @property
    def floor(self) -> NDArray[np.float64]:
        """E(f) that steady noise of the same bins shows, shape (lines,), right from 10 steps up."""
        length = len(self.by_line)
        taper = _hann(length).astype(np.float64)
        beats = ifft(np.square(np.abs(fft(self.by_line)))).real / np.sum(self.by_line) ** 2
        found: NDArray[np.float64] = (
            length * np.sum(taper**4) / np.sum(taper**2) ** 2 * beats[: self.rows.shape[1]]
        )
        return found

    @property
    def blocks(self) -> int:
        return len(self.rows)


def power_of(rows: NDArray[np.complex64]) -> Floats:
    """E(f) of rows, shape (…, lines)."""
    squares = np.square(rows.real) + np.square(rows.imag)
    found: Floats = squares.reshape(-1, rows.shape[-1]).mean(axis=0)
    return found


def envelope(blocks: "Sequence[Block]", axis: Axis, keep: NDArray[np.bool_]) -> Envelope | None:
    """The envelope of the noise in the bins `keep`, shape (bins,), of the axis's spectra.

    Blocks of samples that follow each other; what touches a gap is left out. None where no tenth of a second is whole,
    or where no bins are kept.
    """
    there = sum(len(each.samples) for each in blocks)
    long = 2 * next_fast_len(int(axis.rate_hz * BLOCK_S / 2))
    for length in (long, 2 * int(axis.rate_hz * SHORT_S / 2)):
        if there < length:
            continue
        chosen = _chosen(axis, keep, length)
        if chosen.any() and (found := _envelope(_whole(blocks, length), axis.rate_hz, chosen)) is not None:
            return found
    return None


def _envelope(
    pieces: "Iterable[tuple[bool, NDArray[Any]]]", rate_hz: float, chosen: NDArray[np.bool_]
) -> Envelope | None:
    length = len(chosen)
    taper = _hann(length)
    lines = int(HIGHEST_HZ * length / rate_hz + 0.5) + 1
    rows, by_line = [], np.zeros(length)
    for _, samples in pieces:
        kept = np.where(chosen, fft(samples * taper), 0)
        by_line += np.square(kept.real) + np.square(kept.imag)
        noise = ifft(kept)
        power = np.square(noise.real) + np.square(noise.imag)
        rows.append(rfft(power.astype(np.float64))[:lines])
    level = float(np.sqrt(np.mean([row[0].real ** 2 for row in rows]))) if rows else 0.0
    if level == 0.0:
        return None
    return Envelope(rate_hz / length, (np.array(rows) / level).astype(np.complex64), by_line)


@lru_cache(maxsize=8)
def _hann(length: int) -> Floats:
    found: Floats = (np.sin(np.pi * np.arange(length) / length) ** 2).astype(np.float32)
    return found


def noise_power(blocks: "Iterable[Block]", axis: Axis, keep: NDArray[np.bool_]) -> Iterator[Floats]:
    """The power of the noise in the bins `keep` over time, `POWER_HZ` values a second: one array a whole stretch.

    Blocks are tapered, left with their noise bins, and added where they overlap: Σ |y|² / Σ w². Its unit is arbitrary.
    """
    every = round(axis.rate_hz / power_hz(axis))
    half = every * next_fast_len(int(axis.rate_hz * BLOCK_S / 2) // every)
    chosen, taper = _chosen(axis, keep, 2 * half), window(2 * half).astype(np.float64)
    if not chosen.any():
        return
    weight = np.square(taper[:half]) + np.square(taper[half:])
    stretch: list[Floats] = []
    tail: Floats | None = None
    for follows, samples in _whole(blocks, 2 * half):
        if not follows:
            if stretch:
                yield np.concatenate(stretch)
            stretch, tail = [], None
        noise = ifft(np.where(chosen, fft(samples * window(2 * half)), 0))
        power = np.square(noise.real) + np.square(noise.imag)
        if tail is not None:
            both = (power[:half] + tail) / weight
            stretch.append(both.reshape(-1, every).mean(axis=1))
        tail = power[half:]
    if stretch:
        yield np.concatenate(stretch)


def power_hz(axis: Axis) -> float:
    """How many values a second `noise_power` gives, about `POWER_HZ`."""
    return axis.rate_hz / max(round(axis.rate_hz / POWER_HZ), 1)


def _chosen(axis: Axis, keep: NDArray[np.bool_], length: int) -> NDArray[np.bool_]:
    """Lines of a block's transform that lie in bins kept: positive frequencies only, where samples are real."""
    first, end = axis.bins
    as_sampled = keep[::-1] if axis.inverted else keep
    hz = np.fft.fftfreq(length, 1.0 / axis.rate_hz)
    bins = np.rint(hz / axis.step_hz).astype(np.int64) - first
    inside = (bins >= 0) & (bins < end - first)
    if axis.real:
        inside &= hz > 0.0
    found = np.zeros(length, np.bool_)
    found[inside] = as_sampled[bins[inside]]
    return found


def _whole(blocks: "Iterable[Block]", length: int) -> "Iterator[tuple[bool, NDArray[Any]]]":
    """Stretches of `length` samples without a gap, overlapping by half; whether each follows the one before."""
    rest: NDArray[Any] | None = None
    follows = False
    for block in blocks:
        if block.unplaced:
            rest, follows = None, False
            continue
        edges = [0, *sorted(set(block.gaps)), len(block.samples)]
        for begin, end in pairwise(edges):
            piece = block.samples[begin:end]
            if rest is None or begin in block.gaps:
                joined, follows = piece, False
            else:
                joined = np.concatenate([rest, piece])
            at = 0
            while at + length <= len(joined):
                yield follows, joined[at : at + length]
                follows = True
                at += length // 2
            rest = joined[at:]
