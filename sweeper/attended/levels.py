"""Levels over time, one value each `every_s`: what tells a switch by its step. Numbers only."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Levels:
    """`floor_db`: lower quartile over the pass band, `total_db`: all of it; shape (n,), dB of full scale.

    The first begins at `start_s` of the source's clock. Where nothing was heard the value before it stands.
    """

    start_s: float
    every_s: float
    floor_db: Floats
    total_db: Floats

    def between(self, from_s: float, until_s: float) -> "Levels":
        """The part that lies in there."""
        first = max(int(np.ceil((from_s - self.start_s) / self.every_s)), 0)
        last = max(int(min((until_s - self.start_s) / self.every_s, len(self.floor_db))), first)
        return Levels(
            self.start_s + first * self.every_s,
            self.every_s,
            self.floor_db[first:last],
            self.total_db[first:last],
        )

    @property
    def until_s(self) -> float:
        """Where the last one ends."""
        return self.start_s + len(self.floor_db) * self.every_s


def on_a_grid(at_s: Floats, every_s: float, floor: Floats, total: Floats) -> Levels:
    """Levels, linear, heard at the instants `at_s` (rising), put at equal distances."""
    if not len(at_s):
        nothing = np.zeros(0)
        return Levels(0.0, every_s, nothing, nothing)
    places = np.round((at_s - at_s[0]) / every_s).astype(int)
    latest = np.searchsorted(places, np.arange(places[-1] + 1), side="right") - 1
    low, whole = np.maximum(floor, 1e-20), np.maximum(total, 1e-20)
    return Levels(
        at_s[0] - every_s / 2.0, every_s, 10.0 * np.log10(low[latest]), 10.0 * np.log10(whole[latest])
    )
