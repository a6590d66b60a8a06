"""What is planted in a recording, and the truth that follows from it alone.

Powers are in units of kT0 per hertz at the antenna terminals (T0 = 290 K), as in the chain of a receiver: `external`
is the antenna's noise factor, `receiver` and `stage` are noise factors, `gain` is a power ratio. Nothing here is
estimated; the numbers are worked out from what was put in.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from sweeper.simulation.recordings.switching import Stay
from sweeper.words import SignalPath

Modulation = Literal["carrier", "voice", "am", "keyed", "phase", "shift", "wide"]
"""A steady carrier; speech on one side band; speech with carrier and both; keying by hand; two-phase and
frequency-shift keying; a data signal as wide as speech."""


@dataclass(frozen=True)
class Chain:
    """Antenna, relays, stage and receiver."""

    external: float
    receiver: float
    stage: float
    gain: float
    external_wander_db: float = 0.0
    """Standard deviation of a slow wander of the external noise, and how slow (time constant)."""
    wander_s: float = 60.0
    intercept: float = math.inf
    """Third-order input intercept of the stage, as power in kT0·Hz: two equal signals of that power would make
    products as strong as themselves."""
    isolation: float = 0.0
    """What comes through from the antenna while the load is selected, as a power ratio."""

    def noise(self, path: SignalPath, external: float | None = None) -> float:
        """Density at the receiver's input through a path."""
        outside = self.external if external is None else external
        source = outside if path.source == "antenna" else 1.0 + self.isolation * outside
        amplified = self.gain * (source + self.stage - 1.0) if path.route == "stage" else source
        return amplified + self.receiver - 1.0


@dataclass(frozen=True)
class Signal:
    """Something on the air, `hz` away from the dial or the centre, `power` while it sends (kT0·Hz)."""

    hz: float
    power: float
    manner: Modulation = "carrier"
    doppler_hz: float = 0.15
    rician_k: float = math.inf
    drift_hz_per_s: float = 0.0
    from_s: float = 0.0
    to_s: float = math.inf
    duty: float = 1.0
    """Share of the time that a modulated signal sends, in overs of some ten seconds."""
    steady: bool = True
    """Whether it counts as a carrier in the truth."""
    fades_with: int | None = None
    """The number of the signal whose fading it shares; its own where left out."""
    slot: tuple[float, int] | None = None
    """(length in seconds, 0 or 1): sends in every second slot only, the even or the odd ones."""


@dataclass(frozen=True)
class Gaining:
    """An automatic gain control: it attacks and recovers with these time constants, above a threshold."""

    attack_s: float
    decay_s: float
    threshold_db: float = 0.0
    """Above this level over the bypass noise the output no longer follows the input."""
    slope: float = 0.05
    """Decibels more at the output for each more at the input."""


FAST = Gaining(0.002, 0.2)
SLOW = Gaining(0.005, 2.0)


@dataclass(frozen=True)
class Receiving:
    """What a receiver and its sound card or sampler do to what comes in. All but the gain control is the same on
    every path."""

    low_hz: float = 300.0
    """Pass band of the receiver's audio; of samples, the whole width is used."""
    high_hz: float = 2700.0
    ripple_db: float = 0.0
    """Peak of the pass band's waves."""
    tilt_db: float = 0.0
    """How much the upper end of the pass band lies over the lower one."""
    agc: Gaining | None = None
    noise_dbfs: float | None = None
    """The level of noise on the quieter route, rms over the whole pass band; left out: as loud as somebody sets it who
    looks at peaks."""
    drift_db: float = 0.0
    """A slow wander of the receiver's gain (standard deviation, over minutes)."""
    step_db: float = 0.0
    """A single step of the receiver's gain, halfway."""
    card_dbfs_per_hz: float = -150.0
    hum_dbfs: float = -math.inf
    """Mains hum behind the detector, 50 Hz with its harmonics."""
    birdies: tuple[tuple[float, float], ...] = ()
    """(hz, level over kT0·Hz at the input) of lines made in the receiver itself."""
    image_db: float = math.inf
    """Rejection of the mirror image of samples."""
    offset_dbfs: float = -math.inf
    """Direct voltage in samples."""
    swapped: bool = False
    """Whether the two channels of samples are exchanged, so that the band is the wrong way round."""


@dataclass(frozen=True)
class Mishaps:
    """What spoils a recording."""

    clicks_per_s: float = 0.0
    """Static: impulses at the antenna, each some 30 dB over the noise of the pass band."""
    switch_click: float = 0.0
    """Amplitude of the click at each change, of full scale."""
    switch_crackle: float = 0.0
    """Of full scale, rms: the noise that a worn switch or a thump in the chain makes as it is turned."""
    crackle_s: float = 0.1
    """In which that dies away to a third."""
    transit_s: float = 0.004
    """How long the relay (or the hand) is between the paths, with nothing connected."""
    lost_s: tuple[tuple[float, float], ...] = ()
    """(at, how long) of samples that are missing from the file, so that it jumps there."""
    zeroed_s: tuple[tuple[float, float], ...] = ()
    """(at, how long) of samples written as silence."""


