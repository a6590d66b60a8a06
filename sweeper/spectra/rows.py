"""From labelled spectra of one tuning to rows of the readings table, as narrow meters side by side would have them.

A noise channel gives up to `MOST_CELLS` noise cells, fixed slices of the pass band: each reads the mean density of its
noise bins times `CELL_HZ`, the same bins on every path. A carrier reads what stands in `CELL_HZ` around its line,
signal plus noise: the one a channel names, and others that stood steadily in earlier passes. All rows of a
spectrum share its time. In dB of full scale. Pure.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from functools import partial

import numpy as np
from numpy.typing import NDArray

from sweeper.spectra.carriers import Signal, signals, told_apart
from sweeper.spectra.noise_bins import FEWEST_BINS, NoiseBins, in_pass_band, noise_bins
from sweeper.spectra.welch import shape_of
from sweeper.words import ANTENNA_BYPASS, ANTENNA_STAGE, LOAD_BYPASS, Channel, Labelled, Reading, SignalPath

CELL_HZ = 281
"""Nine bins of 31.25 Hz: all that the window spreads a line over."""
MOST_CELLS = 8
FEWEST_IN_CELL = 0.4
"""Share of a cell's bins that have to be noise, or the cell tells nothing in this pass."""
LINE_BINS = 4
"""To each side of a line's middle."""
SEARCHED_HZ = 200.0
"""How far from its place a carrier is looked for: receivers, cards and the sender itself are off by as much."""
STANDS_OUT = 2.0
"""Power over noise in a bin, linear, from which a line is followed; with less its place is taken as told."""
STEADY = 0.25
"""A line that nobody named stands in each spectrum of a route with at least this share of its usual power: fading
takes some, keying and speech take all."""
PRESENT = 0.5
"""Of its cell's noise: what such a line needs on each route by itself. Noise alone scatters by a tenth."""
CLEAR = 10.0
"""Of its cell's noise, both routes added: what such a line needs to tell a gain."""
MOST_LINES = 8
PLACE_HZ = 100
"""Such a line is called by its frequency to this step, which receivers hold from night to night."""
LOWEST_HZ = 200.0
"""Below, no receiver's speech filter passes anything (common practice: 300 Hz), and mains hum is strongest."""
FIRST_HZ = 300.0
"""Where the pass band of a speech filter begins (common practice)."""
BEYOND_HZ = 300.0
"""Filters are not as steep as their names: the receiver is heard so far beyond its pass band."""
NOISE_FLOOR_DB = 3.0
"""Noise less than this above the card's own is the card's: a bound, not a value."""

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Slice:
    """A row of the tuning: the channel that it is stored as, and its bins, of which a cell reads the noise bins."""

    channel: Channel
    bins: NDArray[np.intp]


@dataclass(frozen=True, slots=True, eq=False)
class Learned:
    """What a tuning showed over a pass: its noise bins, the noise cells and the lines that are read.

    `card`: the sound card's own density, power in a bin; 0 where it could not be seen. `stood`: lines that nobody named
    and that stood through this pass, which later ones may read (`lines`).
    """

    pass_number: int
    noise: NoiseBins
    cells: tuple[Slice, ...]
    lines: tuple[Slice, ...]
    card: float
    stood: tuple[Slice, ...] = ()


class NothingHeard(ValueError):
    """No noise can be told in this tuning: too narrow, silent, void, or one route only."""


def learn(
    channel: Channel,
    pass_number: int,
    sequence: Sequence[Labelled],
    filter_hz: float,
    first_hz: float = FIRST_HZ,
    lines_hz: Sequence[int] = (),
) -> Learned:
    """Noise bins, cells and lines of a tuning from all its spectra, both routes alike. `NothingHeard` where there is
    no noise. `lines_hz`: radio frequencies of the lines that are read beside a named carrier.

    Their `tuning` is the radio frequency of 0 Hz in the sound; `filter_hz`: above it, in the sound, only the card is
    heard; `first_hz`: where the pass band begins, which ends `BEYOND_HZ` below `filter_hz`.
    """
    good, routes, shapes = both_routes(sequence, "sound")
    hz = _tones(good[0])
    low = np.median([one.spectrum.mean / np.median(one.spectrum.mean) for one in good], axis=0)
    heard = np.flatnonzero((hz >= LOWEST_HZ) & (hz < filter_hz))
    usable = np.zeros(len(hz), np.bool_)
    usable[heard] = in_pass_band(low[heard])
    if usable.sum() < 2 * FEWEST_BINS:
        raise NothingHeard("too narrow a pass band")
    noise = noise_bins(routes, shapes, usable)
    if noise.keep.sum() < FEWEST_BINS:
        raise NothingHeard("no bins without signals")
    beyond = np.flatnonzero(hz >= 1.15 * filter_hz)
    card = float(np.median([one.spectrum.mean[beyond].mean() for one in good])) if len(beyond) >= 8 else 0.0
    over = np.mean([route / (noise.level(route) * noise.pass_band) - 1.0 for route in routes], axis=0)
    carriers = (channel,) if channel.purpose == "carrier" else ()
    known = (Channel(channel.band, each, "carrier", CELL_HZ) for each in lines_hz)
    lines = tuple(named(each, good[0], over) for each in (*carriers, *known))
    band_hz = (first_hz, filter_hz - BEYOND_HZ)
    cells = tuple(_cells(channel, good[0], noise, band_hz)) if channel.purpose == "noise" else ()
    beside = tuple(steady_lines(channel.band, good, noise, over, [each.hz for each in carriers]))
    return Learned(pass_number, noise, cells, lines, card, beside)


