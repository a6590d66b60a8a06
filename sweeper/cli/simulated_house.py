"""Devices in the simulated house, unplugged and plugged in again at the terminal while it is served."""

import os
import signal
import sys
from threading import Thread
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from sweeper.simulation.world.world import World


def unplug_by_hand(world: "World") -> None:
    """Take numbers of devices from the terminal until the program ends. Without one, all stay plugged in."""
    if not world.scenario.devices or not sys.stdin.isatty():
        return
    if hasattr(signal, "SIGTTIN"):  # in the background a terminal has nothing to say, which must stop nobody
        signal.signal(signal.SIGTTIN, signal.SIG_IGN)
    named = ", ".join(f"{number} {device.name}" for number, device in enumerate(world.scenario.devices, 1))
    print(f"Plugged in: {named}. A number and Enter unplugs it, or plugs it in again.", flush=True)
    Thread(target=_listen, args=(world,), daemon=True).start()


def _listen(world: "World") -> None:
    # Not by sys.stdin, whose lock a program that ends would wait for.
    try:
        while typed := os.read(0, 1024):
            for word in typed.decode("utf-8", "replace").split():
                print(switched(world, word), flush=True)
    except OSError:  # in the background
        return


def switched(world: "World", number: str) -> str:
    """Unplug the device of that number, counted from 1, or plug it in; what was done, in words."""
    devices = world.scenario.devices
    if not (number.isascii() and number.isdigit() and 1 <= int(number[:4]) <= len(devices)):
        return f"No device has that number: 1 to {len(devices)}."
    name = devices[int(number) - 1].name
    if name in world.unplugged:
        world.unplugged.remove(name)
        return f"{name}: plugged in"
    world.unplugged.add(name)
    return f"{name}: unplugged"
