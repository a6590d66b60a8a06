"""A sign of overload: bins that are quiet in bypass and occupied with the stage in, beyond chance.

The noise bins common to both routes would hide products of intermodulation, so they are looked for before any
verdict. An edge speaks for a bin when the stage's side stands over the noise there and the bypass side, times the S/N
change that is still possible, stays 6 dB below; it speaks against when it is the other way round. A signal that
does not know of the switch does either as often (sign test), since both sides lie within a second. Where other bins
are quiet with the stage in and occupied in bypass, it is no overload: something comes and goes in step with the switch.
"""

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import bdtrc

from sweeper.ab.sides import Learned, edges
from sweeper.analysis import Interval
from sweeper.spectra.noise_bins import Mask, runs
from sweeper.words import ANTENNA_BYPASS, ANTENNA_STAGE, Labelled

Floats = NDArray[np.float64]

OCCUPIED = 0.7
"""S/N in a bin, linear, from which one side of an edge counts as occupied; or six of its deviations."""
QUIETER = 4.0
ALONE, TOGETHER = 2e-5, 1e-3
"""Chance at which one run of bins is a sign, and at which two or more are."""
MOST_POSSIBLE_DB = 20.0
"""S/N change taken as possible when new lines are looked for, at most; 10 dB where no signal tells."""


def new_lines(sequence: Iterable[Labelled], learned: Learned, change: Interval | None) -> tuple[bool, bool]:
    """Whether there are signals that only the stage's sides have, and whether there are such that only bypass has."""
    possible_db = 10.0 if change is None else min(change.high, MOST_POSSIBLE_DB)
    least_db = -10.0 if change is None else max(change.low, -MOST_POSSIBLE_DB)
    bins = len(learned.noise.keep)
    stage = NewLines.of(bins, 10.0 ** (possible_db / 10.0))
    bypass = NewLines.of(bins, 10.0 ** (-least_db / 10.0))
    for seen in edges(sequence, learned):
        if seen is not None and {seen.before.path, seen.after.path} == {ANTENNA_BYPASS, ANTENNA_STAGE}:
            ends = (seen.before, seen.after)
            out, within = ends if seen.after.path == ANTENNA_STAGE else ends[::-1]
            segments = min(out.segments, within.segments)
            stage.add(out.bins, within.bins, segments)
            bypass.add(within.bins, out.bins, segments)
    return bool(stage.runs(learned.noise.usable)), bool(bypass.runs(learned.noise.usable))


@dataclass(eq=False)
class NewLines:
    """Counts over the edges, shape (bins,): that spoke for and against."""

    possible: float
    """The largest S/N change that the signals allow, linear."""
    speak_for: NDArray[np.int64]
    speak_against: NDArray[np.int64]

    @classmethod
    def of(cls, bins: int, possible: float) -> "NewLines":
        return cls(max(possible, 1.0), np.zeros(bins, np.int64), np.zeros(bins, np.int64))

    def add(self, bypass: Floats, stage: Floats, segments: int) -> None:
        """The two sides of an edge: S/N in each bin, linear. Named for lines of the stage; the other way for bypass."""
        least = max(OCCUPIED, 6.0 / np.sqrt(segments))
        raised = np.maximum(bypass, 0.0) * self.possible
        self.speak_for += (stage > least) & (raised < stage / QUIETER)
        self.speak_against += (raised > least) & (np.maximum(stage, 0.0) < raised / QUIETER)

    def runs(self, usable: Mask) -> list[int]:
        """The bin at the middle of each run that is a sign of overload; empty where there is none."""
        # spoke for at least as often as seen, if both were as likely
        tries = self.speak_for + self.speak_against
        chance = np.where(tries > 0, bdtrc(self.speak_for - 1, np.maximum(tries, 1), 0.5), 1.0)
        found = []
        for limit, fewest in ((ALONE, 1), (TOGETHER, 2)):
            there = usable & (chance < limit)
            middles = [(first + end - 1) // 2 for first, end in runs(there)]
            if len(middles) >= fewest:
                found = middles
                break
        return found
