"""What the simulated receiver's loudspeaker socket gives: its pass band as voltage, following dial, mode and relays.

The same watts as behind its meter (`World.means`) become sound: white noise of that density and fading carriers through
the receiver's filter, its gain control, and what a card and a cable add. Full scale is a mean square of 1. The bench
is looked at once a block, so that a relay's step stands within a block of its moment.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.signal import firwin, oaconvolve

from sweeper.clock import Clock
from sweeper.simulation.recordings.gain_control import GainControl
from sweeper.simulation.recordings.modulation import modulation
from sweeper.simulation.recordings.planted import FAST, SLOW
from sweeper.simulation.world.bench import Bench
from sweeper.simulation.world.world import Listening, Means, World

Sound = NDArray[np.float32]
Band = NDArray[np.complex64]
TAPS = 1025
LOWEST_HZ = 300.0
"""Where the audio of a side band begins."""
PITCH_HZ = 600.0
"""Of a carrier on the dial in CW."""
THRESHOLD = 0.003
"""Amplitude, of full scale, from which the gain control holds the sound down."""
DRIFT_S = 300.0
MAINS_HZ = 50.0


@dataclass(frozen=True)
class Audio:
    """How the sound is. `full_scale_dbm`: power at the socket of the antenna that fills the card; smaller is louder.

    `card_dbfs_per_hz`: the card's own noise. `drift_db`: how far the receiver's gain wanders to both sides, within
    minutes. `clicks_per_s`: static. `speech_dbm`: somebody who talks on the frequency.
    `offset`: direct voltage.
    """

    full_scale_dbm: float = -40.0
    card_dbfs_per_hz: float = -150.0
    hum_dbfs: float = -math.inf
    drift_db: float = 0.0
    clicks_per_s: float = 0.0
    speech_dbm: float = -math.inf
    offset: float = 0.0


class Hearing:
    """The sound of a bench's receiver, block by block. `audio` may be changed while it sounds."""

    def __init__(self, world: World, bench: Bench, clock: Clock, rate_hz: int = 48_000, block: int = 480):
        self.audio = Audio()
        self.rate_hz, self.block = rate_hz, block
        self._world, self._bench, self._clock = world, bench, clock
        self._dice = np.random.default_rng([world.scenario.seed, 31])
        self._tail = np.zeros(TAPS - 1, np.complex64)
        self._taps: dict[tuple[str, int], Band] = {}
        self._phases: dict[float, float] = {}
        self._means: tuple[object, Means] | None = None
        self._gain_control: tuple[str, GainControl] | None = None
        self._speech = modulation("voice", np.random.default_rng([world.scenario.seed, 32]), rate_hz, block)
        self._blocks = 0

    def next(self) -> Sound:
        """The next block of sound, shape (block,), held to full scale."""
        bench, audio = self._bench, self.audio
        mode, width_hz = bench.mode, bench.bandwidth_hz
        now_s = self._clock.now().timestamp()
        source, route = bench.heard_through()
        means = self._standing(now_s, source, route)
        full_scale_w = 10 ** (audio.full_scale_dbm / 10 - 3)
        band = self._white() * np.float32(math.sqrt(means.noise_w / width_hz / full_scale_w * self.rate_hz))
        for watts, carrier in means.carriers:
            volts = math.sqrt(watts * carrier.fading(self._world.scenario.seed, now_s) / full_scale_w)
            band += np.complex64(volts) * self._wave(carrier.hz)
        self._on_the_antenna(band, source, route, means)
        heard = self._detected(self._filtered(band, mode, width_hz), mode)
        self._blocks += 1
        return self._of_the_card(heard, now_s)

    def _standing(self, now_s: float, source: str, route: str) -> Means:
        bench = self._bench
        at = Listening(bench.hz, bench.mode, bench.bandwidth_hz, source, route, bench.front_end)
        key = (at, int(now_s // 60))
        if self._means is None or self._means[0] != key:
            self._means = (key, self._world.means(now_s, at))
        return self._means[1]

    def _white(self) -> Band:
        """Complex white noise of mean square 1."""
        pairs = self._dice.standard_normal(2 * self.block, dtype=np.float32) * np.float32(math.sqrt(0.5))
        return np.asarray(pairs.view(np.complex64))

    def _wave(self, hz: float) -> Band:
        """A carrier at the frequency where the dial puts it, its phase running on."""
        turn = 2 * math.pi * (hz - self._bench.hz) / self.rate_hz
        phase = self._phases.get(hz, 0.0)
        self._phases[hz] = (phase + turn * self.block) % (2 * math.pi)
        return np.asarray(np.exp(1j * (phase + turn * np.arange(self.block))), np.complex64)

    def _on_the_antenna(self, band: Band, source: str, route: str, means: Means) -> None:
        """Somebody who talks, and static; both come through the relays."""
        audio = self.audio
        if source != "antenna":
            return
        if audio.speech_dbm > -math.inf:
            gain = 10.0 if route == "stage" else 1.0
            band += next(self._speech).astype(np.complex64) * np.float32(
                10 ** ((audio.speech_dbm - audio.full_scale_dbm) / 20) * math.sqrt(gain)
            )
        clicks = int(self._dice.poisson(audio.clicks_per_s * self.block / self.rate_hz))
        if clicks:
            volts = math.sqrt(means.noise_w * 10 ** (3 - audio.full_scale_dbm / 10))
            band[self._dice.integers(0, self.block, clicks)] += np.complex64(
                30.0 * volts * self.rate_hz / self._bench.bandwidth_hz
            )

    def _filtered(self, band: Band, mode: str, width_hz: int) -> Band:
        taps = self._taps.get((mode, width_hz))
        if taps is None:
            taps = self._taps[mode, width_hz] = _filter(mode, width_hz, self.rate_hz)
        whole = oaconvolve(band, taps).astype(np.complex64)
        whole[: TAPS - 1] += self._tail
        self._tail = whole[self.block :]
        passed = whole[: self.block]
        agc = self._bench.agc
        if agc == "off":
            self._gain_control = None
            return passed
        if self._gain_control is None or self._gain_control[0] != agc:
            control = GainControl(SLOW if agc == "slow" else FAST, self.rate_hz, THRESHOLD)
            self._gain_control = (agc, control)
        return self._gain_control[1].take(passed)

    def _detected(self, band: Band, mode: str) -> Sound:
        if mode == "AM":
            size = np.abs(band)
            return np.asarray(size - size.mean(), np.float32)
        if mode.startswith("CW"):
            at = self._blocks * self.block + np.arange(self.block)
            band = band * np.exp(2j * np.pi * PITCH_HZ / self.rate_hz * at)
        return np.asarray(band.real * np.float32(math.sqrt(2)), np.float32)

    def _of_the_card(self, heard: Sound, now_s: float) -> Sound:
        audio = self.audio
        if audio.drift_db:
            heard = heard * np.float32(10 ** (audio.drift_db * math.sin(2 * math.pi * now_s / DRIFT_S) / 20))
        card = math.sqrt(10 ** (audio.card_dbfs_per_hz / 10) * self.rate_hz / 2)
        heard = heard + np.float32(card) * self._dice.standard_normal(self.block, dtype=np.float32)
        if audio.hum_dbfs > -math.inf:
            at_s = ((self._blocks - 1) * self.block + np.arange(self.block)) / self.rate_hz
            hum = 0.8 * np.sin(2 * np.pi * MAINS_HZ * at_s) + 1.17 * np.sin(4 * np.pi * MAINS_HZ * at_s)
            heard = heard + hum.astype(np.float32) * np.float32(10 ** (audio.hum_dbfs / 20))
        return np.asarray(np.clip(heard + np.float32(audio.offset), -1.0, 1.0 - 1.0 / 32768), np.float32)


def _filter(mode: str, width_hz: int, rate_hz: int) -> Band:
    """The pass band of a mode, linear in phase; zero hertz is the dial."""
    low, high = {
        "USB": (LOWEST_HZ, LOWEST_HZ + width_hz),
        "LSB": (-LOWEST_HZ - width_hz, -LOWEST_HZ),
    }.get(mode, (-width_hz / 2, width_hz / 2))
    taps = firwin(TAPS, (high - low) / 2, fs=rate_hz, window=("kaiser", 7.0))
    at = np.arange(TAPS) - TAPS // 2
    return np.asarray(taps * np.exp(2j * np.pi * (low + high) / 2 / rate_hz * at), np.complex64)
