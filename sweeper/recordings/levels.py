"""Level over time: one quick pass over a whole recording, before anything is known of its switching."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from sweeper.spectra.axis import Axis
from sweeper.spectra.noise_bins import floor_and_total, in_pass_band
from sweeper.spectra.welch import Welch

if TYPE_CHECKING:
    from drivers.samples.file import Recording

Floats = NDArray[np.float64]

EVERY_HOPS = 4
MOST_BINS = 1024
SAMPLES = 128
FEWEST_PIECES = 32


@dataclass(frozen=True, slots=True, eq=False)
class Levels:
    """One value each `every_s`: `floor_db`, the lower quartile over the pass band, and `total_db`; dB of full scale.

    NaN where there is digital silence. `clipped`: share of all samples; `silent`: share of the time; `mean`: mean
    spectrum over the whole recording, linear. `median`: of each bin over time, linear. `uneven`: see `unevenness`.
    """

    every_s: float
    floor_db: Floats
    total_db: Floats
    clipped: float
    silent: float
    mean: Floats
    pass_band: NDArray[np.bool_]
    median: Floats
    uneven: float = 0.0


def levels_of(recording: "Recording", axis: Axis, told: Callable[[float], None]) -> Levels:
    """Read the whole recording once. `told`: takes the share done, 0 to 1."""
    hop = axis.length // 2
    profile, after = _profile(recording, axis)
    inside = (
        in_pass_band(np.quantile(profile, 0.2, axis=0)) if len(profile) else np.ones(_bins(axis), np.bool_)
    )
    if not inside.any():
        inside[:] = True
    places = np.flatnonzero(inside)
    places = places[:: -(-len(places) // MOST_BINS)]
    welch = Welch(axis, EVERY_HOPS)
    count = recording.frames // (EVERY_HOPS * hop) + 1
    floor, total = np.full(count, np.nan), np.full(count, np.nan)
    mean, frames, clipped, silent, last = np.zeros(_bins(axis)), 0, 0.0, 0, 0
    for first, block in recording.blocks():
        clipped += block.clipped * len(block.samples)
        told(first / max(recording.frames, 1))
        for frame in welch.feed(block, first):
            place = frame.first // (EVERY_HOPS * hop)
            low, whole = (float(each) for each in floor_and_total(frame.mean[places]))
            if low <= 0.0 or not np.isfinite(low):
                silent += 1
                continue
            floor[place], total[place] = low, whole
            mean += frame.mean
            frames, last = frames + 1, max(last, place)
    known = max(last + 1, 1)
    median = np.median(profile, axis=0) if len(profile) else mean
    return Levels(
        EVERY_HOPS * hop / axis.rate_hz,
        10.0 * np.log10(floor[:known]),
        10.0 * np.log10(total[:known]),
        clipped / max(recording.frames, 1),
        silent / max(silent + frames, 1),
        mean / max(frames, 1),
        inside,
        median,
        unevenness(profile[:, inside], after[:, inside]) if len(profile) >= FEWEST_PIECES else 0.0,
    )


def unevenness(pieces: Floats, next_to_them: Floats) -> float:
    """How unlike two neighbouring short spectra are, bin by bin: the width of ln(one / other) from its lowest to its
    highest tenth over the bins, in the typical pair.

    Both of shape (pieces, bins), linear, means over four half-overlapped segments each, the one right after the other.
    Level, filter and whatever lasts longer than both fall out. White noise gives 1.8 (Gamma laws of shape 3.8 that
    share half a segment), stations that send in slots 2.1, speech and data 1.8 to 1.9.
    """
    least = np.finfo(np.float64).tiny
    apart = np.log(np.maximum(pieces, least) / np.maximum(next_to_them, least))
    low, high = np.quantile(apart, (0.1, 0.9), axis=1)
    return float(np.median(high - low))


def _bins(axis: Axis) -> int:
    first, end = axis.bins
    return end - first


def _profile(recording: "Recording", axis: Axis) -> tuple[Floats, Floats]:
    """Spectra of short pieces spread over the recording, and those right after them, shape (pieces, bins) each."""
    length = (EVERY_HOPS + 2) * axis.length
    found: list[list[Any]] = []
    for first in np.linspace(0, max(recording.frames - length, 0), SAMPLES).astype(int):
        welch, pair = Welch(axis, EVERY_HOPS), []
        for at, block in recording.blocks(int(first), int(first) + length):
            pair += [frame.mean for frame in welch.feed(block, at) if float(frame.mean.max()) > 0.0]
        if len(pair) > 1:
            found.append(pair[:2])
    pairs = np.asarray(found, np.float64).reshape(len(found), 2, _bins(axis))
    return pairs[:, 0], pairs[:, 1]
