"""From blocks of samples to spectra: Welch's method with a 4-term Blackman-Harris window and 50 % overlap.

P[k] = (1/K) Σ |Σ w[n] x[n] e^(−2πikn/N)|² / (Σ w)² over K segments (P. D. Welch, IEEE Trans. Audio Electroacoust. 15
(1967) 70), twice that for real samples off 0 Hz: a carrier reads its power, white noise its density times the window's
equivalent noise bandwidth, 2.0 bins (F. J. Harris, Proc. IEEE 66 (1978) 51). Unbiased for white noise; the mean over K
segments is close to a Gamma variable of shape `shape_of(K)`, so its variance is mean² / shape. Side lobes lie under
−92 dB, so that a carrier 80 dB over the noise fills ±4 bins and no more. No detrending: it would make 0 Hz read low.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field, replace
from functools import lru_cache
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from sweeper.spectra.axis import Axis
from sweeper.words import Spectrum

if TYPE_CHECKING:
    from drivers.contracts import Block

Floats = NDArray[np.float32]

CACHED_BYTES = 1 << 20
"""Segments are transformed so many bytes at a time: what stays in the processor's cache is not fetched twice."""
CLIPPED = 1e-4
"""Share of clipped samples from which a spectrum says so."""


@lru_cache(maxsize=8)
def window(length: int) -> Floats:
    """The 4-term Blackman-Harris window, periodic, shape (length,), scaled to a sum of 1."""
    phase = 2.0 * np.pi * np.arange(length) / length
    terms = (0.35875, -0.48829, 0.14128, -0.01168)  # Harris 1978, table 1: minimum 4-sample Blackman-Harris
    shape = np.sum([term * np.cos(nth * phase) for nth, term in enumerate(terms)], axis=0)
    scaled: Floats = (shape / np.sum(shape)).astype(np.float32)
    return scaled


def noise_bandwidth(length: int) -> float:
    """Equivalent noise bandwidth of the window in bins, length · Σw² / (Σw)²: 2.004."""
    return float(length * np.sum(window(length).astype(np.float64) ** 2))


