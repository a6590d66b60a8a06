"""A station made of numbers whose truth is known, served over the wire protocols of real hardware.

It shares no formula with the analysis, and imports neither the analysis nor the drivers: what checks them must
not be them. Campaigns drawn without wires are in `sweeper.simulation.campaign`, since they load polars.
"""

from sweeper.simulation.serve import RECEIVERS, SWITCHES, Served, serve
from sweeper.simulation.world.saltmarsh import HOUSEHOLD, saltmarsh
from sweeper.simulation.world.world import Scenario, Truth, World

__all__ = [
    "HOUSEHOLD",
    "RECEIVERS",
    "SWITCHES",
    "Scenario",
    "Served",
    "Truth",
    "World",
    "saltmarsh",
    "serve",
]
