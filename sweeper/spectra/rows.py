"""From labelled spectra of one tuning to rows of the readings table, as a narrow meter would have them.

A noise channel reads the mean density of the tuning's noise bins times `CELL_HZ`, the same bins on every path; a
carrier what stands in `CELL_HZ` around its line, signal plus noise. In dB of full scale. Pure.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime

import numpy as np
from numpy.typing import NDArray

from sweeper.spectra.noise_bins import FEWEST_BINS, NoiseBins, in_pass_band, noise_bins
from sweeper.spectra.welch import shape_of
from sweeper.words import ANTENNA_BYPASS, ANTENNA_STAGE, Channel, Labelled, Reading, SignalPath

CELL_HZ = 281
"""Nine bins of 31.25 Hz: all that the window spreads a line over."""
LINE_BINS = 4
"""To each side of a line's middle."""
SEARCHED_HZ = 200.0
"""How far from its place a carrier is looked for: receivers, cards and the sender itself are off by as much."""
STANDS_OUT = 2.0
"""Power over noise in a bin, linear, from which a line is followed; with less its place is taken as told."""
LOWEST_HZ = 200.0
"""Below, no receiver's speech filter passes anything (common practice: 300 Hz), and mains hum is strongest."""
NOISE_FLOOR_DB = 3.0
"""Noise less than this above the card's own is the card's: a bound, not a value."""

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Learned:
    """What a tuning showed over a pass. `line`: bins of its carrier, (first, last included); None on a noise channel.

    `card`: the sound card's own density, power in a bin; 0 where it could not be seen.
    """

    channel: Channel
    pass_number: int
    noise: NoiseBins
    line: tuple[int, int] | None
    card: float


class NothingHeard(ValueError):
    """No noise can be told in this tuning: too narrow, silent, void, or one route only."""


def learn(channel: Channel, pass_number: int, sequence: Sequence[Labelled], filter_hz: float) -> Learned:
    """Noise bins and line of a tuning from all its spectra, both routes alike. `NothingHeard` where there is no noise.

    Their `tuning` is the radio frequency of 0 Hz in the sound; `filter_hz`: above it, in the sound, only the card is
    heard.
    """
    good = [one for one in sequence if counts(one)]
    if {ANTENNA_BYPASS, ANTENNA_STAGE} - {one.path for one in good}:  # clipped ones still tell where noise is
        good = [one for one in sequence if there(one)]
    means = {path: _mean(good, path) for path in (ANTENNA_BYPASS, ANTENNA_STAGE)}
    routes = [mean for mean in means.values() if mean is not None]
    if len(routes) < 2:
        raise NothingHeard("sound of one route only")
    spectrum = good[0].spectrum
    radio_hz = spectrum.start_hz + spectrum.step_hz * np.arange(len(spectrum.mean))
    hz = np.abs(radio_hz - (good[0].tuning or 0.0))
    low = np.median([one.spectrum.mean / np.median(one.spectrum.mean) for one in good], axis=0)
    heard = np.flatnonzero((hz >= LOWEST_HZ) & (hz < filter_hz))
    usable = np.zeros(len(hz), np.bool_)
    usable[heard] = in_pass_band(low[heard])
    if usable.sum() < 2 * FEWEST_BINS:
        raise NothingHeard("too narrow a pass band")
    shapes = tuple(
        shape_of(sum(one.spectrum.segments for one in good if one.path == path))
        for path in (ANTENNA_BYPASS, ANTENNA_STAGE)
    )
    noise = noise_bins((routes[0], routes[1]), shapes, usable)
    if noise.keep.sum() < FEWEST_BINS:
        raise NothingHeard("no bins without signals")
    beyond = np.flatnonzero(hz >= 1.15 * filter_hz)
    card = float(np.median([one.spectrum.mean[beyond].mean() for one in good])) if len(beyond) >= 8 else 0.0
    line = (
        _line(channel, spectrum.start_hz, spectrum.step_hz, noise, routes)
        if channel.purpose == "carrier"
        else None
    )
    return Learned(channel, pass_number, noise, line, card)


def rows(one: Labelled, learned: Learned) -> list[Reading]:
    """The row of a spectrum, at the middle of its time; none where it is void. Flags ``clipped`` and ``floor``."""
    if not there(one):
        return []
    spectrum = one.spectrum
    mean = spectrum.mean.astype(np.float64)
    density = learned.noise.level(mean) / spectrum.noise_bandwidth_hz
    power = density * CELL_HZ
    if learned.line is not None:
        first, last = learned.line
        inside = float(mean[first : last + 1].sum()) * spectrum.step_hz / spectrum.noise_bandwidth_hz
        power = inside + density * (CELL_HZ - (last + 1 - first) * spectrum.step_hz)
    if not power > 0.0 or not math.isfinite(power):
        return []
    flags = ["clipped"] if "clipped" in spectrum.quality else []
    card = learned.card / spectrum.noise_bandwidth_hz
    if learned.line is None and card > density * 10 ** (-NOISE_FLOOR_DB / 10):
        flags.append("floor")
    channel = learned.channel
    return [
        Reading(
            datetime.fromtimestamp((one.time + one.until) / 2.0, UTC),
            learned.pass_number,
            Channel(channel.band, channel.hz, channel.purpose, CELL_HZ),
            one.path,
            10.0 * math.log10(power),
            None,
            " ".join(flags),
        )
    ]


def counts(one: Labelled) -> bool:
    """Whether a spectrum is worth learning from: not void, not clipped, not silent."""
    return there(one) and "clipped" not in one.spectrum.quality


def there(one: Labelled) -> bool:
    """Whether a spectrum holds anything: not void, not silent."""
    spectrum = one.spectrum
    return "void" not in spectrum.quality and spectrum.segments > 0 and float(spectrum.mean.max()) > 1e-20


def _mean(good: Sequence[Labelled], path: SignalPath) -> Floats | None:
    mine = [one for one in good if one.path == path]
    if not mine:
        return None
    total = np.sum([one.spectrum.mean.astype(np.float64) * one.spectrum.segments for one in mine], axis=0)
    mean: Floats = total / sum(one.spectrum.segments for one in mine)
    return mean


def _line(
    channel: Channel, start_hz: float, step_hz: float, noise: NoiseBins, routes: Sequence[Floats]
) -> tuple[int, int]:
    """Where the carrier stands, on both routes taken together; its own place where nothing stands out near it."""
    over = np.mean([route / (noise.level(route) * noise.pass_band) - 1.0 for route in routes], axis=0)
    told = round((channel.hz - start_hz) / step_hz)
    reach = round(SEARCHED_HZ / step_hz)
    first, end = max(told - reach, 0), min(told + reach + 1, len(over))
    middle = told
    if end > first and float(over[first:end].max()) > STANDS_OUT:
        middle = first + int(np.argmax(over[first:end]))
    middle = min(max(middle, LINE_BINS), len(over) - 1 - LINE_BINS)
    return middle - LINE_BINS, middle + LINE_BINS
