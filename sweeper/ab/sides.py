"""What stood on both sides of each edge: noise, and every signal's power over it, from labelled spectra.

The sequence is gone through three times (it may be read anew from a file each time): once for the pass band, once for
the noise bins and signals, once for the sides. Nothing is kept but sums, a thinned sample of spectra and a few numbers
a side, so memory does not grow with a spectrum's bins times the edges.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sweeper.spectra.carriers import Signal, signals, told_apart, without_images_and_centre
from sweeper.spectra.noise_bins import FEWEST_BINS, Mask, NoiseBins, in_pass_band, noise_bins
from sweeper.spectra.steps import ended_by_steps, widened_by_steps
from sweeper.spectra.welch import shape_of
from sweeper.words import ANTENNA_BYPASS, ANTENNA_STAGE, Labelled, SignalPath

Floats = NDArray[np.float64]

WINDOW_S = 0.7
"""So much to each side of an edge shares the fading; more would only add what the fading did meanwhile."""
SAMPLED = 256
LOW_IN_TIME = 0.2
WAYS = ("mean", "near", "straight", "straight-near", "curved")
"""How what stood beside an edge is carried to it: the mean of the window or of its nearer half; the straight line
through all of it or through its nearer half; a parabola. A line carries slow fading over best, the mean weak signals;
which one a signal wants is told by how well each foretells the spectrum nearest to an edge from the others on its own
side, so that what lies across the edge has no say in the choice."""

FEWEST_TO_FORETELL = 4


@dataclass(frozen=True, slots=True, eq=False)
class Learned:
    """What a tuning showed: noise bins common to both routes, signals, mean spectra by path (each normalised)."""

    start_hz: float
    step_hz: float
    noise_bandwidth_hz: float
    noise: NoiseBins
    signals: tuple[Signal, ...]
    means: dict[SignalPath, Floats]
    segments: dict[SignalPath, int]


class NoNoise(ValueError):
    """No bins of this tuning hold noise alone, or there is nothing at all in it."""


def usable(one: Labelled) -> bool:
    """Whether a spectrum counts: not void, not clipped, and not silent."""
    spectrum = one.spectrum
    return (
        not spectrum.quality & {"void", "clipped"}
        and spectrum.segments > 0
        and float(spectrum.mean.max()) > 1e-20
    )


def learn(
    sequence: Iterable[Labelled], centre_hz: float | None, band_hz: tuple[float, float] | None
) -> Learned:
    """Pass band, noise bins and signals. `centre_hz`: of samples of a band, None for audio. `band_hz`: look only there.

    `NoNoise` where nothing is left to be called noise.
    """
    sample: list[Labelled] = []
    every, seen, first = 1, 0, None
    for one in sequence:
        if one.path.source != "antenna" or not usable(one):
            continue
        first = first or one
        if seen % every == 0:
            sample.append(one)
            if len(sample) == 2 * SAMPLED:
                sample, every = sample[::2], 2 * every
        seen += 1
    if first is None:
        raise NoNoise("nothing but silence")
    spectrum = first.spectrum
    hz = spectrum.start_hz + spectrum.step_hz * np.arange(len(spectrum.mean))
    table = np.asarray([one.spectrum.mean for one in sample], np.float64)
    staged = np.array([one.path.route == "stage" for one in sample])
    inside = np.ones(len(hz), np.bool_) if band_hz is None else (hz >= band_hz[0]) & (hz <= band_hz[1])
    inside &= np.median(table, axis=0) > 0.0
    low = np.quantile(table, LOW_IN_TIME, axis=0)
    within = np.flatnonzero(inside)
    if len(within) < 2 * FEWEST_BINS:
        raise NoNoise("too narrow a band")
    pass_band = np.zeros(len(hz), np.bool_)
    pass_band[within] = in_pass_band(low[within])
    if centre_hz is not None:
        pass_band[within] = widened_by_steps(pass_band[within], table[:, within], staged)
    pass_band[within] = ended_by_steps(pass_band[within], table[:, within], staged, spectrum.segments)
    if (
        centre := None if centre_hz is None else (centre_hz - spectrum.start_hz) / spectrum.step_hz
    ) is not None:
        pass_band = without_images_and_centre(pass_band, table.mean(axis=0), centre)
    if pass_band.sum() < 2 * FEWEST_BINS:
        raise NoNoise("too narrow a pass band")
    means, segments = _normalised(sequence, pass_band)
    if ANTENNA_BYPASS not in means or ANTENNA_STAGE not in means:
        raise NoNoise("one route only")
    routes = (means[ANTENNA_BYPASS], means[ANTENNA_STAGE])
    shapes = tuple(shape_of(segments[path]) for path in (ANTENNA_BYPASS, ANTENNA_STAGE))
    noise = noise_bins(routes, shapes, pass_band)
    if noise.keep.sum() < FEWEST_BINS:
        raise NoNoise("no bins without signals")
    over = np.mean([route / (noise.level(route) * noise.pass_band) - 1.0 for route in routes], axis=0)
    found = signals(over, noise)
    load = means.get(SignalPath("load", "bypass"))
    on_load = _on_scale(sequence, pass_band) if load is not None else None
    on_antenna, of_load = (routes[0], None) if on_load is None else on_load
    told = told_apart(found, noise, on_antenna, of_load, centre)
    return Learned(
        spectrum.start_hz, spectrum.step_hz, spectrum.noise_bandwidth_hz, noise, tuple(told), means, segments
    )


def _normalised(
    sequence: Iterable[Labelled], pass_band: Mask
) -> tuple[dict[SignalPath, Floats], dict[SignalPath, int]]:
    """Mean spectra by path, each spectrum divided by the lower quartile of its pass band first; and their segments."""
    sums: dict[SignalPath, Floats] = {}
    segments: dict[SignalPath, int] = {}
    for one in sequence:
        if not usable(one):
            continue
        scale = float(np.quantile(one.spectrum.mean[pass_band], 0.25))
        if scale <= 0.0:
            continue
        count = one.spectrum.segments
        part = one.spectrum.mean * (count / scale)
        if one.path in sums:
            sums[one.path] += part
        else:
            sums[one.path] = part.astype(np.float64)
        segments[one.path] = segments.get(one.path, 0) + count
    return {path: total / segments[path] for path, total in sums.items()}, segments


def _on_scale(sequence: Iterable[Labelled], pass_band: Mask) -> tuple[Floats, Floats] | None:
    """Mean power in bypass on antenna and load, as it is: for lines, which a constant gain lets compare."""
    sums: dict[str, tuple[Floats, int]] = {}
    for one in sequence:
        if one.path.route == "bypass" and usable(one):
            total, count = sums.get(one.path.source, (np.zeros(len(pass_band)), 0))
            sums[one.path.source] = (total + one.spectrum.mean, count + 1)
    if "antenna" not in sums or "load" not in sums:
        return None
    antenna, load = (sums[source][0] / sums[source][1] for source in ("antenna", "load"))
    return antenna, load


@dataclass(frozen=True, slots=True, eq=False)
class Carried:
    """S/N in a bin, linear, of each signal on one side of an edge: `over`, carried to the edge, shape (ways, signals);
    `foretold`: the spectrum nearest to the edge as each way has it from the others, same shape; `nearest`: as it is,
    shape (signals,). Both NaN where there are too few spectra to foretell from.
    """

    over: Floats
    foretold: Floats
    nearest: Floats


@dataclass(slots=True, eq=False)
class Side:
    """One side of an edge. `each`: S/N by the noise of each spectrum, which no change of gain moves; `level`: by the
    noise of the whole side, which several spectra tell better, where the gain stands still. `loud`: what each way
    multiplies the deviation of a mean by. All else are means over its spectra.
    """

    path: SignalPath
    noise: float
    total: float
    each: Carried
    level: Carried
    loud: Floats
    bins: Floats
    segments: int
    unrest: Floats


@dataclass(slots=True, eq=False)
class Seen:
    """An edge as it went by. `apart_s`: between its two sides."""

    at_s: float
    apart_s: float
    before: Side
    after: Side


def edges(
    sequence: Iterable[Labelled], learned: Learned, window_s: float = WINDOW_S
) -> Iterator[Seen | None]:
    """Every edge with its two sides; None for one that is spoiled (a side clipped, void or missing)."""
    noise = learned.noise
    reader = _Reader(learned)
    path: SignalPath | None = None
    recent: list[Labelled] = []
    before: tuple[float, Side | None] | None = None
    opened = ended = 0.0
    after: list[Labelled] = []
    spoiled = False
    assert noise.keep.any()

    def close() -> Seen | None:
        assert before is not None
        side = None if spoiled else reader.side(after, (before[0] + opened) / 2.0)
        if side is None or before[1] is None:
            return None
        return Seen((before[0] + opened) / 2.0, opened - before[0], before[1], side)

    for one in sequence:
        if path is None:
            path = one.path
        if one.path != path:
            if before is not None and after:
                yield close()
            near = [each for each in recent if each.time >= recent[-1].until - window_s - 1e-6] or recent[-1:]
            clean = all(usable(each) for each in near)
            before = (ended, reader.side(near, (ended + one.time) / 2.0) if clean and near else None)
            path, opened, after, recent, spoiled = one.path, one.time, [], [], False
        if before is not None:
            if not after or one.until <= opened + window_s + 1e-6:
                after.append(one)
                spoiled = spoiled or not usable(one)
            else:
                yield close()
                before = None
        recent = [each for each in recent if each.time >= one.until - 2 * window_s]
        recent.append(one)
        ended = one.until
    if before is not None and after:
        yield close()


class _Reader:
    """Reads the learned signals and noise bins out of spectra."""

    def __init__(self, learned: Learned) -> None:
        noise = learned.noise
        self._noise = noise
        self._inverse = np.where(noise.usable, 1.0 / noise.pass_band, 0.0)
        self._usable = int(noise.usable.sum())
        cores = [signal.core for signal in learned.signals]
        self._index = np.array([place for core in cores for place in core], np.int64)
        self._starts = np.cumsum([0, *(len(core) for core in cores)])[:-1]
        self._sizes = np.array([len(core) for core in cores], np.float64)

    def side(self, spectra: list[Labelled], edge_s: float) -> Side | None:
        if not spectra:
            return None
        noises, totals, powers, flats, weights = [], [], [], [], []
        for one in spectra:
            flat = one.spectrum.mean * self._inverse
            level = float(np.mean(flat[self._noise.keep]))
            if level <= 0.0:
                return None
            noises.append(level)
            totals.append(float(flat.sum()) / self._usable)
            flats.append(flat / level)
            weights.append(one.spectrum.segments)
            powers.append(
                np.add.reduceat(flat[self._index], self._starts) / self._sizes
                if len(self._index)
                else np.zeros(0)
            )
        power, noise = np.asarray(powers, np.float64), np.asarray(noises)
        share = np.asarray(weights, np.float64) / np.sum(weights)
        away = np.array([abs((one.time + one.until) / 2.0 - edge_s) for one in spectra])
        ways = carried(away, share)
        over = power / noise[:, None] - 1.0
        logs = np.log(np.maximum(over, 1e-3))
        return Side(
            spectra[0].path,
            float(share @ noise),
            float(share @ totals),
            _carried_to(over, ways, away, share),
            _carried_to((power - noise[:, None]) / float(share @ noise), ways, away, share),
            np.sqrt(np.sum(ways**2, axis=1) * len(spectra)),
            share @ np.asarray(flats) - 1.0,
            int(np.sum(weights)),
            np.abs(np.diff(logs, axis=0)).mean(axis=0) if len(logs) > 1 else np.full(over.shape[1], np.nan),
        )


def _carried_to(over: Floats, ways: Floats, away: Floats, share: Floats) -> Carried:
    """S/N of spectra beside an edge, shape (spectra, signals), carried to it in all `ways`."""
    first = int(np.argmin(away))
    rest = np.arange(len(over)) != first
    foretold, nearest = np.full((len(WAYS), over.shape[1]), np.nan), over[first]
    if rest.sum() >= FEWEST_TO_FORETELL:
        foretold = carried(away[rest] - away[first], share[rest] / share[rest].sum()) @ over[rest]
    return Carried(ways @ over, foretold, nearest)


def carried(away_s: Floats, share: Floats) -> Floats:
    """Weights of the spectra beside an edge, shape (ways, spectra), each row adding up to 1. `away_s`: how far each is
    from the edge; `share`: how much each counts. Least squares, read at the edge.
    """
    near = away_s <= np.median(away_s) + 1e-9
    rows = [share, np.where(near, share, 0.0) / share[near].sum()]
    for taken, order in ((np.ones(len(share), np.bool_), 1), (near, 1), (np.ones(len(share), np.bool_), 2)):
        if taken.sum() <= order + 1:
            rows.append(rows[0] if taken.all() else rows[1])
            continue
        table = np.vander(away_s[taken], order + 1, increasing=True) * np.sqrt(share[taken])[:, None]
        row = np.zeros(len(share))
        row[taken] = np.linalg.pinv(table)[0] * np.sqrt(share[taken])
        rows.append(row)
    return np.array(rows)
