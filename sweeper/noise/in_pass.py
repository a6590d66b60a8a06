"""From the labelled spectra of a pass to the kinds of noise on each of its tunings.

All that is told is told of the antenna in bypass, whose spectra of a tuning are averaged; the load in bypass says how
much of it is the receiver's own. Humps and birdies that one pass shows are candidates until others show them as well
(`sources`).
"""

from collections.abc import Sequence

import numpy as np

from sweeper.noise.humps import Hump, humps
from sweeper.noise.mains_lines import Rows, mains_lines
from sweeper.noise.seen import Found, Heard
from sweeper.spectra.combs import SPACING_HZ, Comb, combs
from sweeper.spectra.noise_bins import Floats, Mask, runs, threshold
from sweeper.spectra.quiet import NARROW, floor_of, quiet_bins
from sweeper.spectra.tuning import CENTRE_HZ
from sweeper.spectra.welch import shape_of
from sweeper.words import ANTENNA_BYPASS, LOAD_BYPASS, Labelled, SignalPath, Spectra, Spectrum

LINE_BINS = 3
"""To each side of a comb's place: all that the window spreads a line over, and a little drift."""
BIRDIE_DB = 10.0
"""A line belongs to the receiver if on the load it stands within so much of its strength on the antenna."""
MOST_BIRDIES = 20
CHANNELS_HZ = (5e3, 9e3, 12.5e3, 25e3 / 3)
"""Carriers stand whole multiples apart (common practice): broadcasting, also those of 10 kHz; land mobile, also those
of 25 kHz; air band.
"""
ON_RASTER_HZ = 60.0
"""By so much the last line of such a comb may be off its channel, counted from the first."""
CLEAR = 2.0
"""Power over noise in a bin from which it belongs to a signal."""
WIDER = 12
"""Bins that a steady carrier fills at most, 40 dB over the noise and between two of them."""
UNSTEADY = 1.5
FALSE_BIRDIES = 1e-9
"""Share of bins of noise that pass for a line on the load; both paths have to show it."""


def in_pass(pass_number: int, spectra: Spectra) -> list[Heard]:
    """Each tuning of the pass that was heard on the antenna in bypass, in order of frequency."""
    tunings: dict[tuple[str, int], list[Labelled]] = {}
    for band, one in spectra:
        whole = one.spectrum
        if not whole.quality & {"void", "clipped"}:
            middle = whole.start_hz + whole.step_hz * (len(whole.mean) - 1) / 2
            tunings.setdefault((band, round(middle / 500)), []).append(one)
    found = [_heard(pass_number, band, each) for (band, _), each in sorted(tunings.items())]
    return sorted((each for each in found if each is not None), key=lambda each: each.start_hz)


def _heard(pass_number: int, band: str, sequence: Sequence[Labelled]) -> Heard | None:
    antenna = _mean(sequence, ANTENNA_BYPASS)
    if antenna is None:
        return None
    one, envelopes = antenna
    mean, shape = np.asarray(one.mean, np.float64), shape_of(one.segments)
    keep = quiet_bins(mean, shape)
    if keep.sum() < 8:
        return None
    wide = len(mean) >= NARROW
    floor = floor_of(mean, shape) if wide else np.full(len(mean), float(mean[keep].mean()))
    raised = humps(mean, shape, one.step_hz) if wide else []
    beside = keep.copy()
    for hump in raised:
        beside[hump.first : hump.last + 1] = False
    if beside.sum() < 8:
        beside = keep
    levels = float(floor[beside].mean())
    load = _mean(sequence, LOAD_BYPASS)
    receiver, receiver_se = _receiver(load[0] if load else None, one, beside)
    every = []
    if wide and len(mean) * one.step_hz > 5 * SPACING_HZ[0]:
        found_there = combs(mean / floor, np.ones(len(mean), np.bool_), shape, one.start_hz, one.step_hz)
        every = [comb for comb in found_there if not _of_stations(comb)]
    of_combs = [_of_comb(one, mean, floor, comb) for comb in every]
    of_humps = [_of_hump(mean, hump) for hump in raised]
    total = levels + (sum(power for power, _ in of_combs) + sum(of_humps)) / len(mean)
    found = [_comb(one, comb, *its, total) for comb, its in zip(every, of_combs, strict=True)]
    found += [_hump(one, hump, power, total) for hump, power in zip(raised, of_humps, strict=True)]
    if load is not None and wide:
        centres = {each.tuning for each in sequence if each.tuning is not None}
        found += _birdies(one, mean, floor, load[0], centres)
    keyed = not wide and _keyed(sequence, keep)
    if not keyed:
        found += _mains(one, envelopes, load[1] if load else [], levels, total)
    times = [(each.time + each.until) / 2 for each in sequence]
    return Heard(
        float(np.mean(times)),
        pass_number,
        band,
        one.start_hz,
        one.start_hz + one.step_hz * len(mean),
        10 * float(np.log10(total * len(mean))),
        None if receiver is None else receiver * levels / total,
        receiver_se,
        bool(envelopes) and not keyed,
        tuple(found),
    )