def rows(one: Labelled, learned: Learned) -> list[Reading]:
    """The rows of a spectrum, all at the middle of its time; none where it is void. Flags ``clipped`` and ``floor``."""
    if not there(one):
        return []
    spectrum, noise = one.spectrum, learned.noise
    mean = spectrum.mean.astype(np.float64)
    level = noise.level(mean)
    flat = mean / noise.pass_band
    clipped = "clipped" if "clipped" in spectrum.quality else ""
    row = partial(_row, one, learned.pass_number)
    found = []
    for cell in learned.cells:
        power = float(np.mean(flat[cell.bins]))
        floor = "floor" if learned.card > power * 10 ** (-NOISE_FLOOR_DB / 10) else ""
        found.append(row(cell.channel, power * CELL_HZ / spectrum.noise_bandwidth_hz, clipped, floor))
    for line in learned.lines:
        inside = float(mean[line.bins].sum()) * spectrum.step_hz
        rest = level * (CELL_HZ - len(line.bins) * spectrum.step_hz)
        found.append(row(line.channel, (inside + rest) / spectrum.noise_bandwidth_hz, clipped))
    return [each for each in found if each is not None]


def ratios(one: Labelled, learned: Learned, hz: int) -> list[Reading]:
    """The named carrier of a spectrum by its power, with the noise under it, over the noise in a cell, dB; no level.

    None of the lines that a pass finds by itself: what was chosen by its S/N has more of it than it has again.
    """
    if not there(one):
        return []
    spectrum, noise = one.spectrum, learned.noise
    flat = spectrum.mean.astype(np.float64) / noise.pass_band
    cell = noise.level(spectrum.mean.astype(np.float64)) * CELL_HZ
    clipped = "clipped" if "clipped" in spectrum.quality else ""
    found = []
    for line in (each for each in learned.lines if each.channel.hz == hz):
        beside = 1.0 - len(line.bins) * spectrum.step_hz / CELL_HZ
        over = float(flat[line.bins].sum()) * spectrum.step_hz / cell + beside
        found.append(_row(one, learned.pass_number, replace(line.channel, purpose="ratio"), over, clipped))
    return [each for each in found if each is not None]


def _row(one: Labelled, pass_number: int, channel: Channel, power: float, *flags: str) -> Reading | None:
    if not power > 0.0 or not math.isfinite(power):
        return None
    time = datetime.fromtimestamp((one.time + one.until) / 2.0, UTC)
    said = " ".join(flag for flag in flags if flag)
    return Reading(time, pass_number, channel, one.path, 10.0 * math.log10(power), None, said)


def counts(one: Labelled) -> bool:
    """Whether a spectrum is worth learning from: not void, not clipped, not silent."""
    return there(one) and "clipped" not in one.spectrum.quality


def there(one: Labelled) -> bool:
    """Whether a spectrum holds anything: not void, not silent."""
    spectrum = one.spectrum
    return "void" not in spectrum.quality and spectrum.segments > 0 and float(spectrum.mean.max()) > 1e-20


def _radio(one: Labelled) -> Floats:
    """Radio frequency of each bin, hertz."""
    return one.spectrum.start_hz + one.spectrum.step_hz * np.arange(len(one.spectrum.mean), dtype=np.float64)


def both_routes(
    sequence: Sequence[Labelled], what: str
) -> tuple[list[Labelled], tuple[Floats, ...], tuple[float, ...]]:
    """The spectra worth learning from; the mean of either antenna route, shape (bins,), and its Gamma shape.

    `NothingHeard` where one is missing; `what` was heard, in a word.
    """
    paths = (ANTENNA_BYPASS, ANTENNA_STAGE)
    good = [one for one in sequence if counts(one)]
    if set(paths) - {one.path for one in good}:  # clipped ones still tell where noise is
        good = [one for one in sequence if there(one)]
    routes = tuple(mean for path in paths if (mean := mean_of(good, path)) is not None)
    if len(routes) < 2:
        raise NothingHeard(f"{what} of one route only")
    segments = [sum(one.spectrum.segments for one in good if one.path == path) for path in paths]
    return good, routes, tuple(shape_of(count) for count in segments)


