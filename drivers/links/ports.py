"""Open byte streams: a TCP socket, or whatever pyserial's `serial_for_url` opens. No framing, no retries.

TCP does not go through pyserial's ``socket://``: that reads one byte at a time unless told how many will come,
leaves Nagle's delay on, and sleeps 0.3 s at each close. A visit would take twice as long as the wire does.
"""

import contextlib
import errno
import fcntl
import logging
import math
import os
import select
import socket
import struct
import termios
from typing import Protocol
from urllib.parse import urlsplit

import serial

from drivers.errors import CalledOff, InUse, LinkLost, LinkTimeout
from drivers.links.options import LinkOptions
from drivers.links.sockets import CHUNK, connect
from drivers.waiting import LOOK_S, Deadline, aside, ready

QUIET_S = 0.05
"""A line that says nothing for this long has nothing left to say: over ten characters at 2400 baud."""

_log = logging.getLogger(__name__)


class Port(Protocol):
    """An open byte stream. Every call but `close` raises LinkLost when the other end is gone."""

    def write(self, data: bytes, deadline: Deadline) -> None: ...

    def read(self, deadline: Deadline) -> bytes:
        """Whatever is there, waiting for the first byte; empty when none came in time."""
        ...

    def ask(self, request: bytes, deadline: Deadline) -> bytes:
        """Forget what came unasked, write `request`, and read as `read` does."""
        ...

    def close(self) -> None: ...


def open_port(options: LinkOptions, part: str, deadline: Deadline) -> Port:
    """Open what `options.link` names; LinkLost when it cannot be reached in time or somebody else holds it."""
    if options.link.startswith("tcp:"):
        return TcpPort(options, part, deadline)
    if options.link.startswith("/"):
        return SerialPort(options, part)
    # across a network, and pyserial waits as long as it likes for the other end
    try:
        return aside(lambda: SerialPort(options, part), deadline, lambda late: late.close())
    except TimeoutError:
        raise LinkLost(part, f"{options.link} did not open in time.", "Is it switched on?") from None


class TcpPort:
    """A TCP connection with Nagle's delay off and keep-alive on.

    Waiting for an answer is the kernel's (SO_RCVTIMEO), not Python's: with the latter each send and each receive is
    preceded by a poll of its own. It lasts until the next look at the deadline.
    """

    def __init__(self, options: LinkOptions, part: str, deadline: Deadline) -> None:
        parts = urlsplit(options.link)
        self._part = part
        try:
            self._socket = connect(str(parts.hostname), int(parts.port or 0), deadline)
        except OSError as fault:
            raise LinkLost(
                part,
                f"no connection to {options.link}: {fault.strerror or fault}.",
                "Nothing listens there: is it switched on, or its server started, and is the address right?"
                if fault.errno == errno.ECONNREFUSED
                else "Is it switched on and in this network, and is the address right?",
            ) from fault
        self._socket.setblocking(True)
        self._socket.setsockopt(socket.SOL_SOCKET, socket.SO_SNDTIMEO, _timeval(LOOK_S))
        self._wait_s = math.nan
        self._send, self._receive = self._socket.send, self._socket.recv
        waiting = select.poll()
        waiting.register(self._socket, select.POLLIN)
        self._waiting = waiting.poll

    def write(self, data: bytes, deadline: Deadline) -> None:
        left = data
        while left:
            over = deadline.remaining() <= 0.0
            try:
                left = left[self._send(left) :]
            except BlockingIOError as fault:
                if over:
                    raise LinkTimeout(
                        self._part, "it takes no more requests.", "Does its program hang?"
                    ) from fault
            except OSError as fault:
                raise self._lost(fault) from fault

    def read(self, deadline: Deadline) -> bytes:
        while (look_s := deadline.look_s()) > 0.0:
            if look_s != self._wait_s:
                self._socket.setsockopt(socket.SOL_SOCKET, socket.SO_RCVTIMEO, _timeval(look_s))
                self._wait_s = look_s
            try:
                data = self._receive(CHUNK)
            except BlockingIOError:
                continue
            except OSError as fault:
                raise self._lost(fault) from fault
            if not data:
                raise LinkLost(
                    self._part, "the other end closed the connection.", "It is tried again by itself."
                )
            return data
        return b""

    def ask(self, request: bytes, deadline: Deadline) -> bytes:
        try:
            while self._waiting(0) and self._receive(CHUNK):
                if deadline.remaining() <= 0.0:
                    break  # it babbles without end; a closed end shows below
        except BlockingIOError:
            pass
        except OSError as fault:
            raise self._lost(fault) from fault
        self.write(request, deadline)
        return self.read(deadline)

    def close(self) -> None:
        self._socket.close()

    def _lost(self, fault: OSError) -> LinkLost:
        return LinkLost(
            self._part, f"the connection broke: {fault.strerror or fault}.", "Check cable and power."
        )


