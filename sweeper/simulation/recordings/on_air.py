"""The voltage of everything on the air at the antenna's terminals, block by block at the rate of the band."""

import math
from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray
from scipy import fft
from scipy.signal import firwin

from sweeper.simulation.recordings.modulation import Voltage, modulation
from sweeper.simulation.recordings.planted import Planted, Signal
from sweeper.simulation.world.fading import Fading

Band = NDArray[np.complex64]
OVER_S = 10.0
"""How long somebody talks who talks for a share of the time."""


def node_step(rate_hz: int) -> int:
    """Samples between two nodes of whatever changes slowly: the largest divisor of the rate that is 100 Hz or more."""
    return max(step for step in range(1, rate_hz // 100 + 1) if rate_hz % step == 0)


def _lagrange(step: int) -> NDArray[np.float64]:
    """Weights of six equidistant nodes for each sample between the third and the fourth."""
    at: NDArray[np.float64] = np.arange(step) / step + 2
    weights: NDArray[np.float64] = np.ones((step, 6))
    for n in range(6):
        for m in range(6):
            if m != n:
                weights[:, n] *= (at - m) / (n - m)
    return np.asarray(weights, np.float64)


class Slow:
    """Puts a slow voltage, known as a function of time, on every sample of a block of one second."""

    def __init__(self, rate_hz: int, start_s: float) -> None:
        self._step = node_step(rate_hz)
        self._weights = _lagrange(self._step)
        self._spacing_s = self._step / rate_hz
        self._nodes = rate_hz // self._step
        self._start_s = start_s

    def times(self, block: int) -> NDArray[np.float64]:
        """The nodes of block number `block`, with those beside it that interpolation needs."""
        nodes: NDArray[np.float64] = np.arange(-2.0, self._nodes + 4)
        return self._start_s + block + self._spacing_s * nodes

    def between(self, nodes: NDArray[np.complex128]) -> NDArray[np.complex128]:
        """(samples,) from the values at `times`."""
        windows = np.lib.stride_tricks.sliding_window_view(nodes, 6)[: self._nodes]
        return np.asarray((windows @ self._weights.T).ravel())


def on_air(planted: Planted, start_s: float) -> Iterator[Band]:
    """Blocks of one second, complex, mean square of each signal its planted power; the first begins at `start_s`."""
    rate = planted.inner_hz
    parts = [
        _one(signal, n, planted, rate, start_s)
        for n, signal in enumerate(planted.signals)
        if abs(signal.hz) < rate / 2
    ]
    while True:
        band = np.zeros(rate, np.complex64)
        for part in parts:
            band += next(part)
        yield band


def _one(signal: Signal, number: int, planted: Planted, rate: int, start_s: float) -> Iterator[Band]:
    dice = np.random.default_rng([planted.seed, 11, number])
    own = int(dice.integers(2**31))
    if signal.fades_with is not None:
        own = int(np.random.default_rng([planted.seed, 11, signal.fades_with]).integers(2**31))
    fading = Fading(signal.doppler_hz, signal.rician_k, own)
    slow = Slow(rate, start_s)
    cycle = np.exp(2j * np.pi * signal.hz * np.arange(rate) / rate).astype(np.complex64)
    turn = np.exp(2j * np.pi * (signal.hz % 1.0))
    sent = _sent(signal, dice, rate)
    phase = complex(np.exp(2j * np.pi * dice.random()))
    size = math.sqrt(signal.power)
    overs = _Overs(signal, dice)
    block = 0
    while True:
        times = slow.times(block)
        drifted = np.exp(1j * np.pi * signal.drift_hz_per_s * times**2)
        nodes = fading.at(times) * drifted * overs.at(times) * size * phase
        wave = slow.between(nodes).astype(np.complex64) * cycle
        if sent is not None:
            wave *= next(sent)
        yield wave
        phase *= turn
        block += 1


def _sent(signal: Signal, dice: np.random.Generator, rate: int) -> Iterator[Band] | None:
    """The modulation at the rate of the band, or None for a carrier."""
    if signal.manner == "carrier":
        return None
    up = max(factor for factor in range(1, rate // 8000 + 1) if rate % factor == 0 and rate // factor >= 8000)
    base = modulation(signal.manner, dice, rate // up, rate // up)
    if up == 1:
        return (part.astype(np.complex64) for part in base)
    return _raised(base, up, rate)


def _raised(base: Iterator[Voltage], up: int, rate: int) -> Iterator[Band]:
    """The signal at `up` times its rate, a second at a time; images lie 80 dB down and more.

    An interpolating filter, applied in frequency with overlapping tails added (overlap-add).
    """
    taps = firwin(48 * up + 1, 0.92 / up, window=("kaiser", 9.0)) * up
    size = fft.next_fast_len(rate // up + 49)
    curve = fft.fft(taps.astype(np.complex64), size * up)
    tail = np.zeros(taps.size - 1, np.complex64)
    for part in base:
        spectrum = np.tile(fft.fft(part.astype(np.complex64), size), up)
        whole: Band = fft.ifft(spectrum * curve)[: rate + taps.size - 1].astype(np.complex64)
        whole[: tail.size] += tail
        yield whole[:rate]
        tail = whole[rate:]


class _Overs:
    """When a signal is on the air: between `from_s` and `to_s`, and of that its share of the time."""

    def __init__(self, signal: Signal, dice: np.random.Generator) -> None:
        self._signal = signal
        self._seed = int(dice.integers(2**31))

    def at(self, times: NDArray[np.float64]) -> NDArray[np.float64]:
        """1 on the air, 0 off it, with an edge of one node."""
        signal = self._signal
        on = (times >= signal.from_s) & (times < signal.to_s)
        if signal.slot is not None:
            on &= np.floor(times / signal.slot[0]).astype(int) % 2 == signal.slot[1]
        if signal.duty < 1.0:
            turns = np.floor(times / OVER_S).astype(int)
            talks = {int(n): self._talks(int(n)) for n in np.unique(turns)}
            on &= np.array([talks[int(n)] for n in turns])
        return on.astype(float)

    def _talks(self, turn: int) -> bool:
        return bool(np.random.default_rng([self._seed, turn + 10]).random() < self._signal.duty)
