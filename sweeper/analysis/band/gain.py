"""Gain of the stage with its relays: from carriers, from load differences, from a noise source.

The rated gain is no evidence: it is held against what was measured, and told as an expectation by `findings`.

From summaries of one band, overloaded hours already left out, to one gain with its uncertainty. What the gain
does to signal-to-noise ratio, and whether a stage overloads, do not belong here.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from scipy.special import chdtri, stdtrit

from sweeper.analysis.band.edge_lag import lags, sentence_of
from sweeper.analysis.band.gain_methods import GainEstimate, GainMethod, GainMethods
from sweeper.analysis.facts import StationFacts
from sweeper.analysis.results import GainSource
from sweeper.analysis.statistics.interval import Interval
from sweeper.analysis.thresholds import (
    GAINS_APART_CHANCE,
    GAINS_APART_DB,
    NO_GAIN_DB,
    RATED_GAIN_SE_DB,
    ROUTES_APART_DB,
    ROUTES_APART_SE,
    WORST_GAIN_SE_DB,
)

OFF_LABEL_SIGMAS = 3.0
OFF_LABEL = "gain-off-label"
"""The flag of a gain that is not the rated one by more than both their errors."""
QUIETER = "quieter-antenna"
"""The flag of a stage that changes what the antenna takes in; the noise rise then caps nothing."""


@dataclass(frozen=True, slots=True)
class Gain:
    """Gain of the stage on one band. `sentences` are for a person; `flags` as in the findings."""

    gain_db: float
    se_db: float
    dof: float
    source: GainSource
    parts: tuple[GainEstimate, ...]
    flags: tuple[str, ...] = ()
    sentences: tuple[str, ...] = ()
    offsets_db: Mapping[int, float] = field(default_factory=dict)
    """Where the gain differs by channel: what to add at each frequency in hertz."""

    def at(self, hz: int) -> float:
        """The gain on the noise channel at `hz`, dB."""
        return self.gain_db + self.offsets_db.get(hz, 0.0)

    def less_sure(self, se_db: float, flag: str, sentence: str) -> "Gain":
        """The gain with another error beside its own, and what to say of it."""
        flags, sentences = (*self.flags, flag), (*self.sentences, sentence)
        return replace(self, se_db=float(np.hypot(self.se_db, se_db)), flags=flags, sentences=sentences)

    def interval(self, confidence: float) -> Interval:
        """Student's interval at `confidence`."""
        reach = float(stdtrit(self.dof, 0.5 + confidence / 2)) * self.se_db
        return Interval(self.gain_db, self.gain_db - reach, self.gain_db + reach)


def combine(methods: GainMethods, facts: StationFacts) -> Gain | None:
    """The gain on one band from the ways to it (any nights and hours), or None when nothing measured it.

    Each way is averaged by night and weighted by its uncertainty. Ways that differ by more than their
    uncertainties allow are named, and the uncertainty grows to cover them.
    """
    if quieter_antenna(methods, facts):
        return _of_a_choke(methods)
    gain = measured(methods)
    return None if gain is None else _beside_label(gain, facts)


def quieter_antenna(methods: GainMethods, facts: StationFacts) -> bool:
    """Whether a stage without gain makes the antenna itself quieter, as a common-mode choke does.

    Then the noise of antenna and load says nothing of gain: the antenna's noise is not the same in both routes.
    """
    rated = facts.rated_gain_db
    if rated is None or abs(rated) > NO_GAIN_DB or methods.load is None:
        return False
    by_noise, carriers = methods.load, methods.carriers
    load = methods.summaries["load_difference_db"].drop_nulls().to_numpy()
    falls = by_noise.gain_db < -max(GAINS_APART_DB, 3 * by_noise.se_db)
    signals_stay = carriers is None or abs(carriers.gain_db) < NO_GAIN_DB + 3 * carriers.se_db
    if not falls or not signals_stay or (carriers is not None and carriers.se_db > WORST_GAIN_SE_DB):
        return False
    return abs(float(np.median(load))) <= NO_GAIN_DB


def _of_a_choke(methods: GainMethods) -> Gain | None:
    """What carriers say of its gain; None without carriers, since nothing else can."""
    part, by_noise = methods.carriers, methods.load
    if part is None or by_noise is None:
        return None
    return Gain(
        part.gain_db,
        part.se_db,
        part.dof,
        "carriers",
        (part,),
        (QUIETER,),
        (
            f"With the stage in, the antenna itself is {-by_noise.gain_db:.1f} dB quieter while signals stay: noise "
            "that came in along the feed line is gone. That is what a choke is for.",
        ),
    )


