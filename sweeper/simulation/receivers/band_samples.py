"""What a receiver of samples hears around its centre: 8-bit pairs, following dial, gain and relays.

The same watts as behind the simulated meter (`World.means`), over the whole sampled width: noise of that density, and
every carrier that stands there with its fading; then what a converter adds: its steps, its ends, a line at the centre
and an image of everything on the other side of it.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.signal import oaconvolve

from sweeper.clock import Clock
from sweeper.simulation.receivers.device_waves import DeviceWaves
from sweeper.simulation.world.bench import Bench
from sweeper.simulation.world.town import Carrier
from sweeper.simulation.world.world import Listening, Means, World

Samples = NDArray[np.complex64]
Bytes = NDArray[np.uint8]
TAPS = 64
FLAT = 1.03
"""Noise that varies by less over the width is drawn white."""
FULL_SCALE_DBM = 0.0
"""Power at the socket that fills the converter at a gain of 0 dB."""
MOST_WAVES = 64
"""Carriers that are kept as waves, of a fiftieth of a second each."""


@dataclass(frozen=True)
class Converter:
    """What it adds: `centre`, a steady voltage of full scale; `image`, in voltage, of everything mirrored."""

    centre: float = 0.01
    image: float = 0.005


@dataclass(frozen=True)
class Tuned:
    """How the device stands; `gain_db` None while its gain control is on."""

    centre_hz: int = 100_000_000
    rate_hz: int = 2_048_000
    gain_db: float | None = None


class BandSamples:
    """The samples of a bench's receiver. `tuned` and `converter` may be changed between two calls."""

    def __init__(self, world: World, bench: Bench, clock: Clock) -> None:
        self.tuned, self.converter = Tuned(), Converter()
        self._world, self._bench, self._clock = world, bench, clock
        self._dice = np.random.default_rng([world.scenario.seed, 41])
        self._devices = DeviceWaves(world.scenario.seed, world.scenario.sky.longitude_deg)
        self._at = 0
        self._waves: dict[tuple[float, int], Samples] = {}
        self._standing: tuple[object, Samples | float, tuple[tuple[float, Carrier], ...]] | None = None

    def next(self, count: int) -> Bytes:
        """The next `count` samples as pairs of bytes, shape (2 · count,)."""
        tuned = self.tuned
        now_s = self._clock.now().timestamp()
        full_scale_w = 10 ** ((FULL_SCALE_DBM - (20.0 if tuned.gain_db is None else tuned.gain_db)) / 10 - 3)
        shape, carriers = self._means(now_s)
        band = self._noise(count, shape, full_scale_w)
        for watts, carrier in carriers:
            volts = math.sqrt(watts * carrier.fading(self._world.scenario.seed, now_s) / full_scale_w)
            away_hz = carrier.hz - tuned.centre_hz
            begun = np.exp(2j * np.pi * (away_hz * self._at / tuned.rate_hz % 1.0))
            band += self._wave(away_hz, tuned.rate_hz, count) * np.complex64(volts * begun)
        if self._world.devices:
            band += self._of_devices(count, now_s, full_scale_w)
        self._at += count
        return self._converted(band)

    def _wave(self, away_hz: float, rate_hz: int, count: int) -> Samples:
        """A turning wave of amplitude one, from phase 0 on; kept, since pieces of the same wave follow each other."""
        kept = self._waves.get((away_hz, rate_hz))
        if kept is None or len(kept) < count:
            turns = away_hz * np.arange(max(count, rate_hz // 50)) / rate_hz % 1.0
            kept = np.exp(2j * np.pi * turns).astype(np.complex64)
            if len(self._waves) >= MOST_WAVES:
                self._waves.clear()
            self._waves[away_hz, rate_hz] = kept
        return kept[:count]

    def _of_devices(self, count: int, now_s: float, full_scale_w: float) -> Samples:
        """What devices add; nothing while a relay moves, or while the load is there."""
        tuned = self.tuned
        source, route = self._bench.heard_through()
        if source != "antenna":
            return np.zeros(count, np.complex64)
        at = Listening(tuned.centre_hz, "AM", 1.0, source, route, self._bench.front_end)
        gain = self._world.signal_gain(now_s, at)
        wave = self._devices.of(self._world.devices, self._at, count, tuned.centre_hz, tuned.rate_hz, now_s)
        wave *= np.float32(math.sqrt(gain / full_scale_w))
        return wave

    def _means(self, now_s: float) -> tuple["Samples | float", tuple[tuple[float, Carrier], ...]]:
        """Watts a sample of noise (or the taps that shape it), and the carriers with their watts; of this minute."""
        tuned = self.tuned
        source, route = self._bench.heard_through()
        key = (tuned.centre_hz, tuned.rate_hz, source, route, int(now_s // 60))
        if self._standing is None or self._standing[0] != key:
            steps = np.fft.fftfreq(TAPS, 1.0 / tuned.rate_hz)
            places = np.maximum(tuned.centre_hz + steps, 10_000.0)
            watts = np.array([self._at_hz(now_s, hz, source, route).noise_w for hz in places]) * tuned.rate_hz
            carriers = tuple(
                found
                for carrier in self._world.scenario.carriers
                if abs(carrier.hz - tuned.centre_hz) < 0.5 * tuned.rate_hz
                for found in self._at_hz(now_s, carrier.hz, source, route).carriers
                if found[1] is carrier
            )
            shape: Samples | float = float(watts.mean())
            if watts.max() > FLAT * watts.min():
                shape = np.fft.fftshift(np.fft.ifft(np.sqrt(watts))).astype(np.complex64)
            self._standing = (key, shape, carriers)
        return self._standing[1], self._standing[2]

    def _at_hz(self, now_s: float, hz: float, source: str, route: str) -> Means:
        """Means of one hertz there."""
        return self._world.means(now_s, Listening(round(hz), "AM", 1.0, source, route, self._bench.front_end))

    def _noise(self, count: int, shape: "Samples | float", full_scale_w: float) -> Samples:
        more = 0 if isinstance(shape, float) else TAPS - 1
        pairs = self._dice.standard_normal(2 * (count + more), dtype=np.float32)
        white = pairs.view(np.complex64)
        if isinstance(shape, float):
            white *= np.float32(math.sqrt(shape / 2.0 / full_scale_w))
            return np.asarray(white)
        taps = shape * np.float32(math.sqrt(0.5 / full_scale_w))
        return np.asarray(oaconvolve(white, taps, mode="valid"), np.complex64)

    def _converted(self, band: Samples) -> Bytes:
        converter = self.converter
        if converter.image:
            band = band + np.float32(converter.image) * np.conj(band)
        parts = (band + np.float32(converter.centre)).view(np.float32)
        parts *= np.float32(127.5)
        parts += np.float32(127.5)
        np.rint(parts, out=parts)
        return np.clip(parts, 0.0, 255.0, out=parts).astype(np.uint8)
