"""Devices of the simulated house follow the numbers that a person types."""

import pytest

from sweeper.cli.simulated_house import switched
from sweeper.simulation import HOUSEHOLD, saltmarsh


def test_a_number_unplugs_its_device_and_plugs_it_in_again() -> None:
    world = saltmarsh(1, of_samples=True, devices=HOUSEHOLD)
    assert switched(world, "2") == "charger in the shed: unplugged"
    assert world.unplugged == {"charger in the shed"}
    assert switched(world, "2") == "charger in the shed: plugged in"
    assert not world.unplugged


@pytest.mark.parametrize("typed", ["0", "4", "-1", "two", "²", "9" * 5000])
def test_any_other_number_does_nothing(typed: str) -> None:
    world = saltmarsh(1, of_samples=True, devices=HOUSEHOLD)
    assert switched(world, typed) == "No device has that number: 1 to 3."
    assert not world.unplugged
