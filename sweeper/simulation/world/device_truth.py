"""How much of a station's noise is whose, as it is: no sample and no reading went into it."""

from statistics import fmean

from sweeper.simulation.world.devices import mean_kelvin, strength
from sweeper.simulation.world.hardware import BOLTZMANN_J_PER_K
from sweeper.simulation.world.world import Listening, World

PLACES = 32


def shares(world: World, time_s: float, low_hz: float, high_hz: float) -> dict[str, float]:
    """Of the noise in bypass, averaged over a range of frequencies: each device's share by its name, and ``receiver``,
    which is what is left with the load in the antenna's place.
    """
    places = [low_hz + (high_hz - low_hz) * (nth + 0.5) / PLACES for nth in range(PLACES)]
    at = {
        source: [Listening(round(hz), "AM", 1.0, source, "bypass") for hz in places]
        for source in ("antenna", "load")
    }
    watts = {
        source: fmean(world.means(time_s, each).noise_w for each in every) for source, every in at.items()
    }
    gain = fmean(world.signal_gain(time_s, each) for each in at["antenna"])
    seed, longitude_deg = world.scenario.seed, world.scenario.sky.longitude_deg
    added = {
        each.name: gain
        * BOLTZMANN_J_PER_K
        * mean_kelvin(each, low_hz, high_hz)
        * strength(each, seed, longitude_deg, time_s)
        for each in world.devices
    }
    whole = watts["antenna"] + sum(added.values())
    return {"receiver": watts["load"] / whole} | {name: power / whole for name, power in added.items()}
