"""A link: request out, reply in, with a deadline, a retry, and a way back after garbage or a pulled plug.

It knows when a reply is whole only through the `Reader` that comes with each request.
"""

import random
import threading
from collections.abc import Callable
from typing import TypeVar

from drivers.contracts import Reader
from drivers.errors import BadReply, CalledOff, LinkLost, LinkTimeout, RigError
from drivers.links.backoff import backoff_s
from drivers.links.options import LinkOptions
from drivers.links.ports import QUIET_S, Port, TcpPort, open_port
from drivers.waiting import Deadline, bounded, pause

LONGEST_REPLY = 1 << 16
"""Bytes. Several times what a server says at its greeting; a reader begins anew with each piece that comes in."""

LAST_TRY_S = 0.5
"""Left of the patience for the last attempt. One with no time left could only hide what was wrong before it."""

T = TypeVar("T")


class Link:
    """One connection to one instrument, for one or more drivers in this process. Safe between threads.

    Every request must be harmless when sent twice: after silence or garbage it is sent again.
    """

    def __init__(self, options: LinkOptions, part: str) -> None:
        self._options = options
        self._part = part
        self._lock = threading.RLock()
        self._port: Port | None = None
        self._greetings: list[Callable[[], None]] = []
        self._greeting = False
        self._connected_once = False

    def exchange(self, request: bytes, read: Reader[T]) -> T:
        """Send `request` and return what `read` makes of the reply.

        A whole reply is waited for `timeout_s`. After silence, garbage or a lost link, one deadline holds for all that
        follows (bringing the link back, its greeting, asking again): `reconnect_s`, or where that is longer, the
        time of the repeats; a lost link is never waited for longer than `reconnect_s`.

        LinkTimeout when no whole reply came in time, LinkLost when the link stayed away, BadReply when garbage came
        back each time, Refused when `read` says so, CalledOff when somebody ordered to stop.
        """
        with self._lock:
            options = self._options
            retries = 0 if self._greeting else options.retries
            more_s = max(options.reconnect_s, retries * options.timeout_s)
            deadline = Deadline(options.timeout_s + more_s, self._part)
            while True:
                port = self._port or self._connect(deadline)
                try:
                    return self._once(port, request, read, deadline)
                except (LinkTimeout, LinkLost, BadReply) as fault:
                    self._resynchronise(fault, deadline)
                    if retries == 0 or deadline.remaining() <= 0.0:
                        raise
                    retries -= 1

    def send(self, request: bytes) -> None:
        """Send a request that has no reply."""
        with self._lock:
            deadline = Deadline(self._options.timeout_s + self._options.reconnect_s, self._part)
            port = self._port or self._connect(deadline)
            try:
                port.write(request, deadline.sooner(self._options.timeout_s))
            except (LinkLost, LinkTimeout) as fault:
                self._resynchronise(fault, deadline)
                raise

    def connect(self, options: LinkOptions) -> None:
        """Open the port as `options` say, unless it is open, and then stays as it is. LinkLost when that fails."""
        with self._lock:
            if self._port is None:
                self._options, self._connected_once = options, False
                self._connect(Deadline(options.timeout_s, self._part))

    @property
    def is_open(self) -> bool:
        """Whether it holds its port at the moment."""
        return self._port is not None

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

    def _once(self, port: Port, request: bytes, read: Reader[T], deadline: Deadline) -> T:
        answer = deadline.sooner(self._options.timeout_s)
        received = port.ask(request, answer)
        if (reply := read(received)) is not None:
            return reply
        while received and len(received) < LONGEST_REPLY and (more := port.read(answer)):
            received += more
            if (reply := read(received)) is not None:
                return reply
        what = f"only {received[:40]!r}" if received else "nothing"
        raise LinkTimeout(
            self._part,
            f"{what} came back within {self._options.timeout_s:g} s on {self._options.link}.",
            "Check power, cable and the speed of the line.",
        )

    def _connect(self, deadline: Deadline) -> Port:
        """Open the port; a link that worked before is given `reconnect_s` to come back, its greeting included.

        A link that did not come back is tried once and no more until it has been there again.
        """
        if self._greeting:
            raise LinkLost(self._part, "the link was lost again before it was greeted.", "Check the cable.")
        options = self._options
        patience_s = options.reconnect_s if self._connected_once else 0.0
        last_try_s = min(LAST_TRY_S, patience_s / 4)
        waits_s = backoff_s(patience_s, random.random)
        back = deadline.sooner(patience_s or options.timeout_s)
        while True:
            try:
                self._port = open_port(options, self._part, back.sooner(options.timeout_s))
                with bounded(back.remaining()):
                    self._greet()
                self._connected_once = True
                return self._port
            except CalledOff:
                self.close()
                raise
            except RigError:
                self.close()
                wait_s = min(next(waits_s, 0.0), back.remaining() - last_try_s)
                if wait_s <= 0.0:
                    self._connected_once = False
                    raise
                pause(wait_s, self._part)

    def _greet(self) -> None:
        self._greeting = True
        try:
            for greeting in self._greetings:
                greeting()
        finally:
            self._greeting = False
        if self._port is None:
            raise LinkLost(self._part, "the link was lost again while it was greeted.", "Check the cable.")

    def _resynchronise(self, fault: RigError, deadline: Deadline) -> None:
        """Make sure that no late or leftover byte can be taken for the next reply."""
        port = self._port
        if port is None:
            return
        if isinstance(fault, LinkLost) or isinstance(port, TcpPort):
            self.close()  # replies still under way die with the connection
            return
        try:
            until = deadline.sooner(self._options.timeout_s)
            while port.read(until.sooner(QUIET_S)):
                pass
        except LinkLost:
            self.close()
