"""Three devices at or near the simulated station whose noise signs its name, with their hours. Invented.

Each gives volts at the antenna's own terminals, behind its losses: `kelvin` is a noise temperature there, `volts` the
root mean square of one line across 50 ohms. None of it is in the levels of `World.means`: who renders samples adds
it, and whoever asks for their truth asks here.
"""

import math
from dataclasses import dataclass

from sweeper.simulation.world.chance import uniform, wander
from sweeper.simulation.world.hardware import BOLTZMANN_J_PER_K
from sweeper.simulation.world.sky import night_of
from sweeper.simulation.world.town import ALWAYS, TERMINALS_OHM, Hours, at_hour


@dataclass(frozen=True, slots=True)
class Buzz:
    """Arcing that follows the mains: its power swells and ebbs twice a cycle, down to nothing."""

    name: str
    kelvin: float
    hours: Hours = ALWAYS
    mains_hz: float = 50.0

    def mains_at(self, seed: int, time_s: float) -> float:
        """The grid's frequency, which wanders by some hundredths of a hertz."""
        return self.mains_hz + 0.02 * wander(seed, time_s, 300.0, 3600.0, "grid")


@dataclass(frozen=True, slots=True)
class SwitchedSupply:
    """Lines at all multiples of a frequency that falls by `drift` of itself while it warms up, and wanders a little."""

    name: str
    every_hz: float
    volts: float
    hours: Hours = ALWAYS
    share_of_nights: float = 1.0
    drift: float = 0.01

    def every_at(self, seed: int, time_s: float) -> float:
        return self.every_hz * (1.0 + self.drift * 0.5 * wander(seed, time_s, 3600.0, 14400.0, self.name))

    def watts(self) -> float:
        """Of one line."""
        return self.volts**2 / TERMINALS_OHM


@dataclass(frozen=True, slots=True)
class LineModem:
    """Broad noise between two edges that stand still."""

    name: str
    low_hz: float
    high_hz: float
    kelvin: float
    hours: Hours = ALWAYS


Device = Buzz | SwitchedSupply | LineModem


def strength(device: Device, seed: int, longitude_deg: float, time_s: float) -> float:
    """Its power at an instant, of that when it runs at full: 0 while it does not."""
    if isinstance(device, SwitchedSupply) and device.share_of_nights < 1.0:
        night = night_of(time_s, longitude_deg)
        if uniform(seed, device.name, night) > device.share_of_nights:
            return 0.0
    return at_hour(device.hours, time_s)


def mean_kelvin(device: Device, low_hz: float, high_hz: float) -> float:
    """What it adds, as a noise temperature averaged over a range of frequencies, while it runs at full."""
    width_hz = high_hz - low_hz
    if isinstance(device, Buzz):
        return device.kelvin
    if isinstance(device, LineModem):
        overlap = max(min(high_hz, device.high_hz) - max(low_hz, device.low_hz), 0.0)
        return device.kelvin * overlap / width_hz
    lines = math.floor(high_hz / device.every_hz) - math.ceil(low_hz / device.every_hz) + 1
    return device.watts() * lines / width_hz / BOLTZMANN_J_PER_K
