"""Combs: lines or humps at equal spacing, as switched supplies, lamps and displays put them over a band.

Each bin's power over the noise, averaged over `WIDTHS` bins, is held against the Gamma law; runs that stand out and are
no wider than a few of those widths are lines. Every pair of lines offers the spacings that lie between them; a comb is
counted at all its places in the tuning, those of the pair aside. By chance a place is hit as often as lines stand
around it, and where lines keep to a raster (broadcast channels) and the place lies on it, as often as places of that
raster are hit. The chance of at least so many hits is a sum of unequal Bernoulli variables, bounded by Hoeffding
(Ann. Math. Stat. 27 (1956) 713: the binomial of the mean probability has the heavier tail), times the number of combs
tried. Arrays in, small frozen values out.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import betainc

from sweeper.spectra.noise_bins import Floats, Mask, runs, threshold

SPACING_HZ = (15e3, 300e3)
"""Switching frequencies of supplies, lamps and charge controllers (common practice)."""
WIDTHS = (1, 8, 32)
FALSE_LINES = 1e-3
"""Share of bins of pure noise that pass for a line."""
MOST_LINES = 120
CHANCE = 1e-6
"""Of a comb where there is none, in one search."""
FEWEST_HITS = 5
RASTERS_HZ = (1e3, 2.5e3, 3e3, 5e3, 25e3 / 3, 9e3, 10e3, 12.5e3)
"""Channels of broadcasting, aircraft, ships and land mobile (common practice)."""
AROUND_HZ = 50e3
MOST_COMBS = 5
OTHERS = 20
"""Places of a raster to each side that say how full it is."""
FINE, AT_ONCE = 16, 1024
"""Parts of a bin to which places are told, and combs that are counted at once."""


@dataclass(frozen=True, slots=True)
class Comb:
    """Lines at `first_hz` + n · `spacing_hz` inside the tuning. `spacing_se_hz` from how the lines scatter about that.
    `hits` of `places` hold one. `over_noise_db`: power of a line over the noise in its bins, the mean of the hits.
    `chance` of so many anywhere, if lines stood by chance.
    """

    first_hz: float
    spacing_hz: float
    spacing_se_hz: float
    hits: int
    places: int
    over_noise_db: float
    chance: float


@dataclass(frozen=True, slots=True, eq=False)
class _Lines:
    """`at`: bins, rising, fractional; `over`: power over the noise, linear; shapes (lines,)."""

    at: Floats
    over: Floats


def combs(flat: Floats, usable: Mask, shape: float, start_hz: float, step_hz: float) -> list[Comb]:
    """Combs of a spectrum, the surest first.

    `flat`: shape (bins,), power over the noise's own mean; `usable`: same shape, inside the pass band; `shape` of the
    Gamma law of the noise in a bin; bin k stands at `start_hz` + k · `step_hz`.
    """
    found: list[Comb] = []
    for width in WIDTHS:
        lines = _lines(flat, usable, shape, width)
        while len(lines.at) >= FEWEST_HITS and len(found) < MOST_COMBS:
            best = _best(lines, usable, width, start_hz, step_hz)
            if best is None:
                break
            comb, taken = best
            found.append(comb)
            lines = _Lines(lines.at[~taken], lines.over[~taken])
    found.sort(key=lambda comb: comb.chance)
    kept: list[Comb] = []
    for comb in found:  # the same one at another width, or every other line of it
        if not any(_same(comb, other, step_hz) for other in kept):
            kept.append(comb)
    return kept


def _same(comb: Comb, other: Comb, step_hz: float) -> bool:
    ratio = comb.spacing_hz / other.spacing_hz
    whole = max(round(max(ratio, 1 / ratio)), 1)
    return (
        abs(max(ratio, 1 / ratio) / whole - 1.0) < 3e-3 or abs(comb.spacing_hz - other.spacing_hz) < step_hz
    )


def _lines(flat: Floats, usable: Mask, shape: float, width: int) -> _Lines:
    """Runs that stand out at this width, the strongest `MOST_LINES`; none that is wider than a line would be."""
    power = np.convolve(np.where(usable, flat, 1.0), np.full(width, 1.0 / width), "same")
    high = (power > threshold(shape * max(width / 2.0, 1.0), FALSE_LINES)) & usable
    at, over = [], []
    for begin, end in runs(high):
        if end - begin > 8 + 2 * width:
            continue  # a modulated station
        excess = np.maximum(power[begin:end] - 1.0, 1e-9)
        at.append(float(np.average(np.arange(begin, end), weights=excess)))
        over.append(float(excess.max()))
    strongest = np.sort(np.argsort(over)[::-1][:MOST_LINES]).astype(int)
    return (
        _Lines(np.array(at)[strongest], np.array(over)[strongest]) if at else _Lines(np.zeros(0), np.zeros(0))
    )


def _best(
    lines: _Lines, usable: Mask, width: int, start_hz: float, step_hz: float
) -> tuple[Comb, NDArray[np.bool_]] | None:
    """The comb that is least by chance, and which lines it takes; None where none is beyond chance."""
    at, bins = lines.at, len(usable)
    near = 1.5 + width / 2.0
    rate = _hit_rate(lines, bins, near, start_hz, step_hz)
    inside = np.flatnonzero(usable)
    low, high = float(inside[0]), float(inside[-1])
    beside = _beside(at, usable, near)
    tried, best = 0, (1.0, 0.0, 0.0)
    for first in range(len(at) - 1):
        apart = at[first + 1 :] - at[first]
        most = np.floor(apart * step_hz / SPACING_HZ[0]).astype(int)
        least = np.maximum(np.ceil(apart * step_hz / SPACING_HZ[1]).astype(int), 1)
        counts = np.maximum(most - least + 1, 0)
        if not counts.sum():
            continue
        between = np.concatenate([np.arange(a, b + 1) for a, b in zip(least, most, strict=True)])
        spacing = np.repeat(apart, counts) / between
        tried += len(spacing)
        chances = _chances(beside, at[first], spacing, rate, low, high, usable)
        place = int(np.argmin(chances))
        if chances[place] < best[0]:
            best = (float(chances[place]), float(at[first]), float(spacing[place]))
    if best[0] < 1.0 and best[0] * tried >= CHANCE:
        best = (_among_others(lines, best, usable, near, (low, high), start_hz, step_hz), *best[1:])
    if not tried or best[0] * tried >= CHANCE:  # not one: all lines stand closer than any comb's
        return None
    return _comb(lines, best, tried, near, (low, high), usable, start_hz, step_hz)


def _among_others(
    lines: _Lines,
    best: tuple[float, float, float],
    usable: Mask,
    near: float,
    ends: tuple[float, float],
    start_hz: float,
    step_hz: float,
) -> float:
    """The chance of a comb whose spacing is one of a raster's, against how the raster's other places are filled.

    Its own lines keep to the raster as well, and alone would make the raster look as full as the comb is.
    """
    _, first, spacing = best
    taken = np.abs((lines.at - first + spacing / 2) % spacing - spacing / 2) <= near
    rate = _hit_rate(lines, len(usable), near, start_hz, step_hz, taken, spacing * step_hz)
    beside = _beside(lines.at, usable, near)
    return float(_chances(beside, first, np.array([spacing]), rate, *ends, usable)[0])


def _hit_rate(
    lines: _Lines,
    bins: int,
    near: float,
    start_hz: float,
    step_hz: float,
    taken: Mask | None = None,
    spacing_hz: float = np.inf,
) -> Floats:
    """Chance that a place at each bin is within `near` of a line, shape (bins,); without lines that are `taken`."""
    here = np.zeros(bins)
    np.add.at(here, np.clip(np.rint(lines.at).astype(int), 0, bins - 1), 1.0)
    around = max(int(AROUND_HZ / step_hz), 1)
    sums = np.concatenate([[0.0], np.cumsum(here)])
    begin, end = np.maximum(np.arange(bins) - around, 0), np.minimum(np.arange(bins) + around + 1, bins)
    rate = (sums[end] - sums[begin] + 1.0) / (end - begin) * (2 * near + 1)
    hz: Floats = start_hz + np.arange(bins, dtype=np.float64) * step_hz
    line_hz = start_hz + lines.at * step_hz
    for raster in RASTERS_HZ:
        if raster < 4 * (2 * near + 1) * step_hz or len(line_hz) < FEWEST_HITS:
            continue
        reach = (near + 1) * step_hz
        phase_hz = _phase_of(line_hz, raster, reach)
        on = _off_raster(line_hz, raster, phase_hz) < reach
        expected = len(line_hz) * 2 * reach / raster
        if on.sum() < expected + 3 * np.sqrt(expected) + 2:
            continue
        everywhere = on.sum() / max((hz[-1] - hz[0]) / raster, 1.0)
        if taken is None:
            local = _local_share(line_hz[on], hz, raster, float(everywhere))
        else:
            local = _share_of_others(line_hz[on & ~taken], hz, raster, spacing_hz)
        rate = np.where(_off_raster(hz, raster, phase_hz) < 2 * reach, np.maximum(rate, local), rate)
    bounded: Floats = np.minimum(rate, 1.0)
    return bounded


def _off_raster(hz: Floats, raster_hz: float, phase_hz: float) -> Floats:
    off: Floats = np.abs((hz - phase_hz + raster_hz / 2) % raster_hz - raster_hz / 2)
    return off


def _phase_of(line_hz: Floats, raster_hz: float, reach_hz: float) -> float:
    """Where the raster lies that the most lines keep to, within `reach_hz`."""
    rest = np.sort(line_hz % raster_hz)
    turned = np.concatenate([rest, rest + raster_hz])
    count = np.searchsorted(turned, rest + 2 * reach_hz, side="right") - np.arange(len(rest))
    best = int(np.argmax(count))
    return float(np.median(turned[best : best + int(count[best])]))


def _local_share(line_hz: Floats, hz: Floats, raster_hz: float, everywhere: float) -> Floats:
    """Share of the raster's places that hold a line: within ten to each side, drawn a little to that of all."""
    ordered = np.sort(line_hz)
    reach = 10 * raster_hz
    count = np.searchsorted(ordered, hz + reach) - np.searchsorted(ordered, hz - reach)
    share: Floats = np.minimum(np.maximum((count + 5 * everywhere) / 26.0, everywhere), 1.0)
    return share


