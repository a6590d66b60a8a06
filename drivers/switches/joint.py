"""Several switches that form one path together, such as a relay box at the mast and a load relay in the shack.

Each part is a switch of its own with its own driver and link. All let go before any pulls in, as on one board.
"""

from collections.abc import Mapping
from importlib.metadata import entry_points
from typing import Annotated, Any

from pydantic import BaseModel, ConfigDict, Field, PrivateAttr, model_validator

from drivers.contracts import Driver, Switch, links_of
from drivers.errors import RigError, Unsupported
from drivers.switches.relays import Relays
from drivers.waiting import pause

GROUP = "sweeper.drivers"


class JointOptions(BaseModel):
    """The switch section of a station file with ``driver: joint``.

    `parts` holds a section for each switch, without paths; each of `paths` says for each part how it stands.
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    parts: dict[str, dict[str, Any]] = Field(min_length=2)
    paths: dict[str, dict[str, Any]] = Field(min_length=1)
    break_s: Annotated[float, Field(ge=0, le=10, allow_inf_nan=False)] = 0.02
    _opened_with: dict[str, tuple[Driver, Any]] = PrivateAttr(default_factory=dict)

    @model_validator(mode="after")
    def _each_part_understands_its_section(self) -> "JointOptions":
        for path, setting in self.paths.items():
            if set(setting) != set(self.parts):
                raise ValueError(
                    f"path {path} names the parts {sorted(setting)}; the parts are {sorted(self.parts)}"
                )
        for name, section in self.parts.items():
            driver = _driver(str(section.get("driver")), name)
            own = {key: value for key, value in section.items() if key != "driver"}
            if "paths" in own:
                raise ValueError(
                    f"part {name} has paths of its own; they belong into the paths of the whole switch"
                )
            try:
                options = driver.options.model_validate(
                    own | {"paths": {path: setting[name] for path, setting in self.paths.items()}}
                )
            except ValueError as fault:
                raise ValueError(f"part {name}: {fault}") from None
            self._opened_with[name] = (driver, options)
        return self

    def relays_of(self, path: str) -> frozenset[tuple[str, str]]:
        """The relays of a path with their states, each named by its part."""
        return frozenset(
            (f"{name}.{relay}", state)
            for name, (_, options) in self._opened_with.items()
            for relay, state in options.relays_of(path)
        )

    def links(self) -> tuple[str, ...]:
        """Where all its parts are."""
        return tuple(link for _, options in self._opened_with.values() for link in links_of(options))

    def part_relays(self, name: str, path: str) -> frozenset[tuple[str, str]]:
        """The relays of one part for a path; two paths may share them."""
        relays: frozenset[tuple[str, str]] = self._opened_with[name][1].relays_of(path)
        return relays

    def open_parts(self) -> Mapping[str, Switch]:
        """All parts, open; when one cannot be opened, those that were are closed again."""
        opened: dict[str, Switch] = {}
        try:
            for name, (driver, options) in self._opened_with.items():
                opened[name] = driver.open(options)
        except RigError:
            for switch in opened.values():
                switch.close()
            raise
        return opened


def _driver(wanted: str, part: str) -> Driver:
    found = list(entry_points(group=GROUP, name=wanted))
    driver = found[0].load() if found else None
    if not isinstance(driver, Driver) or driver.kind != "switch" or wanted == "joint":
        raise ValueError(f"part {part}: there is no switch driver {wanted!r}")
    return driver


class Joint:
    """The parts seen as one switch."""

    def __init__(self, options: JointOptions) -> None:
        self._options = options
        self._parts = options.open_parts()

    def identify(self) -> str:
        return "; ".join(f"{name}: {switch.identify()}" for name, switch in self._parts.items())

    def select(self, path: str) -> int:
        if path not in self._options.paths:
            raise Unsupported(
                "joint switch", f"it has no path {path}.", f"It has {', '.join(self._options.paths)}."
            )
        moved = sum(switch.release(path) for switch in self._parts.values() if isinstance(switch, Relays))
        if moved and self._options.break_s:
            pause(self._options.break_s, "joint switch")
        return moved + sum(switch.select(path) for switch in self._parts.values())

    def selected(self) -> str | None:
        stand = {name: switch.selected() for name, switch in self._parts.items()}
        for path in self._options.paths:
            if all(self._same(name, at, path) for name, at in stand.items()):
                return path
        return None

    def close(self) -> None:
        for switch in self._parts.values():
            switch.close()

    def _same(self, name: str, at: str | None, path: str) -> bool:
        relays = self._options.part_relays
        return at is not None and relays(name, at) == relays(name, path)


DRIVER = Driver(kind="switch", name="joint", options=JointOptions, open=Joint)
