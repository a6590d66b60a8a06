"""Nights of one band at one hour, drawn: noise from outside, a carrier that fades, and how each meter reads them.

Each pass is drawn as audio of a receiver with noise, a carrier (20 dB over the noise of 2.4 kHz, Clarke at 0.15 Hz,
Rice K of 3 dB) and external noise that differs from night to night. The same audio is read with the gain control off,
as levels, and through a fast gain control, as ratios, by what a pass calls. Beside them two perfect meters read the
true powers of the same stays, as levels and as ratios, with no scatter but that of the noise in 2.4 kHz.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta

import numpy as np
from numpy.typing import NDArray
from scipy.signal import hilbert

from drivers.contracts import Block
from sweeper.simulation.recordings.gain_control import GainControl
from sweeper.simulation.recordings.planted import FAST, Chain, over_noise
from sweeper.spectra.axis import axis_of
from sweeper.spectra.calm import calm_spectrum
from sweeper.spectra.gain_out import gain_out
from sweeper.spectra.rows import CELL_HZ, NothingHeard, learn, ratios, rows
from sweeper.words import (
    ANTENNA_BYPASS,
    ANTENNA_STAGE,
    LOAD_BYPASS,
    LOAD_STAGE,
    Channel,
    Labelled,
    Reading,
)

RATE_HZ, DIAL_HZ, STAY_S, SETTLED_S = 12_000, 9_999_000, 1.5, 0.4
COARSE_HZ = 200
"""Of the fade alone, where nothing is heard."""
ORDER = (LOAD_BYPASS, ANTENNA_BYPASS, ANTENNA_STAGE, ANTENNA_STAGE, ANTENNA_BYPASS, LOAD_STAGE)
NOISE = Channel("31 m", DIAL_HZ + 1000, "noise", 2400)
CARRIER = replace(NOISE, purpose="carrier")
NIGHTS, PASSES, HOUR = 5, 4, 20
NIGHT_SD_DB = 2.0
CHAINS = (
    Chain(external=12.0, receiver=60.0, stage=2.3, gain=33.0),  # the stage helps by some 7 dB
    Chain(external=60.0, receiver=28.0, stage=2.3, gain=33.0),  # by 1.6 dB
    Chain(external=300.0, receiver=28.0, stage=2.3, gain=33.0),  # by 0.4 dB
    Chain(external=60.0, receiver=10.0, stage=30.0, gain=10.0),  # it costs 1.3 dB
)
K, DOPPLER_HZ, SNR_DB = 10**0.3, 0.15, 20.0
FULL_SCALE = 1e-5
"""Volts of full scale of kT0·Hz at the receiver's input, squared."""
LEVELS, RATIOS = "perfect meter", "perfect ratios"
OFF, ON = "sound, gain control off", "sound, fast gain control"
BEGIN = date(2026, 11, 1)


def change_db(chain: Chain, external: float) -> float:
    """What the stage brings at this noise from outside."""
    noise = [chain.noise(path, external) for path in (ANTENNA_BYPASS, ANTENNA_STAGE)]
    return 10 * math.log10(chain.gain * noise[0] / noise[1])


def usual_db(chain: Chain) -> float:
    """The mean of that over all nights that could be."""
    at = np.linspace(-4, 4, 801)
    weight = np.exp(-(at**2) / 2)
    each = [change_db(chain, chain.external * 10 ** (NIGHT_SD_DB * x / 10)) for x in at.tolist()]
    return float(weight @ each / weight.sum())


@dataclass(frozen=True)
class Pass:
    """One pass on the air: noise from outside and the carrier's fade in power, shape (samples,), mean 1."""

    chain: Chain
    carrier: float
    faded: NDArray[np.float64]
    rate_hz: int

    @staticmethod
    def drawn(chain: Chain, external: float, dice: np.random.Generator, rate_hz: int) -> "Pass":
        """The carrier is as strong as on an ordinary night, and fades as Clarke and Rice have it."""
        at_s = np.arange(round(STAY_S * len(ORDER) * rate_hz)) / rate_hz
        coarse_s = np.arange(0.0, at_s[-1] + 0.05, 0.05)
        way = np.cos(2 * np.pi * dice.random(32))[:, None]
        turn = dice.random(32)[:, None]
        waves = np.exp(2j * np.pi * (DOPPLER_HZ * way * coarse_s + turn)).sum(axis=0) / math.sqrt(32)
        field = math.sqrt(K / (K + 1)) * np.exp(2j * np.pi * dice.random()) + waves / math.sqrt(K + 1)
        faded = np.interp(at_s, coarse_s, np.abs(field) ** 2)
        return Pass(replace(chain, external=external), over_noise(chain, SNR_DB), faded, rate_hz)

    def stay(self, nth: int) -> NDArray[np.float64]:
        """Its fade within one stay, what settles included."""
        count = round(STAY_S * self.rate_hz)
        return self.faded[nth * count : (nth + 1) * count]

    def power(self, nth: int, from_s: float, until_s: float) -> float:
        """Of the carrier in a stay, mean over a part of what counts of it."""
        path = ORDER[nth]
        if path.source != "antenna":
            return 0.0
        first, last = (round((SETTLED_S + each) * self.rate_hz) for each in (from_s, until_s))
        gain = self.chain.gain if path.route == "stage" else 1.0
        return self.carrier * gain * float(self.stay(nth)[first:last].mean())

    def sound(self, dice: np.random.Generator) -> NDArray[np.float32]:
        """What the receiver gives with its gain held: noise and carrier through a filter, the card's noise beside."""
        parts = []
        for nth, path in enumerate(ORDER):
            faded = self.stay(nth)
            noise = math.sqrt(self.chain.noise(path) * RATE_HZ / 2) * dice.normal(size=len(faded))
            hz = np.fft.rfftfreq(len(faded), 1 / RATE_HZ)
            band = np.fft.rfft(noise) * ((hz >= 300.0) & (hz <= 2700.0))
            power = self.carrier * faded if path.source == "antenna" else 0.0 * faded
            power *= self.chain.gain if path.route == "stage" else 1.0
            at_s = (nth * len(faded) + np.arange(len(faded))) / RATE_HZ
            parts.append(np.fft.irfft(band, len(faded)) + np.sqrt(2 * power) * np.cos(2000 * np.pi * at_s))
        whole = np.concatenate(parts) * FULL_SCALE
        return (whole + 1e-6 * dice.normal(size=len(whole))).astype(np.float32)