def _beside_label(gain: Gain, facts: StationFacts) -> Gain:
    """The measured gain, with the fault to look for where the label says something else."""
    rated = facts.rated_gain_db
    if rated is None or abs(gain.gain_db - rated) <= OFF_LABEL_SIGMAS * float(
        np.hypot(gain.se_db, RATED_GAIN_SE_DB)
    ):
        return gain
    sentence = (
        f"The stage's gain measures {gain.gain_db:+.1f} dB where its label says {rated:+.1f} dB: look for a missing "
        "supply, a wrong range, a relay that does not move or leaks, a cable, or a wrong label."
    ).replace("-", "−")
    return replace(gain, flags=(*gain.flags, OFF_LABEL), sentences=(*gain.sentences, sentence))


def measured(methods: GainMethods) -> Gain | None:
    """The gain by all methods that found one, dB, and how it differs by channel; None where nothing measured it."""
    parts = tuple(
        part for part in (methods.carriers, methods.load, methods.bend, methods.source) if part is not None
    )
    if not parts:
        return None
    gain = weighted(parts)
    if methods.lag is not None and lags(methods.lag):
        said = (*gain.sentences, sentence_of(methods.lag))
        gain = replace(gain, flags=(*gain.flags, "meter-lags"), sentences=said)
    offsets_db = methods.offsets_db
    if not offsets_db:
        return gain
    told = ", ".join(f"{gain.gain_db + off:+.1f} dB at {hz / 1e3:g} kHz" for hz, off in offsets_db.items())
    return replace(
        gain,
        offsets_db=offsets_db,
        flags=(*gain.flags, "gain-varies"),
        sentences=(
            *gain.sentences,
            f"The gain is not the same across the band: {told}. Each channel is computed with its own; "
            f"{gain.gain_db:+.1f} dB is their mean.".replace(" -", " −"),
        ),
    )


def weighted(parts: tuple[GainEstimate, ...]) -> Gain:
    """Parts weighted by 1/se², with disagreement between them named and covered (Birge ratio)."""
    value = np.array([part.gain_db for part in parts])
    variance = np.array([part.se_db**2 for part in parts])
    weight = 1 / variance
    share = weight / weight.sum()
    gain_db = float(share @ value)
    chi = float(((value - gain_db) ** 2 / variance).sum())
    se_db = float(np.sqrt(1 / weight.sum()))
    dof = float(1 / (share**2 / np.array([part.dof for part in parts])).sum())
    flags: list[str] = []
    sentences: list[str] = []
    apart = float(value.max() - value.min())
    if len(parts) > 1 and apart > GAINS_APART_DB and chi > chdtri(len(parts) - 1, GAINS_APART_CHANCE):
        se_db *= float(np.sqrt(chi / (len(parts) - 1)))
        flags.append("gain-disagrees")
        named = ", ".join(f"{part.gain_db:.1f} dB by {_NAMES[part.source]}" for part in parts)
        sentences.append(
            f"The ways to measure gain disagree ({named}), by more than their uncertainties allow: "
            "suspect overload, compression, or antenna and load that do not match the receiver alike."
        )
    elif chi > len(parts) - 1 and any(part.source == "bend" for part in parts):
        se_db *= float(
            np.sqrt(chi / (len(parts) - 1))
        )  # what bends it otherwise, carriers contradict, if weakly
    telling = [part.source for part, weighs in zip(parts, share, strict=True) if weighs > 0.1]
    alone = telling[0] if len(telling) == 1 else "combined"
    source: GainSource = "combined" if alone == "bend" else alone
    return Gain(gain_db, se_db, max(dof, 1.0), source, parts, tuple(flags), tuple(sentences))


def carriers_contradict(gains: Sequence[Gain]) -> str:
    """What to say where, over all bands, carriers and the bend of the noise do not find one gain; empty where they do.

    A stage that takes its gain back does so on every band, so all are asked together, each by its own errors.
    """
    gaps, weights = [], []
    for gain in gains:
        each = {part.source: part for part in gain.parts}
        if "bend" in each and "carriers" in each:
            gaps.append(each["carriers"].gain_db - each["bend"].gain_db)
            weights.append(1.0 / (each["carriers"].se_db ** 2 + each["bend"].se_db ** 2))
    if not gaps:
        return ""
    gap = float(np.average(gaps, weights=weights))
    if abs(gap) < max(ROUTES_APART_DB, ROUTES_APART_SE / float(np.sqrt(np.sum(weights)))):
        return ""
    way = "less" if gap < 0 else "more"
    return (
        f"Carriers gain {abs(gap):.1f} dB {way} in the stage than noise does: it takes its gain back when signals are "
        "strong, or overloads. Without a load nothing shows which of them holds; give the station one."
    )


_NAMES: dict[GainMethod, str] = {
    "bend": "how the noise difference bends over the nights",
    "carriers": "carriers",
    "load": "the noise of antenna and load",
    "noise": "the noise source",
    "combined": "all together",
}
