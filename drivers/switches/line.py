"""One or two relays on the control lines of a serial port: RTS, DTR or both, through a transistor.

The lines are low before the port opens and fall when the program ends, so low must be antenna-bypass: the rest
position then needs nobody. Never use the port of a receiver or transceiver: its interface may key a transmitter
from the same lines. The port is locked, so a receiver that stands on it cannot be opened as well.
"""

import errno
import fcntl
import struct
import termios
from contextlib import suppress
from typing import Any

from pydantic import model_validator

from drivers.contracts import Driver
from drivers.errors import InUse, LinkLost, RigError
from drivers.foreign import Foreign
from drivers.links.identity import mistake_in
from drivers.switches.relays import RelayOptions, Relays, Setting, answering
from drivers.waiting import Deadline, aside

OPENS_S, SETS_S = 10.0, 4.0
"""Longer than the three seconds that a port across a network waits for each answer of its server."""
LINES = {"rts": termios.TIOCM_RTS, "dtr": termios.TIOCM_DTR}


class LineOptions(RelayOptions):
    """The switch section of a station file with ``driver: line``; the relays are called rts and dtr."""

    link: str

    @model_validator(mode="after")
    def _lines_rest_low(self) -> "LineOptions":
        for path, setting in self.paths.items():
            for line in setting:
                if line not in LINES:
                    raise ValueError(
                        f"{path} names {line!r}; a serial port has the control lines rts and dtr"
                    )
        if any(self.paths.get("antenna-bypass", {}).values()):
            raise ValueError("antenna-bypass must have every line off: the lines fall when the program ends")
        if mistake := mistake_in(self.link):
            raise ValueError(mistake)
        if self.link.startswith("tcp:"):
            raise ValueError(
                "a plain TCP link has no control lines; use a serial port, or rfc2217://HOST:PORT"
            )
        return self


class ControlLines:
    """RTS and DTR of one port. Their levels are read back from the port where the system can tell."""

    def __init__(self, options: LineOptions, part: str) -> None:
        self._part = part
        self._link = options.link
        self._lines = tuple(next(iter(options.paths.values())))
        self._foreign = Foreign(part, "Does the server of the port hang?")
        try:
            self._port = self._foreign.call(
                "opening the port", OPENS_S, lambda: _opened(options.link), lambda late: late.close()
            )
        except (OSError, ValueError, termios.error) as fault:
            if getattr(fault, "errno", None) in (errno.EBUSY, errno.EAGAIN):
                raise InUse(
                    part,
                    f"another program or driver holds {options.link}.",
                    "Give the relay a port of its own.",
                ) from None
            raise LinkLost(
                part, f"{options.link} does not open: {fault}.", "Is the adapter plugged in?"
            ) from None

    def identify(self) -> str:
        return f"control lines {' and '.join(line.upper() for line in self._lines)} of {self._link}"

    def read(self) -> Setting:
        fd = getattr(self._port, "fd", None)
        if fd is None:  # another machine's port: it has confirmed each level that was set
            return {line: bool(getattr(self._port, line)) for line in self._lines}
        try:
            levels = struct.unpack("I", fcntl.ioctl(fd, termios.TIOCMGET, struct.pack("I", 0)))[0]
        except OSError as fault:
            raise LinkLost(
                self._part, f"its control lines cannot be read: {fault}.", "Check the plug."
            ) from None
        return {line: bool(levels & LINES[line]) for line in self._lines}

    def write(self, relay: str, on: bool) -> None:
        try:
            self._foreign.call("setting a line", SETS_S, lambda: setattr(self._port, relay, on))
        except (OSError, ValueError, termios.error) as fault:
            raise LinkLost(
                self._part, f"{relay.upper()} cannot be set: {fault}.", "Check the plug."
            ) from None

    def close(self) -> None:
        with suppress(RigError, OSError, termios.error):  # a call that hangs ends with it
            aside(self._port.close, Deadline(SETS_S, self._part), lambda late: None)


def _opened(link: str) -> Any:
    """The port, with both lines low from the start."""
    import serial

    port = serial.serial_for_url(link, do_not_open=True)
    port.rts = False
    port.dtr = False
    if hasattr(port, "exclusive"):
        port.exclusive = True
    _close_whole(port)
    port.open()
    return port


def _close_whole(port: Any) -> None:
    """pyserial forgets the socket of another machine's port unclosed where its other end has gone: so it is kept."""
    close = port.close

    def whole() -> None:
        held = getattr(port, "_socket", None)
        close()
        if held is not None:
            held.close()

    port.close = whole


def open_switch(options: LineOptions) -> Relays:
    """The lines, low; `LinkLost` when the port does not open or has none."""
    part = f"relay on {options.link}"
    return answering(part, ControlLines(options, part), options)


DRIVER = Driver(kind="switch", name="line", options=LineOptions, open=open_switch)
