"""A link: request out, reply in, with a deadline, a retry, and a way back after garbage or a pulled plug.

It knows when a reply is whole only through the `Reader` that comes with each request.
"""

import random
import threading
import time
from collections.abc import Callable
from typing import TypeVar

from drivers.contracts import Reader
from drivers.errors import BadReply, LinkLost, LinkTimeout, RigError
from drivers.links.backoff import backoff_s
from drivers.links.options import LinkOptions
from drivers.links.ports import QUIET_S, Port, TcpPort, open_port

LONGEST_REPLY = 1 << 18
T = TypeVar("T")


class Link:
    """One connection to one instrument, for one or more drivers in this process. Safe between threads.

    Every request must be harmless when sent twice: after silence or garbage it is sent again.
    """

    def __init__(self, options: LinkOptions, part: str) -> None:
        self._options = options
        self._part = part
        self._retries = options.retries
        self._timeout_s = options.timeout_s
        self._lock = threading.RLock()
        self._port: Port | None = None
        self._greetings: list[Callable[[], None]] = []
        self._greeting = False
        self._connected_once = False

    def exchange(self, request: bytes, read: Reader[T]) -> T:
        """Send `request` and return what `read` makes of the reply.

        The first byte is waited for `timeout_s`, and the rest as long again. LinkTimeout when no whole reply came
        in time, LinkLost when the link stayed away, BadReply when garbage came back each time, Refused when
        `read` says so.
        """
        with self._lock:
            retries = 0 if self._greeting else self._retries
            while True:
                try:
                    return self._once(self._port or self._connect(), request, read)
                except (LinkTimeout, LinkLost, BadReply) as fault:
                    self._resynchronise(fault)
                    if retries == 0:
                        raise
                    retries -= 1

    def send(self, request: bytes) -> None:
        """Send a request that has no reply."""
        with self._lock:
            port = self._port or self._connect()
            try:
                port.write(request)
            except LinkLost as fault:
                self._resynchronise(fault)
                raise

    def connect(self) -> None:
        """Open the port if it is closed. LinkLost when that fails."""
        with self._lock:
            if self._port is None:
                self._connect()

    def on_connect(self, greeting: Callable[[], None]) -> None:
        """Run `greeting` whenever the link has come back, before anything else is sent."""
        with self._lock:
            self._greetings.append(greeting)

    def forget(self, greeting: Callable[[], None]) -> None:
        """No longer run `greeting`."""
        with self._lock:
            if greeting in self._greetings:
                self._greetings.remove(greeting)

    def close(self) -> None:
        """Close the port; the next exchange opens it again. Never raises."""
        with self._lock:
            if self._port is not None:
                self._port.close()
                self._port = None

    def _once(self, port: Port, request: bytes, read: Reader[T]) -> T:
        timeout_s = self._timeout_s
        received = port.ask(request, timeout_s)
        if (reply := read(received)) is not None:
            return reply
        give_up = time.monotonic() + timeout_s
        while received and len(received) < LONGEST_REPLY and time.monotonic() < give_up:
            more = port.read(timeout_s)
            received += more
            if more and (reply := read(received)) is not None:
                return reply
        what = f"only {received[:40]!r}" if received else "nothing"
        raise LinkTimeout(
            self._part,
            f"{what} came back within {timeout_s:g} s on {self._options.link}.",
            "Check power, cable and the speed of the line.",
        )

    def _connect(self) -> Port:
        """Open the port; a link that worked before is given `reconnect_s` to come back."""
        patience_s = self._options.reconnect_s if self._connected_once and not self._greeting else 0.0
        waits_s = backoff_s(patience_s, random.random)
        while True:
            try:
                self._port = open_port(self._options, self._part)
                self._greet()
                self._connected_once = True
                return self._port
            except RigError:
                self.close()
                wait_s = next(waits_s, None)
                if wait_s is None:
                    raise
                time.sleep(wait_s)

    def _greet(self) -> None:
        self._greeting = True
        try:
            for greeting in self._greetings:
                greeting()
        finally:
            self._greeting = False

    def _resynchronise(self, fault: RigError) -> None:
        """Make sure that no late or leftover byte can be taken for the next reply."""
        port = self._port
        if port is None:
            return
        if isinstance(fault, LinkLost) or isinstance(port, TcpPort):
            self.close()  # replies still under way die with the connection
            return
        try:
            give_up = time.monotonic() + self._options.timeout_s
            while port.read(QUIET_S) and time.monotonic() < give_up:
                pass
        except LinkLost:
            self.close()