def _tones(one: Labelled) -> Floats:
    """Frequency of each bin in the sound, hertz."""
    tones: Floats = np.abs(_radio(one) - (one.tuning or 0.0))
    return tones


def mean_of(good: Sequence[Labelled], path: SignalPath) -> Floats | None:
    mine = [one for one in good if one.path == path]
    if not mine:
        return None
    total = np.sum([one.spectrum.mean.astype(np.float64) * one.spectrum.segments for one in mine], axis=0)
    mean: Floats = total / sum(one.spectrum.segments for one in mine)
    return mean


def _cells(
    channel: Channel, one: Labelled, noise: NoiseBins, band_hz: tuple[float, float]
) -> Iterator[Slice]:
    """Slices of the pass band side by side, at places that follow from the settings alone, so the same every night."""
    tones, radio = _tones(one), _radio(one)
    first_hz, last_hz = band_hz
    count = min(MOST_CELLS, max(int((last_hz - first_hz) / CELL_HZ), 1))
    apart = (last_hz - first_hz) / count
    zero_hz = one.tuning or 0.0
    side = 1.0 if radio[-1] > zero_hz else -1.0
    for nth in range(count):
        middle = first_hz + (nth + 0.5) * apart
        inside = np.abs(tones - middle) < min(CELL_HZ, apart) / 2
        bins = np.flatnonzero(inside & noise.keep)
        if len(bins) >= max(FEWEST_IN_CELL * inside.sum(), 1):
            yield Slice(Channel(channel.band, round(zero_hz + side * middle), "noise", CELL_HZ), bins)


def named(channel: Channel, one: Labelled, over: Floats) -> Slice:
    """Where the carrier stands, on both routes taken together; its own place where nothing stands out near it."""
    told = round((channel.hz - one.spectrum.start_hz) / one.spectrum.step_hz)
    reach = round(SEARCHED_HZ / one.spectrum.step_hz)
    first, end = max(told - reach, 0), min(told + reach + 1, len(over))
    middle = told
    if end > first and float(over[first:end].max()) > STANDS_OUT:
        middle = first + int(np.argmax(over[first:end]))
    return Slice(Channel(channel.band, channel.hz, "carrier", CELL_HZ), _around_line(middle, len(over)))


def _around_line(middle: int, bins: int) -> NDArray[np.intp]:
    middle = min(max(middle, LINE_BINS), bins - 1 - LINE_BINS)
    return np.arange(middle - LINE_BINS, middle + LINE_BINS + 1)


def steady_lines(
    band: str,
    good: Sequence[Labelled],
    noise: NoiseBins,
    over: Floats,
    named_hz: Sequence[float] = (),
    centre: float | None = None,
) -> Iterator[Slice]:
    """Lines that nobody named and that stood through the pass on both routes, the strongest first.

    Only where the load was heard, too: a line that stands there as well is the receiver's own, or hum, and tells no
    gain of the stage. Nothing is taken within reach of `named_hz`, nor of another line, and no image about the bin
    `centre` of samples.
    """
    load, antenna = mean_of(good, LOAD_BYPASS), mean_of(good, ANTENNA_BYPASS)
    if load is None or antenna is None or not noise.keep.any():
        return
    step_hz, radio = good[0].spectrum.step_hz, _radio(good[0])
    taken = list(named_hz)
    count = 0
    for signal in told_apart(signals(over, noise), noise, antenna, load, centre):
        at_hz = float(radio[signal.peak])
        near = any(abs(at_hz - hz) <= SEARCHED_HZ + LINE_BINS * step_hz for hz in taken)
        if near or signal.kind == "image" or not stands(signal, good, noise, over, step_hz):
            continue
        taken.append(at_hz)
        place = round(at_hz / PLACE_HZ) * PLACE_HZ
        yield Slice(Channel(band, place, "carrier", CELL_HZ), _around_line(signal.peak, len(over)))
        count += 1
        if count == MOST_LINES:
            return


def stands(signal: Signal, good: Sequence[Labelled], noise: NoiseBins, over: Floats, step_hz: float) -> bool:
    """Whether it is a line of the antenna's, in every spectrum of both routes; one on a single route is made there."""
    core = list(signal.core)
    strength = float(over[core].sum()) * step_hz / CELL_HZ
    if signal.kind == "birdie" or core[-1] - core[0] > LINE_BINS or strength < CLEAR / 2:
        return False
    width, shape = len(core) * step_hz / CELL_HZ, float(noise.pass_band[core].sum())
    for path in (ANTENNA_BYPASS, ANTENNA_STAGE):
        spectra = [one.spectrum.mean for one in good if one.path == path]
        over_cell = [(mean[core].sum() / (noise.level(mean) * shape) - 1.0) * width for mean in spectra]
        usual = float(np.median(over_cell)) if over_cell else 0.0
        if usual < PRESENT or min(over_cell) < STEADY * usual:
            return False
    return True
