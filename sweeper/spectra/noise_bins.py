"""Which bins of a tuning hold nothing but noise, and how high that noise is.

Forward consecutive mean excision (Lehtomäki, Vartiainen, Juntti & Saarnisaari, IEEE Trans. Signal Process. 55 (2007)
5): begin with the lowest bins, take in all that lie under T times their mean, until none is left to take in; T is
the Gamma law's quantile for the false alarms asked for. The pass band is flattened first and between rounds (a
tilt of 6 dB would bias the level by −1.7 dB). Chosen by the sum of both routes' normalised powers, of which the share
in ÷ (in + out) of pure noise is independent (a property of Gamma variables, Lukacs 1955), so that the choice biases no
difference. Nobody can remove signals that lie within a few dB of the noise itself.

Arrays in, arrays out; what the bins are used for does not come in.
"""

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]

FALSE_ALARMS = 1e-3
FEWEST_BINS = 8
"""With fewer noise bins than this no level is told."""
BEGIN_WITH = 0.1
"""Share of the bins, the lowest, that the excision begins with."""
LOW_RANKS = (0.05, 0.25)
"""Quantiles that tell the spread of noise even where half of all bins are occupied."""
BEYOND_PASS_BAND_DB = 10.0
BETWEEN = 0.2
"""Share of the bins between the outermost high ones that has to be low for that to be the noise; a notch is less."""
MOST_LEVELS = 4
MOST_TERMS = 24
"""Cosines that draw a pass band. With many it follows a filter's ripple, and weak signals that lie side by side."""
PARTS = 12
STEEPEST_DB = 15.0
"""Tilt over the whole pass band that a first guess may have."""


@dataclass(frozen=True, slots=True, eq=False)
class NoiseBins:
    """`keep`: shape (bins,), noise and nothing else. `usable`: inside the pass band. `pass_band`: noise of each bin
    relative to the others, linear, mean 1 over `keep`. `shape`: of the Gamma law that the bins were judged by, smaller
    than that of the averaging alone where the filter ripples.
    """

    keep: Mask
    usable: Mask
    pass_band: Floats
    shape: float

    @property
    def share(self) -> float:
        """Share of the usable bins that were kept."""
        return float(self.keep.sum() / max(int(self.usable.sum()), 1))

    def level(self, mean: NDArray[np.floating]) -> float:
        """Noise of a spectrum, power in a bin: mean over the kept bins of power ÷ pass band.

        Unbiased for noise; relative variance 1/(bins · shape of one spectrum), more by the window's 2.0 bins.
        """
        return float(np.mean(mean[self.keep] / self.pass_band[self.keep]))

    def quartile_level(self, mean: NDArray[np.floating], shape: float) -> float:
        """A witness: the lower quartile over the usable bins ÷ that of the Gamma law.

        It reads high where signals fill a good part of the bins (+0.4 dB for half of them), and cannot be fooled by
        a wrong choice of bins.
        """
        flat = mean[self.usable] / self.pass_band[self.usable]
        return float(quantile(flat, 0.25) / gamma_quantile(0.25, min(shape, self.shape)))


def quantile(values: NDArray[np.floating], share: float) -> float:
    """NumPy's `quantile` of one share of values in one dimension, in a tenth of its time."""
    place = share * (len(values) - 1)
    rank = min(int(place), max(len(values) - 2, 0))
    ranked = np.partition(values, (rank, min(rank + 1, len(values) - 1)))
    low, high = float(ranked[rank]), float(ranked[min(rank + 1, len(values) - 1)])
    return low + (place - rank) * (high - low)


def gamma_quantile(chance: float, shape: float) -> float:
    """Quantile of a Gamma variable of mean 1."""
    from scipy.special import gammaincinv  # slow to load

    return float(gammaincinv(shape, chance) / shape)


def threshold(shape: float, false_alarms: float) -> float:
    """T: noise of mean 1 and this shape exceeds it with the chance `false_alarms`."""
    from scipy.special import gammainccinv

    return float(gammainccinv(shape, false_alarms) / shape)


def mean_below(shape: float, limit: float) -> float:
    """Mean of noise of mean 1 as far as it lies under `limit`: P(k + 1, kT)/P(k, kT), a little under 1."""
    from scipy.special import gammainc

    return float(gammainc(shape + 1.0, shape * limit) / gammainc(shape, shape * limit))


