"""Signals of a tuning: runs of bins that stand over the noise, and which of them did not come in by the antenna.

A *birdie* is the receiver's own: on the load it stands within 10 dB of its strength on the antenna. Below that, what is
on the load is *leakage* through the relay, and stays a signal. An *image* lies opposite a stronger signal across the
centre of the samples. Arrays in, small frozen values out.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from sweeper.spectra.noise_bins import Mask, NoiseBins, runs

Floats = NDArray[np.float64]

STANDS_OUT = 1.0
"""S/N in a bin, linear, both routes added, from which a run of bins is worth counting as a signal."""
CORE_DB = 10.0
"""Bins of a signal within so much of its strongest are read; the rest would bring more noise than signal."""
BIRDIE_DB = 10.0
IMAGE_REJECTION_DB = 40.0
"""What receivers of samples reach without being adjusted for it (common practice)."""
MOST_SIGNALS = 200
WIDEST = 8
"""A line fills this many bins of the window, whatever its strength up to 80 dB over the noise."""


@dataclass(frozen=True, slots=True)
class Signal:
    """Bins `first` to `last` (included) stand over the noise; of them `core` are read. `peak`: the strongest bin.
    `strength`: S/N in a bin, mean over the core, linear, the mean of both routes. `kind`: ``signal``, ``birdie``,
    ``leakage`` (a signal that also gets past the relay) or ``image``.
    """

    first: int
    last: int
    peak: int
    core: tuple[int, ...]
    strength: float
    kind: str = "signal"

    @property
    def narrow(self) -> bool:
        """Whether it is no wider than the window makes a line."""
        return self.last - self.first < WIDEST


def signals(over_noise: Floats, noise: NoiseBins) -> list[Signal]:
    """Runs of bins that are not noise and stand out, strongest first.

    `over_noise`: shape (bins,), S/N in each bin, linear, the mean of both routes. A run is cut where it falls 10 dB
    under its neighbours, so that two signals side by side are two. Beyond the outermost noise bins nothing is told:
    there the pass band is not seen but continued, and the edge of a filter passes for a signal that never changes.
    """
    kept = np.flatnonzero(noise.keep)
    known = np.zeros(len(over_noise), np.bool_)
    if len(kept):
        known[kept[0] : kept[-1] + 1] = True
    there = known & noise.usable & ~noise.keep & (over_noise > STANDS_OUT / 4)
    found = []
    for first, end in runs(there):
        for begin, stop in _parted(over_noise, first, end):
            part = over_noise[begin:stop]
            if part.max() < STANDS_OUT:
                continue
            peak = begin + int(np.argmax(part))
            core = begin + np.flatnonzero(part >= part.max() * 10 ** (-CORE_DB / 10))
            found.append(
                Signal(begin, stop - 1, peak, tuple(core.tolist()), float(np.mean(over_noise[core])))
            )
    found.sort(key=lambda signal: -signal.strength)
    return found[:MOST_SIGNALS]


def _parted(over_noise: Floats, first: int, end: int) -> list[tuple[int, int]]:
    """A run cut at valleys that lie 10 dB under the lower of the peaks to both sides."""
    part = over_noise[first:end]
    if len(part) <= WIDEST:
        return [(first, end)]
    from_left = np.maximum.accumulate(part)
    from_right = np.maximum.accumulate(part[::-1])[::-1]
    depth = np.minimum(from_left, from_right) / part
    valley = int(np.argmax(depth))
    if depth[valley] < 10.0 or valley < 2 or valley > len(part) - 3:
        return [(first, end)]
    return _parted(over_noise, first, first + valley) + _parted(over_noise, first + valley + 1, end)


def told_apart(
    found: Sequence[Signal],
    noise: NoiseBins,
    antenna: Floats,
    load: Floats | None,
    centre: float | None,
) -> list[Signal]:
    """The signals with their kinds. `antenna`, `load`: mean power through the same route, shape (bins,), on one scale;
    `load` None where there was none. `centre`: bin of the samples' 0 Hz, not rounded; None for audio.
    """
    told = []
    for signal in found:
        kind = "signal"
        if load is not None:
            core = list(signal.core)
            here = np.sum(antenna[core] - noise.level(antenna) * noise.pass_band[core])
            there = np.sum(load[core] - noise.level(load) * noise.pass_band[core])
            floor = 4.0 * noise.level(load) * np.sqrt(len(core) / noise.shape)
            if there > max(here, 0.0) * 10 ** (-BIRDIE_DB / 10) and there > floor:
                kind = "birdie"
            elif there > floor:
                kind = "leakage"
        if centre is not None and _is_image(signal, antenna, noise, centre):
            kind = "image"
        told.append(replace(signal, kind=kind))
    return told


def _is_image(signal: Signal, antenna: Floats, noise: NoiseBins, centre: float) -> bool:
    """Whether the bins opposite outshine it by more than the image rejection less 10 dB."""
    opposite = 2.0 * centre - signal.peak
    first, end = int(np.floor(opposite)) - 1, int(np.ceil(opposite)) + 2
    if first < 0 or end > len(antenna) or abs(opposite - signal.peak) <= WIDEST:
        return False
    level = noise.level(antenna)
    here = antenna[signal.peak] - level * noise.pass_band[signal.peak]
    there = float(np.max(antenna[first:end]))
    return there > float(here) * 10 ** ((IMAGE_REJECTION_DB - 10.0) / 10)


def without_images_and_centre(usable: Mask, mean: Floats, centre: float, guard: int = 4) -> Mask:
    """Usable bins without those next to 0 Hz of the samples (converters leave a line there) and without those whose
    mirror image outshines them by more than the image rejection less 10 dB.
    """
    bins = np.arange(len(usable))
    kept = usable & (np.abs(bins - centre) > guard)
    opposite = np.rint(2.0 * centre - bins).astype(int)
    inside = (opposite >= 0) & (opposite < len(bins))
    mirror = np.zeros(len(bins))
    mirror[inside] = mean[opposite[inside]]
    drowned: Mask = mirror > mean * 10 ** ((IMAGE_REJECTION_DB - 10.0) / 10)
    clean: Mask = kept & ~drowned
    return clean