def _share_of_others(line_hz: Floats, hz: Floats, raster_hz: float, spacing_hz: float) -> Floats:
    """Share of the raster's places around with a line, those of a comb of `spacing_hz` left out, one more added."""
    ordered = np.sort(line_hz)
    reach = OTHERS * raster_hz
    count = np.searchsorted(ordered, hz + reach) - np.searchsorted(ordered, hz - reach)
    places = max((2 * OTHERS + 1) * (1.0 - raster_hz / spacing_hz), 1.0)
    share: Floats = np.minimum((count + 1.0) / places, 1.0)
    return share


def _beside(at: Floats, usable: Mask, near: float) -> Mask:
    """Whether a usable place is within `near` of a line: `FINE` places to a bin, shape (bins · FINE,)."""
    beside = np.zeros(len(usable) * FINE, np.bool_)
    for begin, end in zip(np.ceil((at - near) * FINE), np.floor((at + near) * FINE) + 1, strict=True):
        beside[max(int(begin), 0) : int(end)] = True
    return beside & np.roll(np.repeat(usable, FINE), -FINE // 2)


def _chances(
    beside: Mask,
    first: float,
    spacing: Floats,
    rate: Floats,
    low: float,
    high: float,
    usable: Mask,
) -> Floats:
    """Of at least so many hits at the places of each comb, the pair's own two aside. Shape as `spacing`."""
    chances = np.ones(len(spacing))
    order = np.argsort(spacing)[::-1]
    for begin in range(0, len(order), AT_ONCE):  # of about as many places each
        part = order[begin : begin + AT_ONCE]
        below, above = (int(length / spacing[part[-1]]) for length in (first - low, high - first))
        places = first + np.arange(-below, above + 1)[:, None] * spacing[part]
        inside = (places >= low) & (places <= high)
        places[~inside] = first
        fine = (places * FINE + 0.5).astype(np.int32)
        hits = (beside[fine] & inside).sum(axis=0)
        good = np.flatnonzero(hits >= FEWEST_HITS)
        bins = (fine[:, good] + FINE // 2) // FINE
        there = inside[:, good] & usable[bins]
        count, more = there.sum(axis=0), hits[good] - 2
        mean = (rate[bins] * there).sum(axis=0) / np.maximum(count, 1)
        chances[part[good]] = betainc(more, count - 2 - more + 1, np.minimum(mean, 1.0))
    return chances


def _comb(
    lines: _Lines,
    best: tuple[float, float, float],
    tried: int,
    near: float,
    ends: tuple[float, float],
    usable: Mask,
    start_hz: float,
    step_hz: float,
) -> tuple[Comb, NDArray[np.bool_]]:
    """The comb with its spacing fitted by least squares to the lines that it hits."""
    chance, first, spacing = best
    for _ in range(3):
        nth = np.rint((lines.at - first) / spacing)
        taken = np.abs(lines.at - first - nth * spacing) <= near
        slope, intercept = np.polyfit(nth[taken], lines.at[taken], 1)
        first, spacing = float(intercept), float(slope)
    rest = lines.at[taken] - first - nth[taken] * spacing
    scatter = max(float(np.sqrt(np.sum(rest**2) / max(taken.sum() - 2, 1))), 0.1)
    error = scatter / float(np.sqrt(np.sum((nth[taken] - nth[taken].mean()) ** 2)))
    lowest = first - np.floor((first - ends[0]) / spacing) * spacing
    places = np.arange(lowest, ends[1] + 0.5, spacing)
    count = int(usable[np.clip(np.rint(places).astype(int), 0, len(usable) - 1)].sum())
    comb = Comb(
        start_hz + lowest * step_hz,
        spacing * step_hz,
        error * step_hz,
        int(taken.sum()),
        count,
        float(10 * np.log10(np.mean(lines.over[taken]))),
        min(chance * tried, 1.0),
    )
    return comb, taken