def excise(flat: Floats, shape: float, false_alarms: float = FALSE_ALARMS) -> Mask:
    """Bins of flattened power, shape (bins,), that are noise by the Gamma law of this `shape`.

    On pure noise the share of bins taken out is `false_alarms`, whatever the shape.
    """
    ordered = np.sort(flat)
    means = np.cumsum(ordered) / np.arange(1, len(ordered) + 1)
    limit = threshold(shape, false_alarms)
    limit /= mean_below(shape, limit)
    count = max(int(BEGIN_WITH * len(ordered)), min(FEWEST_BINS, len(ordered)))
    while count < len(ordered):
        more = int(np.searchsorted(ordered, limit * means[count - 1], side="right"))
        if more <= count:
            break
        count = more
    keep: Mask = flat <= limit * means[count - 1]
    return keep


def shape_seen(flat: Floats, shape: float) -> float:
    """The Gamma shape that the lowest bins show where they scatter by more than the averaging explains (ripple).

    Not below a tenth of it, and `shape` itself where the excess is within what few bins show by chance.
    """
    wanted = np.log([gamma_quantile(rank, shape) for rank in LOW_RANKS])
    seen = np.log(np.maximum([quantile(flat, rank) for rank in LOW_RANKS], 1e-30))
    ratio = float((seen[1] - seen[0]) / (wanted[1] - wanted[0]))
    by_chance = 1.0 + 4.0 / np.sqrt(len(flat))
    return shape if ratio <= by_chance else shape / ratio**2


def pass_band(power: Floats, keep: Mask, terms: int) -> Floats:
    """A smooth curve through the noise: ridge regression of ln power on so many cosines, over the kept bins."""
    order = np.arange(terms)
    table = _cosines(len(power), max(terms, MOST_TERMS))[:, :terms]
    there = table[keep]
    ridge = np.diag(1e-3 * len(there) * (order / 8.0) ** 4)
    weights = np.linalg.solve(there.T @ there + ridge, there.T @ np.log(np.maximum(power[keep], 1e-300)))
    curve: Floats = np.exp(table @ weights)
    return curve


@lru_cache(maxsize=8)
def _cosines(bins: int, terms: int) -> Floats:
    """Cosines of half a turn over the bins and more, shape (bins, terms): asked for again with each round."""
    place = np.arange(bins) / max(bins - 1, 1)
    found: Floats = np.cos(np.pi * np.outer(place, np.arange(terms)))
    return found


