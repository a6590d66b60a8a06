"""What devices at the station add to samples of a band, as volts over time."""

import math

import numpy as np
from numpy.typing import NDArray
from scipy.signal import firwin, oaconvolve

from sweeper.simulation.world.devices import Buzz, Device, LineModem, SwitchedSupply, strength
from sweeper.simulation.world.hardware import BOLTZMANN_J_PER_K

Samples = NDArray[np.complex64]
STEEP_TAPS = 1023


class DeviceWaves:
    """Renders devices, each by dice of its own. `at` counts samples, so that phases run on between calls."""

    def __init__(self, seed: int, longitude_deg: float) -> None:
        self._seed, self._longitude_deg = seed, longitude_deg
        self._dice = np.random.default_rng([seed, 43])
        self._taps: dict[tuple[str, int, int], Samples] = {}
        self._phases: dict[tuple[str, int], float] = {}

    def of(
        self, devices: tuple[Device, ...], at: int, count: int, centre_hz: int, rate_hz: int, now_s: float
    ) -> Samples:
        """`count` samples whose mean square is watts at the antenna's terminals."""
        wave = np.zeros(count, np.complex64)
        time_s = (at + np.arange(count)) / rate_hz
        for device in devices:
            power = strength(device, self._seed, self._longitude_deg, now_s)
            low_hz, high_hz = device.reach_hz
            if power <= 0.0 or not low_hz < centre_hz + rate_hz / 2 or not high_hz > centre_hz - rate_hz / 2:
                continue
            if isinstance(device, Buzz):
                swing = math.sqrt(2.0) * np.abs(
                    np.cos(2 * np.pi * device.mains_at(self._seed, now_s) * time_s)
                )
                wave += self._white(count, power * device.kelvin * rate_hz) * swing.astype(np.float32)
            elif isinstance(device, LineModem):
                wave += self._between(device, power, count, centre_hz, rate_hz)
            else:
                self._lines(device, power, wave, centre_hz, rate_hz, now_s)
        return wave

    def _white(self, count: int, kelvin_hz: float) -> Samples:
        pairs = self._dice.standard_normal(2 * count, dtype=np.float32)
        pairs *= np.float32(math.sqrt(BOLTZMANN_J_PER_K * kelvin_hz / 2.0))
        return np.asarray(pairs.view(np.complex64))

    def _between(self, device: LineModem, power: float, count: int, centre_hz: int, rate_hz: int) -> Samples:
        low = max(device.low_hz - centre_hz, -0.49 * rate_hz)
        high = min(device.high_hz - centre_hz, 0.49 * rate_hz)
        if high - low < 0.01 * rate_hz:
            return np.zeros(count, np.complex64)
        key = (device.name, centre_hz, rate_hz)
        if key not in self._taps:
            steps = np.arange(STEEP_TAPS) - STEEP_TAPS // 2
            half = firwin(STEEP_TAPS, (high - low) / 2, fs=rate_hz)
            self._taps[key] = (half * np.exp(1j * np.pi * (low + high) / rate_hz * steps)).astype(
                np.complex64
            )
        white = self._white(count + STEEP_TAPS - 1, power * device.kelvin * rate_hz)
        return np.asarray(oaconvolve(white, self._taps[key], mode="valid"), np.complex64)

    def _lines(
        self, device: SwitchedSupply, power: float, wave: Samples, centre_hz: int, rate_hz: int, now_s: float
    ) -> None:
        every_hz = device.every_at(self._seed, now_s)
        volts = np.complex64(math.sqrt(device.watts() * power))
        first = math.ceil((centre_hz - 0.48 * rate_hz) / every_hz)
        last = math.floor((centre_hz + 0.48 * rate_hz) / every_hz)
        for nth in range(first, last + 1):
            turn = 2 * np.pi * (nth * every_hz - centre_hz) / rate_hz
            begin = self._phases.get((device.name, nth), 2 * np.pi * nth * 0.381966)
            wave += volts * np.exp(1j * (begin + turn * np.arange(len(wave)))).astype(np.complex64)
            self._phases[device.name, nth] = float((begin + turn * len(wave)) % (2 * np.pi))