@lru_cache(maxsize=8)
def _overlap(length: int) -> float:
    """Correlation of the powers of neighbouring segments of white noise, ρ²(50 %)."""
    taper = window(length).astype(np.float64)
    return float((np.sum(taper[: length // 2] * taper[length // 2 :]) / np.sum(taper**2)) ** 2)


def shape_of(segments: float, length: int = 1024) -> float:
    """Shape of the Gamma variable that the mean of K segments is close to: K / (1 + 2 ρ² (K − 1)/K) (Welch 1967)."""
    return segments / (1.0 + 2.0 * _overlap(length) * max(segments - 1.0, 0.0) / max(segments, 1.0))


@dataclass(frozen=True, slots=True, eq=False)
class Frame:
    """Sum of the powers of consecutive segments. `first`: index of the first sample; `mean` as in `Spectrum`."""

    first: int
    last: int
    segments: int
    mean: Floats
    clipped: float


@dataclass
class Welch:
    """Turns a stream of blocks into frames of `a_frame` segments each, on a fixed grid of samples.

    A segment that touches a gap is left out; a frame with none left is not given. Where samples went missing at an
    unknown place, everything since the block before is void and the grid begins anew.
    """

    axis: Axis
    a_frame: int
    _rest: NDArray[Any] | None = None
    _rest_first: int = 0
    _gaps: list[int] = field(default_factory=list)

    def feed(self, block: "Block", first: int) -> Iterator[Frame]:
        """The frames that a block completes. `first`: index of its first sample; a jump of it is a gap."""
        samples = block.samples
        if self._rest is not None and self._rest_first + len(self._rest) != first:
            self._rest = None
        if block.unplaced:
            self._rest = None
            return
        self._gaps += [first + gap for gap in block.gaps]
        if self._rest is None or not len(self._rest):
            joined, start = samples, first
        else:
            joined, start = np.concatenate([self._rest, samples]), self._rest_first
        hop, length = self.axis.length // 2, self.axis.length
        grid = -(-start // hop) * hop  # on the grid of hops, wherever reading began
        stride = self.a_frame * hop
        span = stride + hop
        here = grid - start
        if here < 0 or len(joined) - here < span:
            self._rest, self._rest_first = joined, start
            return
        count = (len(joined) - here - span) // stride + 1
        yield from self._frames(joined[here : here + (count - 1) * stride + span], grid, count, block.clipped)
        used = here + count * stride
        self._rest, self._rest_first = joined[used:].copy(), start + used
        self._gaps = [gap for gap in self._gaps if gap > self._rest_first]
        assert length == 2 * hop

    def rest(self) -> Iterator[Frame]:
        """What is left where the stream ends, shorter than a frame, segment by segment."""
        self.a_frame, samples = 1, self._rest
        if samples is not None:
            hop = self.axis.length // 2
            grid = -(-self._rest_first // hop) * hop
            here = grid - self._rest_first
            if (count := (len(samples) - here) // hop - 1) > 0:
                yield from self._frames(samples[here : here + (count + 1) * hop], grid, count, 0.0)
        self._rest = None

    def _frames(self, samples: NDArray[Any], first: int, count: int, clipped: float) -> Iterator[Frame]:
        hop, stride = self.axis.length // 2, self.a_frame * self.axis.length // 2
        bad = np.zeros(count * self.a_frame, np.bool_)
        for gap in self._gaps:
            nth = (gap - first) / hop
            bad[max(int(np.ceil(nth - 2 + 1e-9)), 0) : max(int(np.ceil(nth)), 0)] = True
        at_once = max(1, CACHED_BYTES // (samples.itemsize * self.axis.length * self.a_frame))
        for begin in range(0, count, at_once):
            end = min(begin + at_once, count)
            part = samples[begin * stride : (end - 1) * stride + stride + hop]
            kept = ~bad[begin * self.a_frame : end * self.a_frame]
            powers = segment_sums(part, self.axis, self.a_frame, None if kept.all() else kept)
            for nth in range(end - begin):
                good = int(kept[nth * self.a_frame : (nth + 1) * self.a_frame].sum())
                if good:
                    at = first + (begin + nth) * stride
                    yield Frame(at, at + stride + hop, good, powers[nth] / np.float32(good), clipped)


def segment_sums(
    samples: NDArray[Any], axis: Axis, a_frame: int, kept: NDArray[np.bool_] | None = None
) -> Floats:
    """Sums of segment powers, shape (frames, bins), from samples that hold whole frames. `kept`: (segments,)."""
    length, hop = axis.length, axis.length // 2
    segments = (len(samples) - length) // hop + 1
    frames = segments // a_frame
    step = samples.strides[0]
    view = np.lib.stride_tricks.as_strided(
        samples, (frames * a_frame, length), (step * hop, step), writeable=False
    )
    weighted = view * window(length)
    if kept is not None:
        weighted[~kept] = 0
    parts = _transformed(weighted, axis.real).view(np.float32).reshape(frames, a_frame, -1)
    squares = np.einsum("fsk,fsk->fk", parts, parts)
    return _in_order(squares[:, 0::2] + squares[:, 1::2], axis)


def _transformed(segments: NDArray[Any], real: bool) -> NDArray[np.complex64]:
    """Of each row. SciPy's takes a quarter of the time, which a band's samples need; but sound has so little to
    transform that loading SciPy would take longer than the first spectrum of it.
    """
    if real:
        return np.fft.rfft(segments, axis=1).astype(np.complex64, copy=False)
    from scipy.fft import fft

    lines: NDArray[np.complex64] = fft(segments, axis=1, overwrite_x=True)
    return lines


def _in_order(powers: Floats, axis: Axis) -> Floats:
    """Bins as the axis has them: those kept, rising with radio frequency."""
    first, end = axis.bins
    if axis.real:
        powers = 2.0 * powers[:, first:end]
        if first == 0:
            powers[:, 0] /= 2.0
        if end == axis.length // 2 + 1:
            powers[:, -1] /= 2.0
    elif first < 0:
        powers = np.concatenate(
            [powers[:, axis.length + first : axis.length + min(end, 0)], powers[:, : max(end, 0)]], axis=1
        )
    else:
        powers = powers[:, first:end]
    return powers[:, ::-1] if axis.inverted else powers


def spectrum_of(frame: Frame, axis: Axis) -> Spectrum:
    """The spectrum of a single frame."""
    return Spectrum(
        axis.start_hz,
        axis.step_hz,
        frame.mean,
        None,
        frame.segments,
        noise_bandwidth(axis.length) * axis.step_hz,
        frame.clipped,
        frozenset({"clipped"} if frame.clipped > CLIPPED else ()),
    )


def without_steps(one: Spectrum, step_noise: float, width_hz: float) -> Spectrum:
    """The spectrum less what a converter's steps put into each bin, of which at most half is taken off.

    `step_noise`: their power, of full scale, over `width_hz`: the rate of samples of a band, half the rate of sound.
    """
    if not step_noise or not one.segments:
        return one
    steps = np.float32(step_noise * one.noise_bandwidth_hz / width_hz)
    return replace(one, mean=np.maximum(one.mean - steps, one.mean / 2))


def frames(blocks: "Iterable[tuple[int, Block]]", axis: Axis, a_frame: int) -> Iterator[Frame]:
    """Frames of a stream of (index of the first sample, block)."""
    welch = Welch(axis, a_frame)
    for first, block in blocks:
        yield from welch.feed(block, first)


SUB_BLOCKS = 32
LOW = 0.25


class _Sums:
    """Sums of segment powers over up to twice `SUB_BLOCKS` sub-blocks, which grow as a stay lasts."""

    def __init__(self) -> None:
        self.sums: list[NDArray[np.float64]] = []
        self.counts: list[int] = []
        self.segments = 1
        """In each sub-block but the last, gaps aside."""

    def add(self, frame: Frame, *, to_last: bool = False) -> None:
        powers = frame.mean.astype(np.float64) * frame.segments
        if to_last and self.sums:
            self.sums[-1] += powers
            self.counts[-1] += frame.segments
            return
        self.sums.append(powers)
        self.counts.append(frame.segments)
        if len(self.sums) == 2 * SUB_BLOCKS:
            self.sums = [a + b for a, b in zip(self.sums[::2], self.sums[1::2], strict=True)]
            self.counts = [a + b for a, b in zip(self.counts[::2], self.counts[1::2], strict=True)]
            self.segments *= 2

    def means(self) -> Floats:
        """Of each sub-block, shape (sub-blocks, bins)."""
        found = np.empty((len(self.sums), len(self.sums[0])), np.float32)
        for row, powers, count in zip(found, self.sums, self.counts, strict=True):
            np.divide(powers, count, out=row, casting="same_kind")
        return found


def low_quantile(values: Floats, share: float) -> Floats:
    """The quantile over the first axis, straight between ranks; shape (rows, bins) to (bins,).

    Row by row, only the lowest are kept in order: for a quartile of some tens of rows a fifth of the time of a general
    quantile, which sorts each bin by itself. Same numbers as `numpy.quantile`, to rounding.
    """
    rank = share * (len(values) - 1)
    below = int(rank)
    lowest = np.full((min(below + 2, len(values)), values.shape[1]), np.inf, values.dtype)
    for row in values:
        rising = row.copy()
        for kept in lowest:
            higher = np.maximum(kept, rising)
            np.minimum(kept, rising, out=kept)
            rising = higher
    between: Floats = lowest[below] + np.float32(rank - below) * (lowest[-1] - lowest[below])
    return between


def _pieces(block: "Block", most: int) -> "Iterator[tuple[int, Block]]":
    """(index of its first sample, piece) of up to `most` samples each, with the gaps that lie in it."""
    for begin in range(0, len(block.samples), most):
        end = begin + most
        gaps = tuple(gap - begin for gap in block.gaps if begin <= gap < end)
        yield begin, replace(block, samples=block.samples[begin:end], gaps=gaps)


def spectrum(blocks: "Iterable[Block]", axis: Axis) -> Spectrum:
    """One spectrum from the blocks of one stay: means, and the lower quartile over the means of 32 to 63 sub-blocks.

    `low` lies below the mean, for noise by what a Gamma variable's quartile does, and further where a signal comes and
    goes. Memory does not grow with time: sub-blocks are sums, of more segments the longer the stay. Quality ``void``
    where nothing is left to average, or where a gap cannot be placed; ``gap`` where segments were left out;
    ``clipped`` from 0.01 % of the samples.
    """
    welch, kept, first, words = Welch(axis, 1), _Sums(), 0, set()
    clipped = total = 0.0
    for block in blocks:
        if block.unplaced:
            words.add("void")
        if block.gaps:
            words.add("gap")
        clipped += block.clipped * len(block.samples)
        total += len(block.samples)
        for begin, piece in _pieces(block, SUB_BLOCKS * axis.length):
            welch.a_frame = kept.segments
            for frame in welch.feed(piece, first + begin):
                kept.add(frame)
        first += len(block.samples)
    for frame in welch.rest():
        kept.add(frame, to_last=True)
    share = clipped / total if total else 0.0
    if share > CLIPPED:
        words.add("clipped")
    bandwidth_hz = noise_bandwidth(axis.length) * axis.step_hz
    bins = axis.bins[1] - axis.bins[0]
    if not kept.sums:
        nothing = np.full(bins, np.nan, np.float32)
        return Spectrum(
            axis.start_hz, axis.step_hz, nothing, None, 0, bandwidth_hz, share, frozenset(words | {"void"})
        )
    segments = sum(kept.counts)
    mean = (np.sum(kept.sums, axis=0) / segments).astype(np.float32)
    low = None
    if len(kept.sums) >= 8:
        low = low_quantile(kept.means(), LOW)
    return Spectrum(axis.start_hz, axis.step_hz, mean, low, segments, bandwidth_hz, share, frozenset(words))
