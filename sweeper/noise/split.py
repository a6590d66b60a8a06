"""Of a band's noise, how much is whose: receiver, mains-synchronous, combs, humps, and the rest.

The shares of each pass are measured with the antenna in bypass; their mean over passes is the band's. Passes of one
night share its noise, so nights are what repeats: an interval is Student's t over their means, or, of fewer than
three nights, over stretches of passes, and is about those nights only. Sky and whatever else does not sign its name
are the rest: they cannot be told apart.

Taking away a part that is the share s of the noise lets S/N rise by −10 log₁₀(1 − s), at most: more signal the noise
does not hide, and signals between the lines of a comb gain less.
"""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import stdtrit

from sweeper.noise.seen import Heard, night_of

PARTS = ("receiver", "mains", "comb", "hump", "rest")
FEWEST_NIGHTS = 3
STRETCHES = 6
"""Into so many stretches passes of fewer nights are cut."""
FEWEST_PASSES = 4
BENT = 0.1
"""Standard error of a share of mains-synchronous noise for the shape of its bursts, as a part of itself."""


@dataclass(frozen=True, slots=True)
class Part:
    """One part of a band's noise: its share of the power, with its interval; None where nothing tells it.

    `gain_db`: what S/N could win at most without it, the same interval.
    """

    name: str
    share: float
    low: float
    high: float

    @property
    def level_db(self) -> float:
        """The part beside all of the noise, in dB: 0 is all of it."""
        return 10 * math.log10(max(self.share, 1e-6))

    @property
    def gain_db(self) -> tuple[float, float, float]:
        return won_db(self.share), won_db(self.low), won_db(self.high)


@dataclass(frozen=True, slots=True)
class Split:
    """A band's noise in its parts, those that can be told. `nights`, `passes`: that it is from."""

    band: str
    parts: tuple[Part, ...]
    nights: int
    passes: int


def split(heard: Iterable[Heard], confidence: float = 0.95, longitude_deg: float = 0.0) -> list[Split]:
    """By band, in order of frequency; a band with fewer than `FEWEST_PASSES` passes is left out."""
    bands: dict[str, list[Heard]] = {}
    for one in sorted(heard, key=lambda each: (each.start_hz, each.time)):
        bands.setdefault(one.band, []).append(one)
    return [
        _split(band, every, confidence, longitude_deg)
        for band, every in bands.items()
        if len({each.pass_number for each in every}) >= FEWEST_PASSES
    ]


def _split(band: str, heard: Sequence[Heard], confidence: float, longitude_deg: float) -> Split:
    by_pass: dict[int, list[Heard]] = {}
    for one in heard:
        by_pass.setdefault(one.pass_number, []).append(one)
    rows, nights = [], []
    for every in by_pass.values():
        rows.append(np.mean([_shares(one) for one in every], axis=0))
        nights.append(night_of(every[0].time, longitude_deg))
    shares = np.array(rows)
    groups = np.array(nights)
    if len(set(nights)) < FEWEST_NIGHTS:
        order = np.argsort([every[0].time for every in by_pass.values()])
        groups = np.empty(len(order), int)
        groups[order] = np.arange(len(order)) * min(STRETCHES, len(order)) // len(order)
    read = {
        "receiver": all(one.receiver is not None for one in heard),
        "mains": any(one.mains_read for one in heard),
        "rest": True,
    }
    parts = []
    for place, name in enumerate(PARTS):
        if not read.get(name, True):
            continue
        means = np.array([shares[groups == group, place].mean() for group in np.unique(groups)])
        share = float(means.mean())
        error = float(np.std(means, ddof=1)) / math.sqrt(len(means)) if len(means) > 1 else share
        reach = float(stdtrit(max(len(means) - 1, 1), 0.5 + confidence / 2)) * error
        if name in ("mains", "rest"):  # what is taken for the one is missing from the other
            reach = math.hypot(reach, 2.0 * BENT * float(shares[:, 1].mean()))
        parts.append(Part(name, share, max(share - reach, 0.0), min(share + reach, 1.0)))
    return Split(band, tuple(parts), len(set(nights)), len(by_pass))


def _shares(one: Heard) -> "np.ndarray[tuple[int], np.dtype[np.float64]]":
    """The shares of one tuning in one pass, in the order of `PARTS`.

    Noise that is on the load as well is the receiver's, whatever its kind.
    """
    own = one.receiver or 0.0
    of_kind = {"mains": 0.0, "comb": 0.0, "hump": 0.0, "birdie": 0.0}
    for found in one.found:
        if not found.on_load:
            of_kind[found.kind] += found.share
    told = own + of_kind["mains"] + of_kind["comb"] + of_kind["hump"]
    return np.array([own, of_kind["mains"], of_kind["comb"], of_kind["hump"], max(1.0 - told, 0.0)])


def won_db(share: float) -> float:
    """By how much noise falls, and S/N rises, without so large a share of it; 30 dB at most."""
    return -10 * math.log10(max(1.0 - share, 1e-3)) + 0.0  # no minus before nothing
