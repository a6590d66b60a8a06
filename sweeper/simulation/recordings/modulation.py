"""What transmitters send, as complex voltage round their own frequency with mean square 1 while they send.

Speech is made of noise with the long-term spectrum of a voice, syllables at some 4 Hz and pauses between phrases, and
goes through a transmitter that bends at its peaks, so that it has skirts beside its channel. Keying comes with the
rise time of a transmitter, data with the pulse shapes of the books. Endless, in blocks of any length.
"""

from collections.abc import Callable, Iterator
from functools import lru_cache
from itertools import islice

import numpy as np
from numpy.typing import NDArray
from scipy.signal import firwin, oaconvolve

from sweeper.simulation.recordings.planted import Modulation

Voltage = NDArray[np.complexfloating]
Dice = np.random.Generator
WORDS_PER_MINUTE = 18
TAPS = 255
SPEECH_HZ = (300.0, 500.0, 1000.0, 2000.0, 2700.0)
SPEECH_DB = (-6.0, 0.0, -6.0, -12.0, -16.0)
"""The long-term spectrum of speech falls by some 6 dB an octave above 500 Hz; from memory."""


def modulation(manner: Modulation, dice: Dice, rate_hz: int, block: int) -> Iterator[Voltage]:
    """Blocks of one signal, `block` samples each at `rate_hz`; mean square 1 while it sends."""
    if manner == "carrier":
        raise ValueError("a carrier has no modulation")
    make, scale = _MAKERS[manner], _scale(manner, rate_hz)
    return (np.asarray(part * scale) for part in make(dice, rate_hz, block))


@lru_cache(maxsize=64)
def _scale(manner: Modulation, rate_hz: int) -> float:
    """What brings half a minute of it to mean square 1."""
    trial = islice(_MAKERS[manner](np.random.default_rng(5), rate_hz, rate_hz), 30)
    return float(1.0 / np.sqrt(np.mean([np.mean(np.abs(part) ** 2) for part in trial])))


def _voice(dice: Dice, rate_hz: int, block: int) -> Iterator[Voltage]:
    """Speech on the upper side band, through an amplifier that bends: skirts some 30 dB down."""
    for part in _speech(dice, rate_hz, block, one_sided=True):
        size = np.abs(part)
        yield np.asarray(part / np.sqrt(1.0 + (size / 2.5) ** 2))


def _am(dice: Dice, rate_hz: int, block: int) -> Iterator[Voltage]:
    """A carrier with speech on both sides, modulated to a third in the mean and never past full."""
    for part in _speech(dice, rate_hz, block, one_sided=False):
        yield 1.0 + 0.33 * np.clip(part.real, -2.9, 2.9) + 0j


def _speech(dice: Dice, rate_hz: int, block: int, one_sided: bool) -> Iterator[Voltage]:
    """Speech-like noise of mean square about 1 while the voice is on."""
    at_hz = np.fft.fftfreq(TAPS, 1 / rate_hz)
    curve = 10 ** (np.interp(np.abs(at_hz), SPEECH_HZ, SPEECH_DB) / 20)
    passed = (np.abs(at_hz) >= SPEECH_HZ[0]) & (np.abs(at_hz) <= SPEECH_HZ[-1])
    passed &= (at_hz > 0) | (not one_sided)
    taps = np.fft.fftshift(np.fft.ifft(curve * passed)) * np.blackman(TAPS)
    taps /= np.sqrt((np.abs(taps) ** 2).sum() * (2 if one_sided else 1))
    loudness = zip(_syllables(dice, rate_hz, block), _phrases(dice, rate_hz, block), strict=True)
    for part, (syllable, phrase) in zip(
        _filtered(taps, _white(dice, block, one_sided)), loudness, strict=True
    ):
        yield np.asarray(part * syllable * phrase)


def _white(dice: Dice, block: int, complex_too: bool) -> Iterator[Voltage]:
    while True:
        yield dice.standard_normal(block) + 1j * (dice.standard_normal(block) if complex_too else 0.0)


def _filtered(taps: NDArray[np.inexact], parts: Iterator[Voltage]) -> Iterator[Voltage]:
    """Each part through a filter that remembers the one before."""
    tail = np.zeros(taps.size - 1, complex)
    for part in parts:
        whole = oaconvolve(part, taps).astype(complex)
        whole[: tail.size] += tail
        tail = whole[part.size :].copy()
        yield whole[: part.size]


