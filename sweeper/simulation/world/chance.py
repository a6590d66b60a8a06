"""Chance that can be asked twice: numbers that depend only on a seed and on what they are for.

The world must give the same night to whoever asks, in whatever order, so everything slow is drawn from a
hash of its name. Fast noise (one draw a reading) comes in blocks from an ordinary generator.
"""

import math
from functools import lru_cache
from hashlib import blake2b
from statistics import NormalDist

import numpy as np

_NORMAL = NormalDist()
_BLOCK = 4096


@lru_cache(maxsize=4096)
def uniform(seed: int, *about: str | int) -> float:
    """A number in (0, 1) that belongs to `about`."""
    digest = blake2b(repr((seed, about)).encode(), digest_size=8).digest()
    return (int.from_bytes(digest, "big") + 0.5) / 2.0**64


def normal(seed: int, *about: str | int) -> float:
    """A standard normal number that belongs to `about`."""
    return _NORMAL.inv_cdf(uniform(seed, *about))


@lru_cache(maxsize=512)
def _waves(seed: int, shortest_s: float, longest_s: float, about: str) -> tuple[tuple[float, float], ...]:
    waves = []
    for n in range(6):
        stretch = longest_s / shortest_s
        period_s = shortest_s * stretch ** uniform(seed, about, "period", n)
        waves.append((math.tau / period_s, math.tau * uniform(seed, about, "phase", n)))
    return tuple(waves)


def wander(seed: int, time_s: float, shortest_s: float, longest_s: float, about: str) -> float:
    """A smooth random function of time with mean 0 and variance 1, built of six slow waves."""
    waves = _waves(seed, shortest_s, longest_s, about)
    return sum(math.cos(omega * time_s + phase) for omega, phase in waves) / math.sqrt(len(waves) / 2)


def fade(seed: int, time_s: float, shortest_s: float, longest_s: float, about: str) -> complex:
    """The scattered part of a fading carrier's voltage: complex, smooth, mean square 1, about Gaussian."""
    waves = _waves(seed, shortest_s, longest_s, about)
    real = imaginary = 0.0
    for n, (omega, phase) in enumerate(waves):
        angle = omega * time_s + phase if n % 2 else phase - omega * time_s
        real += math.cos(angle)
        imaginary += math.sin(angle)
    return complex(real, imaginary) / math.sqrt(len(waves))


class Draws:
    """Independent random numbers, one at a time but drawn by the block: under a microsecond each."""

    def __init__(self, seed: int) -> None:
        self._generator = np.random.default_rng(seed)
        self._normals: list[float] = []
        self._uniforms: list[float] = []
        self._gammas: dict[float, list[float]] = {}

    def normal(self) -> float:
        if not self._normals:
            self._normals = self._generator.standard_normal(_BLOCK).tolist()
        return self._normals.pop()

    def uniform(self) -> float:
        if not self._uniforms:
            self._uniforms = self._generator.random(_BLOCK).tolist()
        return self._uniforms.pop()

    def gamma(self, shape: float) -> float:
        """A gamma number of that shape and scale 1."""
        block = self._gammas.get(shape)
        if not block:
            block = self._gammas[shape] = self._generator.standard_gamma(shape, _BLOCK).tolist()
        return block.pop()

    def exponential(self) -> float:
        return -math.log(1.0 - self.uniform())
