"""The simulated station's hardware, with a truth that can be read off: antenna, relays, stage and receiver.

Powers in watts at the receiver's input, noise as temperatures in kelvin, gains as power ratios. Readings are not
made here; that is the world's work.
"""

import itertools
import math
from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

from sweeper.simulation.world.town import Broadcasters

BOLTZMANN_J_PER_K = 1.380649e-23
Curve = tuple[tuple[float, float], ...]
"""(frequency in hertz, ratio) in rising order; between points both run straight on logarithmic paper."""


@lru_cache(maxsize=1024)
def along(curve: Curve, hz: float) -> float:
    """The ratio of a curve at a frequency; beyond its ends, that of the end."""
    right = bisect_left(curve, (hz,))
    if right == 0:
        return curve[0][1]
    if right == len(curve):
        return curve[-1][1]
    (f0, r0), (f1, r1) = curve[right - 1], curve[right]
    return r0 * math.pow(r1 / r0, math.log(hz / f0) / math.log(f1 / f0))


@dataclass(frozen=True, slots=True)
class Antenna:
    """What part of the field's noise and signals reaches the terminals; the rest is heat of its own resistance."""

    efficiency: Curve
    kelvin: float = 290.0

    def noise_k(self, sky_k: float, hz: float) -> float:
        share = along(self.efficiency, hz)
        return share * sky_k + (1.0 - share) * self.kelvin


@dataclass(frozen=True, slots=True)
class Relays:
    """Contacts and cable: the part of the power they pass on either route, and how long they take to move."""

    bypass_passes: float = 0.97
    stage_passes: float = 0.94
    kelvin: float = 290.0
    operate_s: float = 0.008


@dataclass(frozen=True, slots=True)
class Stage:
    """An amplifier (or a pad, with gain below 1): power gain by frequency, noise, and its limits.

    `second_order_w` and `third_order_w` are the input intercept powers: where products would equal the signals.
    At `saturation_w` of output power the gain has halved.
    """

    gain: Curve
    kelvin: float
    second_order_w: float = math.inf
    third_order_w: float = math.inf
    saturation_w: float = math.inf

    def gain_at(self, hz: float, input_w: float) -> float:
        gain = along(self.gain, hz)
        return gain / (1.0 + gain * input_w / self.saturation_w)

    def products_w_per_hz(self, hz: float, strong: Sequence[Broadcasters], watts: Sequence[float]) -> float:
        """Intermodulation that falls on `hz`, as if it stood at the input, W/Hz."""
        spans = tuple((block.low_hz, block.high_hz) for block in strong)
        density = 0.0
        for order, members, width_hz in _falling_on(hz, spans):
            power = math.prod(watts[n] for n in members)
            density += power / (self.second_order_w if order == 2 else self.third_order_w**2) / width_hz
        return density


@lru_cache(maxsize=1024)
def _falling_on(
    hz: float, spans: tuple[tuple[float, float], ...]
) -> tuple[tuple[int, tuple[int, ...], float], ...]:
    """Which combinations of strong bands have products on a frequency: (order, members, width in hertz)."""
    found: list[tuple[int, tuple[int, ...], float]] = []
    numbers = range(len(spans))
    centre = [(low + high) / 2 for low, high in spans]
    width = [high - low for low, high in spans]
    for i, j in itertools.combinations_with_replacement(numbers, 2):
        for middle in (centre[i] + centre[j], abs(centre[i] - centre[j])):
            if abs(hz - middle) <= (width[i] + width[j]) / 2 and middle > 0:
                found.append((2, (i, j), width[i] + width[j]))
    for i, j in itertools.combinations_with_replacement(numbers, 2):
        for k in numbers:
            spread = width[i] + width[j] + width[k]
            if abs(hz - (centre[i] + centre[j] - centre[k])) <= spread / 2:
                found.append((3, (i, j, k), spread))
    return tuple(found)


@dataclass(frozen=True, slots=True)
class FrontEnd:
    """What the receiver's owner may switch before its mixer: a power gain, and noise as if at its input, K."""

    gain: float = 1.0
    kelvin: float = 0.0


BARE = FrontEnd()


def attenuator(loss_db: float, kelvin: float = 290.0) -> FrontEnd:
    """A pad: it takes from everything alike, and its own heat makes up the rest."""
    passed = math.pow(10.0, -loss_db / 10.0)
    return FrontEnd(passed, kelvin * (1.0 / passed - 1.0))


@dataclass(frozen=True, slots=True)
class Receiver:
    """The receiver's noise by frequency, as a ratio to 290 K, and how its meter behaves.

    `averaging_s` is the power average behind one value, `lag_s` the AGC's time constant, `step_db` the meter's step,
    `floor_db` and `top_db` its ends in dB over S9 (50 microvolts in 50 ohms). With slow AGC the lag is `slow_agc_s`.
    """

    noise_over_290: Curve
    averaging_s: float = 0.02
    lag_s: float = 0.02
    step_db: float = 1.0
    floor_db: float = -54.0
    top_db: float = 60.0
    error_db: float = 0.0
    refresh_s: float = 0.0
    preamplifier: FrontEnd = FrontEnd(10.0, 1200.0)
    slow_agc_s: float = 1.0
    lowest_hz: int = 30_000
    highest_hz: int = 30_000_000

    def noise_k(self, hz: float) -> float:
        return 290.0 * along(self.noise_over_290, hz)
