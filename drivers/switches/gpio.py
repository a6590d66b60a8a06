"""Relays on the general-purpose lines of a small computer, through libgpiod (the optional package ``gpiod``).

A line that is already an output keeps its level when the program takes it; one that was not starts off. What a
line does after the program ends is up to the kernel's driver, and at power-on it floats: wire the relay so that a
floating or low line is antenna-bypass. A line drives a transistor, never a coil by itself.
"""

import contextlib
import errno
import re
from collections.abc import Iterable
from typing import TYPE_CHECKING, Literal

from pydantic import field_validator, model_validator

from drivers.contracts import Driver
from drivers.errors import InUse, LinkLost, RigError, Unsupported
from drivers.foreign import Foreign
from drivers.protocols.keying import in_names
from drivers.switches.relays import RelayOptions, Relays, Setting

if TYPE_CHECKING:
    from gpiod import Chip, LineRequest
    from gpiod.line_settings import LineSettings

CALL_S = 5.0
"""A line is set within microseconds; behind a slow bus (an expander, USB) within some milliseconds."""
CALLS = Foreign("relays on lines of a chip", "Unplug the chip, or start the computer again.")


class GpioOptions(RelayOptions):
    """The switch section of a station file with ``driver: gpio``; relays are line offsets or line names."""

    link: str
    active: Literal["high", "low"] = "high"

    @field_validator("link")
    @classmethod
    def _is_a_chip(cls, link: str) -> str:
        if not link.startswith("/dev/") or "/../" in link or not link.isprintable():
            raise ValueError(f"{link!r} is no chip; write its device, such as /dev/gpiochip0")
        return link

    @model_validator(mode="after")
    def _lines_are_for_relays(self) -> "GpioOptions":
        if word := in_names(*next(iter(self.paths.values()))):
            raise ValueError(f"a line with {word!r} in its name belongs to a transmitter, not to a relay")
        return self


class Lines:
    """The lines of one chip, held as outputs while the program runs."""

    def __init__(self, options: GpioOptions, part: str) -> None:
        self._part = part
        self._link = options.link
        self._key: dict[str, int | str] = {
            relay: int(relay) if re.fullmatch("[0-9]{1,5}", relay) else relay
            for relay in next(iter(options.paths.values()))
        }
        try:
            import gpiod
        except ImportError:
            raise Unsupported(
                part, "the package gpiod is not installed.", "In the program's environment: pip install gpiod"
            ) from None

        def taken() -> "LineRequest":
            with gpiod.Chip(options.link) as chip:
                config: dict[Iterable[int | str] | int | str, LineSettings | None] = {
                    key: _as_it_stands(chip, key, options.active) for key in self._key.values()
                }
            return gpiod.request_lines(options.link, consumer="sweeper", config=config)

        try:
            self._request = CALLS.call("taking its lines", CALL_S, taken, lambda late: late.release())
        except FileNotFoundError:
            raise LinkLost(part, f"there is no {options.link}.", "gpiodetect lists the chips.") from None
        except PermissionError:
            raise LinkLost(
                part, f"this user may not use {options.link}.", "Add the user to the group gpio."
            ) from None
        except ValueError as fault:
            raise Unsupported(part, f"it has no such line: {fault}.", "gpioinfo lists the lines.") from None
        except OSError as fault:
            if fault.errno == errno.EBUSY:
                raise InUse(part, "another program holds a line of it.", "gpioinfo shows which.") from None
            raise LinkLost(part, f"its lines cannot be taken: {fault}.", "gpioinfo shows them.") from None

    def identify(self) -> str:
        return f"lines {', '.join(self._key)} of {self._link}"

    def read(self) -> Setting:
        from gpiod.line import Value

        try:
            keys = list(self._key.values())
            values = CALLS.call("reading its lines", CALL_S, lambda: self._request.get_values(keys))
        except OSError as fault:
            raise self._gone(fault) from None
        return {relay: value is Value.ACTIVE for relay, value in zip(self._key, values, strict=True)}

    def write(self, relay: str, on: bool) -> None:
        from gpiod.line import Value

        key, value = self._key[relay], Value.ACTIVE if on else Value.INACTIVE
        try:
            CALLS.call("setting a line", CALL_S, lambda: self._request.set_value(key, value))
        except OSError as fault:
            raise self._gone(fault) from None

    def close(self) -> None:
        with contextlib.suppress(RigError, OSError):
            CALLS.call("letting go of its lines", CALL_S, self._request.release)

    def _gone(self, fault: OSError) -> LinkLost:
        return LinkLost(self._part, f"its lines are gone: {fault}.", "Was the chip unplugged?")


def _as_it_stands(chip: "Chip", key: int | str, active: Literal["high", "low"]) -> "LineSettings":
    """Settings that make the line an output without moving it, or off if it was no output."""
    from gpiod.line import Direction, Value
    from gpiod.line_settings import LineSettings

    offset = chip.line_offset_from_id(key)
    active_low = active == "low"
    value = Value.INACTIVE
    if chip.get_line_info(offset).direction is Direction.OUTPUT:
        as_is = LineSettings(direction=Direction.AS_IS, active_low=active_low)
        with chip.request_lines(config={offset: as_is}, consumer="sweeper") as look:
            value = look.get_value(offset)
    return LineSettings(direction=Direction.OUTPUT, active_low=active_low, output_value=value)


def open_switch(options: GpioOptions) -> Relays:
    """The lines, taken; `RigError` when they cannot be."""
    part = f"relays on {options.link}"
    return Relays(part, Lines(options, part), options)


DRIVER = Driver(kind="switch", name="gpio", options=GpioOptions, open=open_switch)