@dataclass(frozen=True)
class Planted:
    """One recording: audio of a receiver (`kind` "audio") or samples of a band ("samples")."""

    kind: Literal["audio", "samples"]
    rate_hz: int
    seconds: float
    centre_hz: int
    """The dial of audio, the centre of samples."""
    stays: tuple[Stay, ...]
    chain: Chain
    signals: tuple[Signal, ...] = ()
    receiving: Receiving = field(default_factory=Receiving)
    mishaps: Mishaps = field(default_factory=Mishaps)
    mode: Literal["USB", "LSB", "AM"] = "USB"
    seed: int = 1

    @property
    def inner_hz(self) -> int:
        """The rate at which the band is made: all of samples; of audio, some 12 kHz that divide its rate."""
        if self.kind == "samples":
            return self.rate_hz
        return self.rate_hz // max(1, self.rate_hz // 11025)

    @property
    def sideband(self) -> int:
        """Which way audio counts from the dial."""
        return -1 if self.mode == "LSB" else 1

    def on_air_hz(self, signal: Signal) -> float:
        return self.centre_hz + (self.sideband if self.kind == "audio" else 1) * signal.hz

    def in_file_s(self, at_s: float) -> float:
        """Where an instant stands in the file, from which pieces may be missing."""
        return at_s - sum(min(max(at_s - start, 0.0), lasts) for start, lasts in self.mishaps.lost_s)

    def external(self, time_s: NDArray[np.float64]) -> NDArray[np.float64]:
        """The antenna's noise factor over time."""
        sd = self.chain.external_wander_db
        if not sd:
            return np.full(time_s.shape, self.chain.external)
        dice = np.random.default_rng([self.seed, 71])
        rate = np.abs(dice.standard_cauchy(24)).clip(0.02, 8.0) / self.chain.wander_s
        phase = 2 * np.pi * dice.random(24)
        waves = np.cos(np.multiply.outer(time_s, rate) + phase).sum(-1) / math.sqrt(12)
        return np.asarray(self.chain.external * 10 ** (sd * waves / 10))


def decibels(ratio: float) -> float:
    return 10 * math.log10(ratio)


def over_noise(chain: Chain, snr_db: float, bandwidth_hz: float = 2400.0) -> float:
    """The power of a signal that stands `snr_db` over the bypass noise of that bandwidth."""
    bypass = SignalPath("antenna", "bypass")
    return float(10 ** (snr_db / 10) * bandwidth_hz * chain.noise(bypass))


def intercept(chain: Chain, power: float, over_db: float, width_hz: float = 60.0) -> float:
    """The third-order intercept at which two signals of that power make products `over_db` over the stage's noise in
    `width_hz`: product = P³/IP²."""
    noise = chain.noise(SignalPath("antenna", "stage")) / chain.gain * width_hz
    return math.sqrt(power**3 / (noise * 10 ** (over_db / 10)))


def truth(planted: Planted) -> dict[str, object]:
    """The changes that were planted, dB: what an answer is compared with.

    Where the external noise wanders, its change is the mean over the time on the antenna.
    """
    chain = planted.chain
    time_s = np.arange(0.0, planted.seconds, 0.5)
    ratios, rises = [], []
    for outside in planted.external(time_s[_on_antenna(planted.stays, time_s)]).tolist():
        bypass = chain.noise(SignalPath("antenna", "bypass"), outside)
        ratios.append(decibels(chain.noise(SignalPath("antenna", "stage"), outside) / bypass))
        rises.append(decibels(bypass / chain.receiver))
    noise, gain = float(np.mean(ratios)), decibels(chain.gain)
    return {
        "format": "sweeper-planted-1",
        "kind": planted.kind,
        "seconds": planted.seconds,
        "hz": planted.centre_hz,
        "mode": planted.mode if planted.kind == "audio" else None,
        "gain_db": gain,
        "noise_change_db": noise,
        "snr_change_db": gain - noise,
        "noise_rise_db": float(np.mean(rises)),
        "overload": not math.isinf(chain.intercept),
        "agc": planted.receiving.agc is not None,
        "carriers": [
            {
                "hz": planted.on_air_hz(signal),
                "snr_db": decibels(signal.power / 2400 / chain.noise(SignalPath("antenna", "bypass"))),
            }
            for signal in planted.signals
            if signal.manner == "carrier" and signal.steady
        ],
        "switched": [
            {"at_s": planted.in_file_s(stay.at_s), "path": str(stay.path)} for stay in planted.stays
        ],
    }


def _on_antenna(stays: Sequence[Stay], time_s: NDArray[np.float64]) -> NDArray[np.bool_]:
    which = np.searchsorted([stay.at_s for stay in stays], time_s, side="right") - 1
    return np.array([stay.path.source == "antenna" for stay in stays])[which]
