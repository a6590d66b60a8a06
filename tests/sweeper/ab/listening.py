"""A small simulation of its own for the tests of spectra, ab and recordings: audio and samples, switched in and out.

Time domain only; nothing in here knows of spectra. Fading: sum of sinusoids with random angles of arrival (Clarke's
model) beside a steady part (Rician K).
"""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass
class Scene:
    """`snr_db` of each carrier in 2.4 kHz, stage out; `noise_db`, `gain_db`: what the stage does to each."""

    seconds: float = 120.0
    rate_hz: int = 8000
    noise_db: float = 10.0
    gain_db: float = 12.0
    snr_db: tuple[float, ...] = (20.0,)
    hz: tuple[float, ...] = (1000.0,)
    doppler_hz: float = 0.15
    rician_db: float = 3.0
    every_s: float = 5.0
    jitter_s: float = 0.0
    from_s: float = 5.0
    agc_s: float | None = None
    filter_hz: tuple[float, float] = (300.0, 2700.0)
    level: float = 0.002
    switching: bool = True
    extra: tuple[str, ...] = field(default=())


def fading(
    rng: np.random.Generator, seconds: float, doppler_hz: float, rician_db: float, every_s: float = 0.02
) -> Floats:
    """Complex envelope of unit mean power, one value each `every_s`."""
    t = np.arange(int(seconds / every_s) + 2) * every_s
    k = 10 ** (rician_db / 10)
    angles, phases = rng.uniform(0, 2 * np.pi, 24), rng.uniform(0, 2 * np.pi, 24)
    scattered = np.exp(1j * (2 * np.pi * doppler_hz * np.cos(angles)[:, None] * t + phases[:, None])).sum(
        0
    ) / np.sqrt(24)
    steady = np.exp(
        1j * (2 * np.pi * 0.7 * doppler_hz * np.cos(rng.uniform(0, 6.28)) * t + rng.uniform(0, 6.28))
    )
    return np.sqrt(k / (k + 1)) * steady + np.sqrt(1 / (k + 1)) * scattered


def route(rng: np.random.Generator, scene: Scene) -> tuple[list[float], NDArray[np.bool_]]:
    """Times of the switches, and for each sample whether the stage is in; it begins with it out."""
    times, at = [], scene.from_s
    while at < scene.seconds:
        times.append(at + rng.uniform(-scene.jitter_s, scene.jitter_s))
        at += scene.every_s
    t = np.arange(int(scene.seconds * scene.rate_hz)) / scene.rate_hz
    inside = np.searchsorted(times, t, side="right") % 2 == 1
    return times, inside if scene.switching else np.zeros(len(t), np.bool_)


def audio(scene: Scene, seed: int) -> tuple[Floats, list[float]]:
    """Real audio of full scale 1, and the times of the switches."""
    rng = np.random.default_rng(seed)
    times, inside = route(rng, scene)
    n = len(inside)
    t = np.arange(n) / scene.rate_hz
    signal = np.zeros(n)
    # noise of unit power in 2.4 kHz
    for hz, snr_db in zip(scene.hz, scene.snr_db, strict=True):
        h = fading(rng, scene.seconds, scene.doppler_hz, scene.rician_db)
        grid = np.arange(len(h)) * 0.02
        envelope = np.interp(t, grid, h.real) + 1j * np.interp(t, grid, h.imag)
        signal += np.sqrt(2) * 10 ** (snr_db / 20) * np.real(envelope * np.exp(2j * np.pi * hz * t))
    wide = rng.standard_normal(n) * np.sqrt(scene.rate_hz / 2 / 2400.0)
    noise = _filtered(wide, scene)
    g = np.where(inside, 10 ** (scene.gain_db / 20), 1.0)
    d = np.where(inside, 10 ** (scene.noise_db / 20), 1.0)
    heard = g * signal + d * noise
    if scene.agc_s is not None:
        heard = _agc(heard, scene)
    heard = scene.level * heard + 1e-5 * rng.standard_normal(n)
    return heard, times


def samples(scene: Scene, seed: int) -> tuple[NDArray[np.complex128], list[float]]:
    """Complex samples; `hz` are offsets from the centre."""
    rng = np.random.default_rng(seed)
    times, inside = route(rng, scene)
    n = len(inside)
    t = np.arange(n) / scene.rate_hz
    signal = np.zeros(n, complex)
    for nth, (hz, snr_db) in enumerate(zip(scene.hz, scene.snr_db, strict=True)):
        h = fading(rng, scene.seconds, scene.doppler_hz, scene.rician_db)
        grid = np.arange(len(h)) * 0.02
        envelope = np.interp(t, grid, h.real) + 1j * np.interp(t, grid, h.imag)
        if nth % 3 == 2:
            keyed = np.repeat(rng.random(n // 800 + 1) < 0.5, 800)[:n]
            envelope = envelope * np.convolve(keyed, np.hanning(100) / 50, "same")
        signal += 10 ** (snr_db / 20) * envelope * np.exp(2j * np.pi * hz * t)
    noise = (rng.standard_normal(n) + 1j * rng.standard_normal(n)) * np.sqrt(scene.rate_hz / 2400.0 / 2)
    g = np.where(inside, 10 ** (scene.gain_db / 20), 1.0)
    d = np.where(inside, 10 ** (scene.noise_db / 20), 1.0)
    return scene.level * (g * signal + d * noise), times


def _filtered(noise: Floats, scene: Scene) -> Floats:
    lines = np.fft.rfft(noise)
    hz = np.fft.rfftfreq(len(noise), 1 / scene.rate_hz)
    low, high = scene.filter_hz
    shape = 1 / (1 + np.exp(-(hz - low) / 15)) / (1 + np.exp((hz - high) / 15))
    return np.fft.irfft(lines * shape * (1 + 0.05 * np.sin(hz / 150)), len(noise))


def _agc(heard: Floats, scene: Scene) -> Floats:
    """Instant attack, exponential decay in dB over `agc_s`, holding the peaks of 10 ms at 30."""
    step = scene.rate_hz // 100
    peaks = np.abs(heard[: len(heard) // step * step]).reshape(-1, step).max(1)
    held, gains, fall = 1e-9, np.empty(len(peaks)), np.exp(-0.01 / (scene.agc_s or 1.0))
    for i, peak in enumerate(peaks):
        held = max(peak, held * fall)
        gains[i] = 30.0 / held
    return heard * np.interp(np.arange(len(heard)), (np.arange(len(peaks)) + 0.5) * step, gains)
