"""Lines that stand on one side of a switch only, beyond chance. Pure.

An edge speaks for a bin when the one side stands over the noise there and the other, times the change that is still
possible, stays 6 dB below; it speaks against when it is the other way round. A signal that does not know of the
switch does either as often (sign test).
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sweeper.spectra.noise_bins import Mask, runs

Floats = NDArray[np.float64]

OCCUPIED = 0.7
"""S/N in a bin, linear, from which one side of an edge counts as occupied, if its noise does not scatter too far."""
QUIETER = 4.0
ALONE, TOGETHER = 2e-5, 1e-3
"""Chance at which one run of bins is a sign, and at which two or more are."""


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

    def add(self, bypass: Floats, stage: Floats, least: float) -> Mask:
        """The two sides of an edge: S/N in each bin, linear. Named for lines of the stage; the other way for bypass.
        `least`: S/N from which a side counts as occupied. Which bins it spoke for.
        """
        raised = np.maximum(bypass, 0.0) * self.possible
        speaks: Mask = (stage > least) & (raised < stage / QUIETER)
        self.speak_for += speaks
        self.speak_against += (raised > least) & (np.maximum(stage, 0.0) < raised / QUIETER)
        return speaks

    def chance(self) -> Floats:
        """That a bin is spoken for at least as often as it was, if both were as likely."""
        from scipy.special import bdtrc  # slow to load

        tries = self.speak_for + self.speak_against
        found: Floats = bdtrc(self.speak_for - 1, tries, 0.5).astype(np.float64)  # 1 where nothing was said
        return found

    def runs(self, usable: Mask) -> list[int]:
        """The bin at the middle of each run that is a sign of overload; empty where there is none."""
        chance = self.chance()
        found = []
        for limit, fewest in ((ALONE, 1), (TOGETHER, 2)):
            there = usable & (chance < limit)
            middles = [(first + end - 1) // 2 for first, end in runs(there)]
            if len(middles) >= fewest:
                found = middles
                break
        return found