def runs(there: Mask) -> list[tuple[int, int]]:
    """Each run of bins that are `there`, in order: its first bin, and the one past its last."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], there.astype(np.int8), [0]])))
    return [(int(first), int(end)) for first, end in zip(edges[::2], edges[1::2], strict=True)]


FLOOR = 0.25


def floor_and_total(power: NDArray[np.floating]) -> tuple[NDArray[np.floating], NDArray[np.floating]]:
    """Lower quartile and mean over the bins of spectra, shape (…, bins), linear: two levels, each of shape (…).

    The quartile follows the noise; the mean follows everything. Neither is corrected for what noise does to it.
    """
    rank = int(FLOOR * (power.shape[-1] - 1))
    return np.partition(power, rank, axis=-1)[..., rank], power.mean(axis=-1)


def in_pass_band(low: Floats) -> Mask:
    """Bins that the receiver's filter lets through, shape (bins,), from each bin's low quantile over time.

    Those whose surroundings lie within 10 dB of the highest tenth, less two bins at each end of a run. Signals that
    come and go are not in the low quantile; narrow ones not in the surroundings. Where wide signals are the highest
    tenth, the noise between them lies lower than that: a filter cuts at its ends, so what is low on both sides of
    something high is noise that it lets through, and the 10 dB count from there.
    """
    around = surroundings(low)
    reference = float(np.quantile(around, 0.9))
    for _ in range(MOST_LEVELS):
        inside = around > reference * 10 ** (-BEYOND_PASS_BAND_DB / 10)
        places = np.flatnonzero(inside)
        if not len(places):
            break  # silence
        between = ~inside[places[0] : places[-1] + 1]
        if between.sum() < max(FEWEST_BINS, BETWEEN * len(between)):
            break
        reference = float(np.median(around[places[0] : places[-1] + 1][between]))
    return worn(inside)


def surroundings(low: Floats, width: int = 6) -> Floats:
    """The lower third of ±`width` bins, which a line does not lift."""
    padded = np.pad(low, width, mode="edge")
    found: Floats = np.quantile(np.lib.stride_tricks.sliding_window_view(padded, 2 * width + 1), 0.3, axis=1)
    return found


def worn(inside: Mask) -> Mask:
    """Runs without their first and last two bins, where a filter falls off."""
    kept = inside.copy()
    for shift in (1, 2):
        kept[shift:] &= inside[:-shift]
        kept[:-shift] &= inside[shift:]
    return kept


def terms_for(bins: int) -> int:
    """How many cosines the pass band of so many usable bins may need: one for some eight bins, 3 to 24."""
    return int(np.clip(bins // 8, 3, MOST_TERMS))


def noise_bins(
    routes: "tuple[Floats, ...]",
    shapes: "tuple[float, ...]",
    usable: Mask | None = None,
    false_alarms: float = FALSE_ALARMS,
    most_terms: int = MOST_TERMS,
    without: Callable[[Floats, Mask, float], Mask] | None = None,
) -> NoiseBins:
    """The noise bins common to all `routes`: mean spectra, each of shape (bins,), with their Gamma shapes.

    Each is normalised and flattened by itself, then they are added: their sum is Gamma of the sum of the shapes.
    `most_terms`: cosines that the pass band needs at most. `without`: takes more out in each round, given the flat sum,
    the noise bins so far and the shape.
    """
    if usable is None:
        usable = np.ones(len(routes[0]), np.bool_)
    inside = np.flatnonzero(usable)
    flats = [route[inside] / np.median(route[inside]) for route in routes]
    weights = np.array(shapes) / np.sum(shapes)
    shape = float(np.sum(shapes))
    keep, curves, seen = np.ones(len(inside), np.bool_), [np.ones(len(inside)) for _ in flats], shape
    most = min(terms_for(len(inside)), most_terms)
    for terms in [0, 2, 3, *range(5, most + 1, 3), most, most]:
        if terms == 0:
            curves = [_lower_line(flat, each) for flat, each in zip(flats, shapes, strict=True)]
        elif terms <= _most_terms(keep):
            curves = [pass_band(flat, keep, terms) for flat in flats]
        else:
            break
        total = sum(weight * flat / curve for weight, flat, curve in zip(weights, flats, curves, strict=True))
        seen = shape_seen(total, shape)
        keep = _guarded(excise(total, seen, false_alarms), total)
        keep = keep if without is None else without(total, keep, seen)
    whole = np.zeros(len(usable), np.bool_)
    whole[inside] = keep
    curve = np.ones(len(usable))
    joint = np.exp(sum(weight * np.log(each) for weight, each in zip(weights, curves, strict=True)))
    curve[inside] = joint / (np.mean(joint[keep]) if keep.any() else 1.0)
    return NoiseBins(whole, usable, curve, seen)


def _most_terms(keep: Mask) -> int:
    """So many cosines as the widest gap between noise bins allows without guessing what lies in it."""
    edges = np.flatnonzero(np.concatenate([[True], keep, [True]]))
    gap = int(np.diff(edges).max())
    return min(int(keep.sum()) // 3, max(2, 2 * len(keep) // gap))


def _lower_line(flat: Floats, shape: float) -> Floats:
    """A first guess of the pass band: of all straight lines (in dB) through the lower thirds of two parts of the band,
    the one with most bins beside it among those with hardly any below. Half of the band may be one solid block.
    """
    level = np.log(np.maximum(flat, 1e-300))
    parts = np.array_split(np.arange(len(flat)), min(PARTS, max(len(flat) // 6, 1)))
    near = max(3.0 / np.sqrt(shape), 0.12)
    places = np.array([part.mean() for part in parts])
    lows = np.array([quantile(level[part], 0.3) for part in parts])
    one, two = np.triu_indices(len(parts), 1)
    slopes = (lows[two] - lows[one]) / (places[two] - places[one])
    steepest = STEEPEST_DB * np.log(10.0) / 10.0 / len(flat)
    slopes, through = np.append(slopes, np.zeros(len(parts))), np.append(one, np.arange(len(parts)))
    slopes, through = slopes[np.abs(slopes) <= steepest], through[np.abs(slopes) <= steepest]
    place = np.arange(len(flat))
    lines = lows[through, None] + slopes[:, None] * (place - places[through, None])
    beside = np.mean(np.abs(level - lines) < near, axis=1)
    below = np.mean(level - lines < -near, axis=1)
    best = int(np.argmax(beside - 4.0 * below))
    line: Floats = np.exp(lines[best])
    return line


def _guarded(keep: Mask, total: Floats) -> Mask:
    """Without the neighbours of what is taken out: a line between two bins fills both, and more where it is strong."""
    guarded = keep.copy()
    out = ~keep
    guarded[1:] &= ~out[:-1]
    guarded[:-1] &= ~out[1:]
    strong = out & (total > 100.0)
    guarded[2:] &= ~strong[:-2]
    guarded[:-2] &= ~strong[2:]
    return guarded if guarded.sum() >= FEWEST_BINS else keep