def _mean(sequence: Sequence[Labelled], path: SignalPath) -> tuple[Spectrum, list[Rows]] | None:
    """The mean spectrum of a path, of those with the finest bins, and the envelopes of them all."""
    there = [each.spectrum for each in sequence if each.path == path and each.spectrum.segments > 0]
    if not there:
        return None
    bins = max(len(each.mean) for each in there)
    alike = [each for each in there if len(each.mean) == bins]
    weights = [each.segments for each in alike]
    mean = np.average([np.asarray(each.mean, np.float64) for each in alike], axis=0, weights=weights)
    first = alike[0]
    envelopes = [each.envelope for each in there if each.envelope is not None]
    joint = Spectrum(
        first.start_hz, first.step_hz, mean.astype(np.float32), None, sum(weights), first.noise_bandwidth_hz
    )
    return joint, envelopes


def _receiver(load: Spectrum | None, antenna: Spectrum, keep: Mask) -> tuple[float | None, float]:
    """The load's noise over the antenna's in its quiet bins, both as densities, and the standard error."""
    if load is None:
        return None, 0.0
    hz = load.start_hz + load.step_hz * np.arange(len(load.mean))
    place = np.clip(np.rint((hz - antenna.start_hz) / antenna.step_hz).astype(int), 0, len(keep) - 1)
    there = keep[place]
    if there.sum() < 8:
        return None, 0.0
    # groups of bins are means, so that a bin of either stands for the same power
    ratio = float(np.median(np.asarray(load.mean, np.float64)[there]) / np.median(antenna.mean[keep]))
    error = np.sqrt(1.6 / (there.sum() * load.segments) + 1.6 / (keep.sum() * antenna.segments))
    return min(ratio, 1.0), ratio * float(error)


def _of_stations(comb: Comb) -> bool:
    """Whether its lines keep to a raster of channels, from the first to the last: stations do, some kilohertz times a
    whole number apart, wherever the raster begins and the dial stands; a supply that drifts does in single passes only.

    A clock that holds exactly such a spacing (45 kHz) is not told from stations. By chance a spacing that stands still
    lies so in 7 of 1000 tunings of ten lines, in 15 of 1000 of five.
    """
    off_hz = min(abs(comb.spacing_hz - round(comb.spacing_hz / each) * each) for each in CHANNELS_HZ)
    return off_hz * (comb.places - 1) <= ON_RASTER_HZ


def _of_comb(one: Spectrum, mean: Floats, floor: Floats, comb: Comb) -> tuple[float, float]:
    """What a comb adds to the noise, summed over its bins, and the height of its lines over the noise in a bin.

    Lines that a station hides are taken to be as strong as the others.
    """
    bins = len(mean)
    places = np.arange(comb.first_hz, one.start_hz + bins * one.step_hz, comb.spacing_hz)
    at = np.clip(np.rint((places - one.start_hz) / one.step_hz).astype(int), 0, bins - 1)
    near = np.clip(at[:, None] + np.arange(-LINE_BINS, LINE_BINS + 1), 0, bins - 1)
    excess = np.sum(mean[near] - floor[near], axis=1)
    height = float(np.median(np.max(mean[near] / floor[near], axis=1))) - 1.0
    return max(float(np.median(excess)), 1e-30) * len(places), max(height, 1e-3)


