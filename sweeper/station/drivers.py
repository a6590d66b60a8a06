"""Finding drivers by name, through the entry points that any installed package may add."""

from functools import cache
from importlib.metadata import entry_points
from typing import Literal

from drivers.contracts import Driver

Kind = Literal["receiver", "switch"]


@cache
def names() -> frozenset[str]:
    """Every driver name that is installed, of receivers and switches alike."""
    return frozenset(entry_points(group="sweeper.drivers").names)


@cache
def driver(name: str) -> Driver:
    """The driver of that name; LookupError when there is none, ImportError when it cannot be loaded."""
    for entry in entry_points(group="sweeper.drivers"):
        if entry.name == name:
            try:
                found = entry.load()
            except AttributeError as error:
                raise ImportError(str(error)) from error
            if not isinstance(found, Driver):
                raise ImportError(f"{entry.value} is no driver")
            return found
    raise LookupError(name)


def names_of(kind: Kind) -> tuple[str, ...]:
    """The names of the receivers, or of the switches, that can be loaded here."""
    found = []
    for name in names():
        try:
            if driver(name).kind == kind:
                found.append(name)
        except ImportError:
            continue  # Somebody's broken package must not hide the others.
    return tuple(sorted(found))
