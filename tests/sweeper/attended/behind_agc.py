"""Two minutes of a receiver's sound behind a fast gain control, and somebody at the switch who presses late. Drawn at
once, without a clock: a draw costs about a second.
"""

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.signal import hilbert

from drivers.contracts import Block
from sweeper.attended.by_hand import ByHand
from sweeper.attended.heard import Heard
from sweeper.attended.stays import Stay
from sweeper.simulation.recordings.gain_control import GainControl
from sweeper.simulation.recordings.planted import FAST

RATE_HZ, SECONDS = 8000, 120
EVERY_S = 5.2
EARLY_S, LATE_S = -0.25, 0.9
"""From flip to press."""


@dataclass(frozen=True, eq=False)
class Drawn:
    """What was heard and pressed, and the truth: the S/N change in dB, and the instant of each flip."""

    heard: Heard
    presses_s: NDArray[np.float64]
    change_db: float
    flips_s: NDArray[np.float64]

    def stays(self, until_s: float = SECONDS) -> list[Stay]:
        """What is believed by that moment, of what was heard and pressed by then."""
        hand = ByHand(0.0)
        for press_s in self.presses_s[self.presses_s < until_s].tolist():
            hand.pressed("switched", press_s)
        found = hand.stays(self.heard.levels().between(0.0, until_s)).each
        return [replace(stay, until_s=min(stay.until_s, until_s)) for stay in found]


def drawn(seed: int, gain_db: tuple[float, float] = (8.0, 20.0)) -> Drawn:
    """A carrier 20 dB over the noise of 2.4 kHz with the stage out, which fades (Clarke, 0.15 Hz, Rice K of 3 dB)."""
    dice = np.random.default_rng([seed, 1818])
    change_db, stage_db = float(dice.uniform(-2.0, 7.0)), float(dice.uniform(*gain_db))
    at_s = np.arange(SECONDS * RATE_HZ) / RATE_HZ
    flips_s = np.cumsum(EVERY_S * dice.uniform(0.75, 1.25, 40))
    flips_s = flips_s[flips_s < SECONDS - 2.0]
    within = np.searchsorted(flips_s, at_s) % 2 == 1
    coarse_s = np.arange(0.0, SECONDS + 0.1, 0.05)
    way, turn = np.cos(2 * np.pi * dice.random((24, 1))), dice.random((24, 1))
    waves = np.exp(2j * np.pi * (0.15 * way * coarse_s + turn)).sum(axis=0) / math.sqrt(24 * 3)
    faded = np.abs(waves + math.sqrt(2 / 3)) * math.sqrt(2 * 100.0)
    hz = np.fft.rfftfreq(len(at_s), 1 / RATE_HZ)
    noise = np.fft.rfft(dice.normal(size=len(at_s))) * ((hz >= 300.0) & (hz <= 2700.0))
    hiss = np.fft.irfft(noise, len(at_s)) * math.sqrt(RATE_HZ / 2 / 2400.0)
    tone = np.interp(at_s, coarse_s, faded) * np.cos(2 * np.pi * 1000.0 * at_s)
    signal = tone * np.where(within, 10 ** (stage_db / 20), 1.0)
    sound = signal + hiss * np.where(within, 10 ** ((stage_db - change_db) / 20), 1.0)
    control = GainControl(FAST, RATE_HZ, 1.0)
    played = control.take(hilbert(sound).astype(np.complex64)).real * 0.01
    heard = Heard()
    played += (1e-6 * dice.normal(size=len(played))).astype(np.float32)
    for second in range(SECONDS):
        samples = played[second * RATE_HZ : (second + 1) * RATE_HZ].astype(np.float32)
        heard.take(Block(samples, RATE_HZ, (second, second + 1.0), (0,) if not second else ()))
    presses_s = flips_s + dice.uniform(EARLY_S, LATE_S, len(flips_s))
    return Drawn(heard, presses_s, change_db, flips_s)
