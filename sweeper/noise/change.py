"""Before and after a fix, source by source: what fell, what went, what did not change.

Each source's own power is compared, so that one that fell is seen although another hides it in the total. With passes
on both sides the change is the difference of nightly means of its level, in dB, with Welch's t over nights; where a
side has one night only, over stretches of its passes, and then it is about those nights. A source that is not seen any
more has fallen by at least as far as it stood over what would still have been seen.
"""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import stdtrit

from sweeper.noise.seen import Found, Heard, night_of
from sweeper.noise.sources import Source, sources
from sweeper.spectra.noise_bins import Floats

FEWEST_LOOKS = 6
"""Passes on a side without which nothing is said."""
GONE = 0.1
"""Seen in less than this share of what it was seen in before, it counts as gone."""
SEEN_DB = {"comb": 1.0, "mains": -15.0, "hump": 1.0, "birdie": 0.0}
"""A comb or hump of this height over the noise would still be seen, or a share of mains noise of so many dB."""
STRETCHES = 6


@dataclass(frozen=True, slots=True)
class Change:
    """Of one source. `change_db` with its interval, None where one side shows none of it. `seen`: share of passes with
    it before and after. `verdict`: ``fell``, ``rose``, ``unchanged``, ``gone``, ``new``, ``undecided``.
    """

    name: str
    kind: str
    bands: tuple[str, ...]
    change_db: tuple[float, float, float] | None
    seen: tuple[float, float]
    verdict: str
    sentence: str


def changes(
    heard: Iterable[Heard], fix: float, confidence: float = 0.95, longitude_deg: float = 0.0
) -> list[Change]:
    """Each source of all that was heard, before and after `fix`, seconds since 1970."""
    every = list(heard)
    told = (_change(source, every, fix, confidence, longitude_deg) for source in sources(every))
    return [each for each in told if each is not None]


def _change(
    source: Source, heard: Sequence[Heard], fix: float, confidence: float, longitude_deg: float
) -> Change | None:
    bands = set(source.bands)
    looks = [
        {one.pass_number for one in heard if one.band in bands and (one.time >= fix) == side}
        for side in (False, True)
    ]
    if min(len(each) for each in looks) < FEWEST_LOOKS:
        return None
    sides = [
        [(one, found) for one, found in source.seen if (one.time >= fix) == side] for side in (False, True)
    ]
    shares = [
        len({one.pass_number for one, _ in side}) / len(look) for side, look in zip(sides, looks, strict=True)
    ]
    told = _difference(sides, confidence, longitude_deg)
    verdict, words = _verdict(source, sides, (shares[0], shares[1]), told, len(looks[1]))
    name = source.name
    return Change(
        name, source.kind, source.bands, told, (shares[0], shares[1]), verdict, f"The {name} {words}."
    )


def _difference(
    sides: Sequence[list[tuple[Heard, Found]]], confidence: float, longitude_deg: float
) -> tuple[float, float, float] | None:
    """After less before, in dB, with its interval: bands apart, so that none weighs by how often it was seen."""
    before, after = (_levels(side, longitude_deg) for side in sides)
    shared = before.keys() & after.keys()
    if not shared:
        return None
    means, variances, freedom = [], [], 0.0
    for band in shared:
        one, two = before[band], after[band]
        means.append(float(two.mean() - one.mean()))
        variances.append(one.var(ddof=1) / len(one) + two.var(ddof=1) / len(two))
        freedom = max(freedom, float(min(len(one), len(two)) - 1))
    value = float(np.mean(means))
    error = math.sqrt(float(np.mean(variances)))  # bands of one night share it: no root of their number
    reach = float(stdtrit(max(freedom, 1.0), 0.5 + confidence / 2)) * max(error, 0.05)
    return value, value - reach, value + reach


def _levels(side: list[tuple[Heard, Found]], longitude_deg: float) -> dict[str, Floats]:
    """Means of the level by night, or by stretch where there are fewer than three nights, for each band."""
    found: dict[str, Floats] = {}
    for band in {one.band for one, _ in side}:
        rows = sorted((one.time, each.level_db) for one, each in side if one.band == band)
        nights = [night_of(time, longitude_deg) for time, _ in rows]
        groups = np.array(nights)
        if len(set(nights)) < 3:
            groups = np.arange(len(rows)) * min(STRETCHES, len(rows)) // len(rows)
        levels = np.array([level for _, level in rows])
        means = np.array([levels[groups == group].mean() for group in np.unique(groups)])
        if len(means) >= 2:
            found[band] = means
    return found


def _verdict(
    source: Source, sides: Sequence[list[tuple[Heard, Found]]], seen: tuple[float, float],
    told: tuple[float, float, float] | None, looks_after: int,
) -> tuple[str, str]:  # fmt: skip
    before, after = seen
    if before and after <= GONE * before:
        over = [_over(source, found) for _, found in sides[0]]
        least_db = max(float(np.median(over)) - SEEN_DB[source.kind], 0.0)
        fell = f", so it fell by at least {least_db:.0f} dB" if least_db >= 1.0 else ""
        return (
            "gone",
            f"went: seen in {before:.0%} of passes before and {after:.0%} of {looks_after} after{fell}",
        )
    if after and before <= GONE * after:
        return "new", f"is new: seen in {before:.0%} of passes before and {after:.0%} after"
    if told is None:
        return "undecided", "was seen too seldom to compare"
    value, low, high = told
    size = f"{abs(value):.1f} dB ({abs(value) - (high - value):.1f} to {abs(value) + (high - value):.1f})"
    if high < 0.0 and value <= -1.0:
        return "fell", f"fell by {size}"
    if low > 0.0 and value >= 1.0:
        return "rose", f"rose by {size}"
    if low > -3.0 and high < 3.0:
        return "unchanged", f"did not change: {value:+.1f} dB ({low:+.1f} to {high:+.1f})"
    return "undecided", f"changed by {value:+.1f} dB ({low:+.1f} to {high:+.1f}), which decides nothing"


def _over(source: Source, found: Found) -> float:
    """How far it stood out, in the unit of `SEEN_DB`."""
    if source.kind == "mains":
        return 10 * math.log10(max(found.share, 1e-3))
    return found.over_db
