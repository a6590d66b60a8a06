"""Three devices at or near the simulated station whose noise signs its name, with their hours. Invented.

Each gives volts at the antenna's own terminals, behind its losses: `kelvin` is a noise temperature there, `volts` the
root mean square of one line across 50 ohms, `reach_hz` the frequencies that its wires radiate. None of it is in the
levels of `World.means`, but where a world is asked for: who renders samples adds it by itself.
"""

import math
from dataclasses import dataclass

from sweeper.simulation.world.chance import uniform, wander
from sweeper.simulation.world.hardware import BOLTZMANN_J_PER_K
from sweeper.simulation.world.sky import night_of
from sweeper.simulation.world.town import ALWAYS, TERMINALS_OHM, Hours, at_hour

EVERYWHERE_HZ = (0.0, math.inf)


@dataclass(frozen=True, slots=True)
class Buzz:
    """Arcing that follows the mains: its power swells and ebbs twice a cycle, down to nothing."""

    name: str
    kelvin: float
    hours: Hours = ALWAYS
    mains_hz: float = 50.0
    reach_hz: tuple[float, float] = EVERYWHERE_HZ

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
    reach_hz: tuple[float, float] = EVERYWHERE_HZ

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

    @property
    def reach_hz(self) -> tuple[float, float]:
        return self.low_hz, self.high_hz


Device = Buzz | SwitchedSupply | LineModem


def strength(device: Device, seed: int, longitude_deg: float, time_s: float) -> float:
    """Its power at an instant, of that when it runs at full: 0 while it does not."""
    if isinstance(device, SwitchedSupply) and device.share_of_nights < 1.0:
        night = night_of(time_s, longitude_deg)
        if uniform(seed, device.name, night) > device.share_of_nights:
            return 0.0
    return at_hour(device.hours, time_s)


def kelvin_at(device: Device, hz: float) -> float:
    """Its noise temperature there while it runs at full; none of lines, which leave the places between them alone."""
    low_hz, high_hz = device.reach_hz
    return device.kelvin if not isinstance(device, SwitchedSupply) and low_hz <= hz <= high_hz else 0.0


def mean_kelvin(device: Device, low_hz: float, high_hz: float) -> float:
    """What it adds, as a noise temperature averaged over a range of frequencies, while it runs at full."""
    first_hz, last_hz = max(low_hz, device.reach_hz[0]), min(high_hz, device.reach_hz[1])
    width_hz = high_hz - low_hz
    if first_hz >= last_hz:
        return 0.0
    if not isinstance(device, SwitchedSupply):
        return device.kelvin * (last_hz - first_hz) / width_hz
    lines = math.floor(last_hz / device.every_hz) - math.ceil(first_hz / device.every_hz) + 1
    return device.watts() * lines / width_hz / BOLTZMANN_J_PER_K
