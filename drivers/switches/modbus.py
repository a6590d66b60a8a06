"""Relay boards that speak Modbus: over TCP, or RTU on a serial line or behind a gateway.

Every coil that a path uses is read back. Modbus has no password: keep such a board off any network that
others can reach.
"""

from typing import Annotated, Literal

from pydantic import Field, model_validator

from drivers.contracts import Driver
from drivers.links import GatedLink, LinkOptions, open_link
from drivers.protocols.modbus import Modbus, coils_only, runs, silence_s
from drivers.switches.relays import RelayOptions, Relays, Setting, answering
from drivers.waiting import monotonic, pause


class ModbusOptions(LinkOptions, RelayOptions):
    """The switch section of a station file with ``driver: modbus``. Coils count from 0, as on the wire."""

    unit: Annotated[int, Field(ge=0, le=255)] = 1
    framing: Literal["auto", "tcp", "rtu"] = "auto"

    @model_validator(mode="after")
    def _coils_and_unit_fit(self) -> "ModbusOptions":
        for setting in self.paths.values():
            for coil in setting:
                if not (coil.isascii() and coil.isdigit() and int(coil) <= 65535):
                    raise ValueError(f"{coil!r} is no coil; coils are whole numbers from 0 to 65535")
        if self.framing_used == "rtu" and not 1 <= self.unit <= 247:
            raise ValueError(f"unit {self.unit} is no board on a serial line; boards there have 1 to 247")
        return self

    @property
    def framing_used(self) -> Literal["tcp", "rtu"]:
        if self.framing == "auto":
            return "tcp" if self.link.startswith("tcp:") else "rtu"
        return self.framing


class Coils:
    """The coils of one unit."""

    def __init__(self, options: ModbusOptions, link: GatedLink) -> None:
        self._link = link
        self._name = f"Modbus unit {options.unit} at {options.link}"
        self._part = f"relay board at {options.link}"
        self._modbus = Modbus(options.framing_used, options.unit, self._part)
        self._runs = runs(int(coil) for setting in options.paths.values() for coil in setting)
        self._silence_s = silence_s(options.baud) if options.framing_used == "rtu" else 0.0
        self._quiet_since = 0.0

    def identify(self) -> str:
        return self._name

    def read(self) -> Setting:
        stands: dict[str, bool] = {}
        for first, count in self._runs:
            request, reply = self._modbus.read_coils(first, count)
            self._keep_silence()
            states = self._link.exchange(request, reply)
            self._quiet_since = monotonic()
            stands |= {str(first + nth): state for nth, state in enumerate(states)}
        return stands

    def write(self, relay: str, on: bool) -> None:
        request, reply = self._modbus.write_coil(int(relay), on)
        self._keep_silence()
        self._link.exchange(request, reply)
        self._quiet_since = monotonic()

    def close(self) -> None:
        self._link.close()

    def _keep_silence(self) -> None:
        """On a serial line a frame begins where silence ends; a board that saw none takes two frames for one."""
        pause(self._quiet_since + self._silence_s - monotonic(), self._part)


def open_switch(options: ModbusOptions) -> Relays:
    """A board that has answered; `RigError` when it does not."""
    part = f"relay board at {options.link}"
    return answering(part, Coils(options, open_link(options, part, coils_only)), options)


DRIVER = Driver(kind="switch", name="modbus", options=ModbusOptions, open=open_switch)
