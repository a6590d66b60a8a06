"""The sky over the simulated station: sun, galactic noise, atmospheric noise and static crashes.

Noise is a temperature in kelvin, as a lossless antenna would hand it to a matched load. An invented sky with the
manners of the real one: storms far away are heard by night on the low bands, hardly by day, and never above
the highest frequency that the ionosphere returns; the galaxy falls with frequency; summer is louder than winter.
"""

import math
from dataclasses import dataclass
from datetime import UTC, datetime

from sweeper.simulation.world.chance import normal, wander

GALACTIC_AT_1_MHZ_K = 4.6e7
"""52 dB above 290 K at 1 MHz, falling by 23 dB a decade: ITU-R P.372, galactic noise."""
_DAY_S = 86400.0


def sun_elevation_deg(time_s: float, latitude_deg: float, longitude_deg: float) -> float:
    """Height of the sun in degrees at a Unix time; good to a degree, which a sky of our own making can bear."""
    day = (time_s / _DAY_S - 10957.5) % 365.2422  # days into the year, counted from noon of 1 January 2000
    declination = math.radians(-23.44) * math.cos(math.tau * (day + 10.5) / 365.2422)
    hour_angle = math.radians((time_s % _DAY_S) / 240.0 + longitude_deg - 180.0)
    latitude = math.radians(latitude_deg)
    sine = math.sin(latitude) * math.sin(declination)
    sine += math.cos(latitude) * math.cos(declination) * math.cos(hour_angle)
    return math.degrees(math.asin(sine))


def night_of(time_s: float, longitude_deg: float) -> int:
    """The number of the night that an instant belongs to: whole days from local mean noon to noon."""
    return math.floor((time_s - _DAY_S / 2 + longitude_deg * 240.0) / _DAY_S)


@dataclass(frozen=True, slots=True)
class Sky:
    """An invented sky. `storms` scales atmospheric noise power, `restless_db` is its spread from night to night."""

    seed: int
    latitude_deg: float
    longitude_deg: float
    storms: float = 1.0
    restless_db: float = 3.0
    crashes_per_s: float = 0.4

    def daylight(self, time_s: float) -> float:
        """0 by night, 1 by day, half of it with the sun three degrees up, when the D region forms."""
        elevation = sun_elevation_deg(time_s, self.latitude_deg, self.longitude_deg)
        return 1.0 / (1.0 + math.exp((3.0 - elevation) / 1.2))

    def summer(self, time_s: float) -> float:
        """Power of distant storms against the year's middle: 4 in July, a quarter in January."""
        month = datetime.fromtimestamp(time_s, UTC).timetuple().tm_yday / 30.44
        return math.pow(4.0, math.cos(math.tau * (month - 6.7) / 12.0))

    def noise_k(self, hz: float, time_s: float) -> float:
        """Galactic and atmospheric noise together, K."""
        mhz = hz / 1e6
        galactic = (
            GALACTIC_AT_1_MHZ_K * math.pow(mhz, -2.3) / (1.0 + (5.0 / mhz) ** 8)
        )  # none comes through from below
        return galactic + self.atmospheric_k(hz, time_s)

    def atmospheric_k(self, hz: float, time_s: float) -> float:
        """Noise of distant storms, K."""
        mhz = hz / 1e6
        day = self.daylight(time_s)
        absorbed = math.exp(-12.0 * day / mhz)
        returned = 1.0 / (1.0 + (mhz / (9.0 + 15.0 * day)) ** 6)
        night = night_of(time_s, self.longitude_deg)
        deviation_db = self.restless_db * normal(self.seed, "storms", night)
        deviation_db += 1.0 * wander(self.seed, time_s, 1500.0, 15000.0, f"storms {night}")
        at_night_k = 2.9e9 * self.storms * self.summer(time_s) * math.pow(mhz, -3.2)
        return at_night_k * absorbed * returned * math.pow(10.0, deviation_db / 10.0)

    def crash_rate_hz(self, time_s: float) -> float:
        """Static crashes a second: many in summer nights, few in winter days."""
        return self.crashes_per_s * self.summer(time_s) * (1.0 - 0.8 * self.daylight(time_s))