def _timeval(seconds: float) -> bytes:
    """C's ``struct timeval``; never zero, which would mean for ever."""
    microseconds = max(round(seconds * 1e6), 1)
    return struct.pack("@ll", microseconds // 1_000_000, microseconds % 1_000_000)


PARITY = {"none": serial.PARITY_NONE, "even": serial.PARITY_EVEN, "odd": serial.PARITY_ODD}


class SerialPort:
    """A serial port (or any other pyserial URL), held exclusively, with RTS and DTR low from the start."""

    def __init__(self, options: LinkOptions, part: str) -> None:
        self._part = part
        self._url = options.link
        try:
            port = serial.serial_for_url(
                options.link,
                do_not_open=True,
                baudrate=options.baud,
                bytesize=options.data_bits,
                parity=PARITY[options.parity],
                stopbits=options.stop_bits,
                rtscts=options.flow_control == "rts-cts",
                xonxoff=options.flow_control == "xon-xoff",
                timeout=QUIET_S,
            )
            # Interfaces key a transmitter from these lines, so they are low before the port opens.
            port.rts = False
            port.dtr = False
            if isinstance(port, serial.Serial):  # ports across a network know neither
                port.exclusive = True
            port.open()
        except (OSError, ValueError, termios.error) as fault:
            if getattr(fault, "errno", None) in (errno.EBUSY, errno.EAGAIN):
                raise InUse(
                    part, f"another program holds {options.link}.", "Close that program; it is tried again."
                ) from fault
            raise LinkLost(
                part,
                f"cannot open {options.link}: {_because(fault)}.",
                "Is it plugged in, may this user open it (group dialout)?",
            ) from fault
        self._port = port
        self._fd = port.fd if isinstance(port, serial.Serial) else None
        if self._fd is not None:
            self._hold(self._fd)

    def _hold(self, fd: int) -> None:
        """Refuse the port to programs that know no locks, and say where the lines may have twitched."""
        with contextlib.suppress(OSError):
            fcntl.ioctl(fd, termios.TIOCEXCL)
        try:
            lines = struct.unpack("I", fcntl.ioctl(fd, termios.TIOCMGET, struct.pack("I", 0)))[0]
        except OSError:
            return  # a port without control lines cannot key anything by them
        if lines & (termios.TIOCM_RTS | termios.TIOCM_DTR):
            _log.warning(
                "%s: RTS or DTR stays high on %s; unplug whatever it could key.", self._part, self._url
            )
        else:
            _log.warning(
                "%s: this system raises RTS and DTR for a moment when %s opens, before they can be set low; "
                "an interface that keys a transmitter from them must be unplugged.",
                self._part,
                self._url,
            )

    def write(self, data: bytes, deadline: Deadline) -> None:
        try:
            if self._fd is None:
                aside(lambda: self._port.write(data), deadline, lambda late: None)
                return
            left = data
            while left:
                if not ready(self._fd, deadline, select.POLLOUT):
                    termios.tcflush(self._fd, termios.TCOFLUSH)  # else closing waits for it
                    raise LinkTimeout(
                        self._part,
                        f"{self._url} takes no more requests.",
                        "With hardware flow control and a cable of three wires, write flow_control: none.",
                    )
                left = left[os.write(self._fd, left) :]
        except TimeoutError as fault:
            raise LinkTimeout(self._part, f"{self._url} takes no more requests.") from fault
        except (OSError, termios.error) as fault:
            raise self._lost(fault) from fault

    def read(self, deadline: Deadline) -> bytes:
        try:
            if self._fd is not None:
                return self._port.read(self._port.in_waiting or 1) if ready(self._fd, deadline) else b""
            while not (data := self._port.read(self._port.in_waiting or 1)) and deadline.remaining() > 0.0:
                pass  # each read waits QUIET_S
            return data
        except (OSError, termios.error) as fault:
            raise self._lost(fault) from fault

    def ask(self, request: bytes, deadline: Deadline) -> bytes:
        try:
            if self._fd is not None and self._port.in_waiting:
                self._port.reset_input_buffer()
            while (
                self._fd is None and self._port.in_waiting
            ):  # which would wait for the other end to confirm it
                self._port.read(self._port.in_waiting)
        except (OSError, termios.error) as fault:
            raise self._lost(fault) from fault
        self.write(request, deadline)
        return self.read(deadline)

    def close(self) -> None:
        with contextlib.suppress(OSError, termios.error):
            if self._fd is not None:
                fcntl.ioctl(self._fd, termios.TIOCNXCL)
        with contextlib.suppress(OSError, termios.error, CalledOff):
            if self._fd is not None:
                self._port.close()
            else:  # pyserial waits for the other end and its own thread
                aside(self._port.close, Deadline(QUIET_S, self._part), lambda late: None)

    def _lost(self, fault: Exception) -> LinkLost:
        return LinkLost(
            self._part,
            f"{self._url} is gone: {_because(fault)}.",
            "Check the plug and the power; it is tried again.",
        )


def _because(fault: Exception) -> str:
    """In the system's own words where it gave a number: a library's repeat the port and the number."""
    number = getattr(fault, "errno", None)
    return os.strerror(number) if number else str(fault)