def _comb(one: Spectrum, comb: Comb, power: float, height: float, total: float) -> Found:
    share = power / len(one.mean) / total
    return Found(
        "comb",
        one.start_hz,
        one.start_hz + len(one.mean) * one.step_hz,
        share,
        share * 0.5 / float(np.sqrt(comb.hits)),
        10 * float(np.log10(power)),
        float(comb.spacing_hz),
        float(comb.spacing_se_hz),
        comb.hits,
        10 * float(np.log10(height)),
        first_hz=comb.first_hz,
    )


def _of_hump(mean: Floats, hump: Hump) -> float:
    """What a hump adds to what lies beside it, summed over its bins."""
    bins = hump.last + 1 - hump.first
    return float(np.median(mean[hump.first : hump.last + 1])) * bins * (1.0 - 1.0 / hump.over)


def _hump(one: Spectrum, hump: Hump, power: float, total: float) -> Found:
    share = power / len(one.mean) / total
    return Found(
        "hump",
        one.start_hz + hump.first * one.step_hz,
        one.start_hz + (hump.last + 1) * one.step_hz,
        share,
        share * float(np.sqrt(2.0 / (hump.last + 1 - hump.first))),
        10 * float(np.log10(power)),
        over_db=10 * float(np.log10(hump.over)),
    )


def _birdies(one: Spectrum, mean: Floats, floor: Floats, load: Spectrum, centres: set[float]) -> list[Found]:
    """Lines that stand on the load within `BIRDIE_DB` of what they are on the antenna; none at the samples' centres,
    where converters leave one.
    """
    there = np.asarray(load.mean, np.float64)
    if len(there) < NARROW:
        return []
    load_shape = shape_of(load.segments)
    load_floor = floor_of(there, load_shape)
    high = there > threshold(load_shape, FALSE_BIRDIES) * load_floor
    found: list[Found] = []
    width = round(load.step_hz / one.step_hz)
    for first, end in runs(high):
        if end - first > 8:
            continue
        peak = int(first + np.argmax(there[first:end]))
        hz = load.start_hz + peak * load.step_hz
        if any(abs(hz - centre) <= CENTRE_HZ for centre in centres):
            continue
        at = round((hz - one.start_hz) / one.step_hz)
        begin, stop = max(at - width - LINE_BINS, 0), min(at + width + LINE_BINS + 1, len(mean))
        here = float(np.sum(mean[begin:stop] - floor[begin:stop]))
        on_load = float(np.sum(there[first:end] - load_floor[first:end])) * width
        if stop <= begin or here <= 0.0 or on_load < here * 10 ** (-BIRDIE_DB / 10):
            continue
        over_db = 10 * float(np.log10(there[peak] / load_floor[peak]))
        level_db = 10 * float(np.log10(here))
        found.append(Found("birdie", hz, hz, 0.0, 0.0, level_db, lines=1, over_db=over_db, on_load=True))
    return sorted(found, key=lambda each: -each.over_db)[:MOST_BIRDIES]


def _keyed(sequence: Sequence[Labelled], keep: Mask) -> bool:
    """Whether a narrow tuning holds signals that are not steady carriers: wider than the window makes a line, or of
    another strength from visit to visit. What keying spills keeps time with its dots, and dots may keep time with the
    mains.
    """
    visits = [
        np.asarray(each.spectrum.mean, np.float64)
        for each in sequence
        if each.path == ANTENNA_BYPASS and len(each.spectrum.mean) == len(keep)
    ]
    high = np.mean(visits, axis=0) > CLEAR * float(np.mean([each[keep].mean() for each in visits]))
    for first, end in runs(high):
        strengths = [float(each[first:end].sum()) for each in visits]
        if end - first > WIDER or max(strengths) > UNSTEADY * min(strengths):
            return True
    return False


def _mains(
    one: Spectrum, envelopes: list[Rows], on_load: list[Rows], levels: float, total: float
) -> list[Found]:
    told = mains_lines(envelopes)
    if told is None:
        return []
    share = told.share * levels / total
    end_hz = one.start_hz + one.step_hz * len(one.mean)
    return [
        Found(
            "mains", one.start_hz, end_hz, share, told.share_se * levels / total,
            10 * float(np.log10(max(share, 1e-9) * total * len(one.mean))), told.mains_hz,
            on_load=mains_lines(on_load) is not None,
        )
    ]  # fmt: skip
