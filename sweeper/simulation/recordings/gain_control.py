"""An automatic gain control with time constants of attack and decay, as behind a receiver's filter."""

import math

import numpy as np
from numpy.typing import NDArray

from sweeper.simulation.recordings.planted import Gaining

STEPS_HZ = 800
"""How often it looks at the envelope, at least."""


class GainControl:
    """Takes the filtered band and gives it back with its gain put down; keeps its state between blocks.

    The detector holds the envelope E as L: dL/dt = (E − L)/τ with the attack's τ while E > L and the decay's
    otherwise (a capacitor charged through one resistor and discharged through another). Above the threshold T the gain
    is (T/L)^(1 − slope).
    """

    def __init__(self, gaining: Gaining, rate_hz: int, threshold: float) -> None:
        self._step = max(n for n in range(1, rate_hz // STEPS_HZ + 1) if rate_hz % n == 0)
        spacing_s = self._step / rate_hz
        self._attack = 1 - math.exp(-spacing_s / gaining.attack_s)
        self._decay = 1 - math.exp(-spacing_s / gaining.decay_s)
        self._power = 1 - gaining.slope
        self._threshold = threshold
        self._level = threshold
        self._gain = 1.0

    def take(self, band: NDArray[np.complex64]) -> NDArray[np.complex64]:
        """A block whose length the step divides."""
        peaks = np.abs(band).reshape(-1, self._step).max(1)
        gains = np.empty(peaks.size + 1)
        gains[0] = self._gain
        level, attack, decay, threshold = self._level, self._attack, self._decay, self._threshold
        held = np.empty(peaks.size)
        for n, peak in enumerate(peaks.tolist()):
            level += (peak - level) * (attack if peak > level else decay)
            held[n] = level
        self._level = level
        gains[1:] = (threshold / np.maximum(held, threshold)) ** self._power
        self._gain = float(gains[-1])
        along = np.arange(1, band.size + 1) / self._step
        return (band * np.interp(along, np.arange(gains.size), gains)).astype(np.complex64)