def by_sound(sound: NDArray[np.float32], number: int, began: datetime, held: bool) -> Iterator[Reading]:
    """The rows of a pass, as the engine makes them."""
    axis = axis_of(RATE_HZ, real=True, centre_hz=DIAL_HZ, band_hz=(0.0, 5000.0))
    band_hz = (200.0, 3000.0)
    sequence = []
    for nth, path in enumerate(ORDER):
        first = round((nth * STAY_S + SETTLED_S) * RATE_HZ)
        block = Block(sound[first : first + RATE_HZ], RATE_HZ, (0.0, 1.0))
        from_s = began.timestamp() + nth * STAY_S + SETTLED_S
        made = [(0.0, 1.0, calm_spectrum(block, axis, band_hz))] if held else gain_out(block, axis, band_hz)
        sequence += [Labelled(from_s + a, from_s + z, path, DIAL_HZ, one) for a, z, one in made]
    for channel in (NOISE, CARRIER) if held else (CARRIER,):
        try:
            learned = learn(channel, number, sequence, 3000.0)
        except NothingHeard:
            continue
        for one in sequence:
            yield from rows(one, learned) if held else ratios(one, learned, CARRIER.hz)


def by_meter(one: Pass, number: int, began: datetime, dice: np.random.Generator) -> Iterator[Reading]:
    """The true powers of the stays, the noise with the scatter of 2.4 kHz in a second."""
    for nth, path in enumerate(ORDER):
        when = began + timedelta(seconds=nth * STAY_S + SETTLED_S + 0.5)
        noise = one.chain.noise(path) * CELL_HZ
        signal = one.power(nth, 0.0, 1.0)
        for channel, power in ((NOISE, noise * dice.gamma(2400.0) / 2400.0), (CARRIER, signal + noise)):
            here = replace(channel, bandwidth_hz=CELL_HZ)
            yield Reading(when, number, here, path, 10 * math.log10(power) - 100.0, None)


def by_ratio(one: Pass, number: int, began: datetime, dice: np.random.Generator) -> Iterator[Reading]:
    """The true ratios of quarters of a second on the antenna, the noise with the scatter of 2.4 kHz meanwhile."""
    here = replace(CARRIER, bandwidth_hz=CELL_HZ, purpose="ratio")
    for nth, path in enumerate(ORDER):
        noise = one.chain.noise(path) * CELL_HZ
        for from_s in (0.0, 0.25, 0.5, 0.75) if path.source == "antenna" else ():
            when = began + timedelta(seconds=nth * STAY_S + SETTLED_S + from_s + 0.125)
            over = 1.0 + one.power(nth, from_s, from_s + 0.25) / noise
            yield Reading(when, number, here, path, 10 * math.log10(over / (dice.gamma(600.0) / 600.0)), None)


def campaign(chain: Chain, seed: int, with_sound: bool) -> tuple[list[float], dict[str, list[Reading]]]:
    """The noise from outside of each night, and the readings by every way."""
    dice, shaken = np.random.default_rng([seed, 18]), np.random.default_rng([seed, 19])
    outside = (chain.external * 10 ** (NIGHT_SD_DB / 10 * dice.normal(size=NIGHTS))).tolist()
    found: dict[str, list[Reading]] = {
        way: [] for way in (LEVELS, RATIOS, *((OFF, ON) if with_sound else ()))
    }
    for nth in range(NIGHTS * PASSES):
        night, of_night = divmod(nth, PASSES)
        began = datetime(BEGIN.year, BEGIN.month, BEGIN.day, HOUR, tzinfo=UTC)
        began += timedelta(days=night, minutes=15 * of_night)
        one = Pass.drawn(chain, outside[night], dice, RATE_HZ if with_sound else COARSE_HZ)
        found[LEVELS] += by_meter(one, nth + 1, began, shaken)
        found[RATIOS] += by_ratio(one, nth + 1, began, shaken)
        if with_sound:
            sound = one.sound(dice)
            loud = FULL_SCALE * math.sqrt(one.chain.noise(ANTENNA_BYPASS) * 2400.0)
            followed = GainControl(FAST, RATE_HZ, loud).take(hilbert(sound).astype(np.complex64)).real
            found[OFF] += by_sound(sound, nth + 1, began, held=True)
            found[ON] += by_sound(followed, nth + 1, began, held=False)
    return outside, found