def _syllables(dice: Dice, rate_hz: int, block: int) -> Iterator[NDArray[np.float64]]:
    """Loudness that rises and falls by some 7 dB, one to six times a second."""
    rate = 2 * np.pi * dice.uniform(1.0, 6.0, 12)
    phase = 2 * np.pi * dice.random(12)
    step = max(1, rate_hz // 100)
    start = 0
    while True:
        nodes = np.arange(start, start + block + step, step)
        wave = np.cos(np.multiply.outer(nodes / rate_hz, rate) + phase).sum(-1) / np.sqrt(6)
        yield np.exp(0.8 * np.interp(np.arange(start, start + block), nodes, wave) - 0.64)
        start += block


def _phrases(dice: Dice, rate_hz: int, block: int) -> Iterator[NDArray[np.float64]]:
    """1 while a phrase lasts (two seconds in the mean), 0 in the pauses (half a second)."""
    waiting, talks = np.empty(0), True
    while True:
        while waiting.size < block:
            lasts = int(rate_hz * (dice.exponential(2.0 if talks else 0.5) + 0.05))
            waiting = np.concatenate([waiting, np.full(lasts, float(talks))])
            talks = not talks
        yield waiting[:block]
        waiting = waiting[block:]


def _keyed(dice: Dice, rate_hz: int, block: int) -> Iterator[Voltage]:
    """Dots and dashes by hand at 18 words a minute, rising and falling within 5 ms."""
    dot = 1.2 / WORDS_PER_MINUTE * rate_hz
    ramp = np.hanning(max(3, int(0.005 * rate_hz)) + 2)
    ramp /= ramp.sum()
    return _filtered(ramp, _keys(dice, dot, block))


def _keys(dice: Dice, dot: float, block: int) -> Iterator[Voltage]:
    waiting = np.empty(0)
    while True:
        while waiting.size < block:
            mark = dot * (1.0 if dice.random() < 0.55 else 3.0) * dice.uniform(0.9, 1.15)
            space = dot * float(dice.choice([1.0, 3.0, 7.0], p=[0.62, 0.3, 0.08])) * dice.uniform(0.9, 1.15)
            waiting = np.concatenate([waiting, np.ones(int(mark)), np.zeros(int(space))])
        yield waiting[:block].astype(complex)
        waiting = waiting[block:]


def _phase(dice: Dice, rate_hz: int, block: int) -> Iterator[Voltage]:
    """Two-phase keying, 31.25 baud; the amplitude follows a cosine through each change."""
    symbol = round(rate_hz / 31.25)
    rise = 0.5 - 0.5 * np.cos(np.pi * np.arange(symbol) / symbol)
    now, waiting = 1.0, np.empty(0)
    while True:
        while waiting.size < block:
            new = float(dice.choice([-1.0, 1.0]))
            waiting = np.concatenate([waiting, now + (new - now) * rise])
            now = new
        yield waiting[:block].astype(complex)
        waiting = waiting[block:]


def _shift(dice: Dice, rate_hz: int, block: int) -> Iterator[Voltage]:
    """Frequency-shift keying, 50 baud, 170 Hz from mark to space, its phase running on."""
    symbol = round(rate_hz / 50)
    waiting, phase = np.empty(0), 0.0
    while True:
        while waiting.size < block:
            waiting = np.concatenate([waiting, np.repeat(dice.choice([-85.0, 85.0], 64), symbol)])
        run = phase + 2 * np.pi * np.cumsum(waiting[:block]) / rate_hz
        waiting, phase = waiting[block:], float(run[-1] % (2 * np.pi))
        yield np.exp(1j * run)


def _wide(dice: Dice, rate_hz: int, block: int) -> Iterator[Voltage]:
    """Data in noise-like form over 2.4 kHz: no line in it, and hard to tell from noise."""
    taps = firwin(511, 1200.0, fs=rate_hz)
    return _filtered(taps / np.sqrt((taps**2).sum() * 2), _white(dice, block, True))


_MAKERS: dict[str, Callable[[Dice, int, int], Iterator[Voltage]]] = {
    "voice": _voice,
    "am": _am,
    "keyed": _keyed,
    "phase": _phase,
    "shift": _shift,
    "wide": _wide,
}
