"""The people around the simulated station: man-made noise, a neighbour's appliance, broadcasters, passers-by.

Noise is a temperature in kelvin; signals are volts across the 50 ohms of the antenna's own terminals. All of it is
invented, save the median man-made noise by category, which is ITU-R P.372's.
"""

import math
from dataclasses import dataclass

from sweeper.simulation.world.chance import fade, normal, uniform, wander
from sweeper.simulation.world.sky import night_of

AT_1_MHZ_K = {
    "city": (1.388e10, -2.77),
    "residential": (5.157e9, -2.77),
    "rural": (1.522e9, -2.77),
    "quiet-rural": (6.644e7, -2.86),
}
"""Median man-made noise at 1 MHz in kelvin, and the power of frequency that it follows: ITU-R P.372."""
TERMINALS_OHM = 50.0

Hours = tuple[tuple[float, float], ...]
"""(hour UTC, factor) in rising order, joined by straight lines and closed over midnight."""
ALWAYS: Hours = ((0.0, 1.0),)


def at_hour(hours: Hours, time_s: float) -> float:
    """The factor at a Unix time."""
    hour = time_s % 86400.0 / 3600.0
    before, after = hours[-1], hours[0]
    before_hour, after_hour = before[0] - 24.0, after[0]
    for n, point in enumerate(hours):
        if point[0] > hour:
            after, after_hour = point, point[0]
            break
        before, before_hour = point, point[0]
        after = hours[(n + 1) % len(hours)]
        after_hour = after[0] + (24.0 if n + 1 == len(hours) else 0.0)
    if after_hour == before_hour:
        return before[1]
    return before[1] + (after[1] - before[1]) * (hour - before_hour) / (after_hour - before_hour)


@dataclass(frozen=True, slots=True)
class ManMade:
    """The noise of a settlement, K; it differs from night to night and wanders within one."""

    seed: int
    category: str
    longitude_deg: float
    restless_db: float = 2.5
    wandering_db: float = 0.8

    def noise_k(self, hz: float, time_s: float) -> float:
        at_1_mhz, slope = AT_1_MHZ_K[self.category]
        night = night_of(time_s, self.longitude_deg)
        octave = round(math.log2(hz) * 1.5)
        deviation_db = self.restless_db * 0.8 * normal(self.seed, "town", night)
        deviation_db += self.restless_db * 0.6 * normal(self.seed, "town", octave, night)
        deviation_db += self.wandering_db * wander(self.seed, time_s, 1200.0, 12000.0, f"town {octave}")
        return at_1_mhz * math.pow(hz / 1e6, slope) * math.pow(10.0, deviation_db / 10.0)


@dataclass(frozen=True, slots=True)
class Appliance:
    """A neighbour's device: broad noise over [low_hz, high_hz], in some hours, on some nights."""

    name: str
    seed: int
    low_hz: float
    high_hz: float
    kelvin: float
    hours: Hours
    share_of_nights: float
    longitude_deg: float

    def noise_k(self, hz: float, time_s: float) -> float:
        if not self.low_hz <= hz <= self.high_hz:
            return 0.0
        if uniform(self.seed, self.name, night_of(time_s, self.longitude_deg)) > self.share_of_nights:
            return 0.0
        return self.kelvin * at_hour(self.hours, time_s)


@dataclass(frozen=True, slots=True)
class Carrier:
    """A signal at one frequency. `volts` across the terminals (root mean square) when its hour factor is 1.

    `steadiness` is the power of the steady part over that of the scattered part (Rice's K): infinite for a
    ground wave, 0 for one that fades as Rayleigh found. It stands in `share_of_slots` of all ten-minute slots.
    """

    hz: float
    volts: float
    hours: Hours = ALWAYS
    steadiness: float = math.inf
    fade_s: tuple[float, float] = (4.0, 60.0)
    slow_db: float = 0.0
    share_of_slots: float = 1.0

    def stands(self, seed: int, time_s: float) -> bool:
        if self.share_of_slots >= 1.0:
            return True
        return uniform(seed, f"slot {self.hz}", int(time_s // 600)) < self.share_of_slots

    def mean_watts(self, seed: int, time_s: float) -> float:
        """Its power into a matched receiver, fading averaged out."""
        volts = self.volts * at_hour(self.hours, time_s)
        if self.slow_db:
            volts *= 10.0 ** (self.slow_db * wander(seed, time_s, 600.0, 7200.0, f"slow {self.hz}") / 20.0)
        return volts * volts / TERMINALS_OHM

    def fading(self, seed: int, time_s: float) -> float:
        """What fading makes of that power at this instant: a factor with mean 1."""
        if math.isinf(self.steadiness):
            return 1.0
        scattered = fade(seed, time_s, *self.fade_s, f"fade {self.hz}")
        steady = math.sqrt(self.steadiness / (1.0 + self.steadiness))
        voltage = steady + scattered / math.sqrt(1.0 + self.steadiness)
        return abs(voltage) ** 2


@dataclass(frozen=True, slots=True)
class Broadcasters:
    """A band full of strong stations between two frequencies; `volts` is all of them together."""

    low_hz: float
    high_hz: float
    volts: float
    hours: Hours = ALWAYS

    def watts(self, time_s: float) -> float:
        volts = self.volts * at_hour(self.hours, time_s)
        return volts * volts / TERMINALS_OHM
