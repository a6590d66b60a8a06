"""How a carrier fades: Clarke's scattering with a steady part beside it (Rician).

Waves of equal strength arrive from all directions, so that the scattered voltage has the autocorrelation
J0(2π f τ) with f the maximum Doppler shift (R. H. Clarke, Bell Syst. Tech. J. 47, 1968); the power of the steady
part over that of the scattered part is K (S. O. Rice, Bell Syst. Tech. J. 24, 1945). A function of time, so that an
hour needs no more memory than a second.
"""

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

Voltage = NDArray[np.complex128]
WAVES = 64


@dataclass(frozen=True)
class Fading:
    """A voltage with mean square 1. `rician_k` is a power ratio, infinite for a steady carrier."""

    doppler_hz: float
    rician_k: float
    seed: int

    @cached_property
    def _waves(self) -> tuple[NDArray[np.float64], NDArray[np.float64], Voltage, float, float, float]:
        dice = np.random.default_rng(self.seed)
        angle = 2 * np.pi * (np.arange(WAVES) + dice.random(WAVES)) / WAVES
        phase = 2 * np.pi * dice.random(WAVES)
        k = self.rician_k
        steady = 1.0 if math.isinf(k) else math.sqrt(k / (k + 1))
        scattered = 0.0 if math.isinf(k) else math.sqrt(1 / (k + 1))
        omega = 2 * np.pi * self.doppler_hz * np.cos(angle)
        weight = np.exp(1j * phase) * scattered / math.sqrt(WAVES)
        direct = 2 * math.pi * self.doppler_hz * math.cos(2 * math.pi * dice.random())
        return omega, phase, weight, steady, direct, 2 * math.pi * dice.random()

    def at(self, time_s: NDArray[np.float64]) -> Voltage:
        """The complex voltage at each instant."""
        omega, _, weight, steady, direct, phase = self._waves
        voltage: Voltage = np.asarray(steady * np.exp(1j * (direct * time_s + phase)))
        if weight.any():
            voltage = voltage + np.exp(1j * np.multiply.outer(time_s, omega)) @ weight
        return voltage
