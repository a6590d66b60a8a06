"""Real wires for simulated instruments: TCP sockets and pseudo-terminals, each served by its own thread.

A wire knows bytes and faults. What the bytes mean is a session's business: a function that takes what arrived,
made with a function that sends.
"""

import contextlib
import os
import select
import shutil
import socket
import tempfile
import threading
import tty
from collections.abc import Callable
from pathlib import Path
from typing import Protocol

from sweeper.simulation.wires.faults import Send, WireFaults


class Feed(Protocol):
    """A session: takes the bytes that arrived."""

    def __call__(self, data: bytes, /) -> None: ...


MakeSession = Callable[[Send], Feed]


class TcpWire:
    """A listening socket on the loopback address; every connection has its own session and thread."""

    def __init__(self, make_session: MakeSession, faults: WireFaults, port: int = 0) -> None:
        self._make_session = make_session
        self._faults = faults
        faults.hang_up = self.hang_up
        faults.unplug = self.unplug
        faults.plug = self.plug
        self._open: set[socket.socket] = set()
        self._lock = threading.Lock()
        self._threads: list[threading.Thread] = []
        self._listener = socket.create_server(("127.0.0.1", port))
        self.port: int = self._listener.getsockname()[1]
        self.link = f"tcp://127.0.0.1:{self.port}"
        self._start()

    def _start(self) -> None:
        self._run(self._accept, self._listener)

    def _run(self, target: Callable[[socket.socket], None], which: socket.socket) -> None:
        thread = threading.Thread(target=target, args=(which,), daemon=True)
        with self._lock:
            self._threads = [each for each in self._threads if each.is_alive()]
            self._threads.append(thread)
            thread.start()

    def _accept(self, listener: socket.socket) -> None:
        while True:
            try:
                connection, _ = listener.accept()
            except OSError:
                return
            connection.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            with self._lock:
                self._open.add(connection)
            self._run(self._talk, connection)

    def _talk(self, connection: socket.socket) -> None:
        ready: list[bytes] = []
        here = threading.get_ident()

        def send(reply: bytes) -> None:
            if self._faults.none_at_hand and threading.get_ident() == here:
                ready.append(reply)
            else:
                flush()
                self._faults.carry(reply, connection.sendall)

        def flush() -> None:
            """Replies to what came in one piece go out in one piece."""
            if ready:
                connection.sendall(b"".join(ready))
                ready.clear()

        feed = self._make_session(send)
        try:
            while data := connection.recv(4096):
                feed(data)
                flush()
        except OSError:
            pass  # the other end went away, or a fault hung up
        finally:
            with self._lock:
                self._open.discard(connection)
            connection.close()
            with contextlib.suppress(OSError):
                feed(b"")

    def hang_up(self) -> None:
        """Close every connection, and go on listening."""
        with self._lock:
            connections = list(self._open)
        for connection in connections:
            with contextlib.suppress(OSError):
                connection.shutdown(socket.SHUT_RDWR)

    def unplug(self) -> None:
        """Close everything: the next connection is refused."""
        with contextlib.suppress(OSError):
            self._listener.shutdown(socket.SHUT_RDWR)
        self._listener.close()
        self.hang_up()

    def plug(self) -> None:
        """Listen again, on the same port."""
        self._listener = socket.create_server(("127.0.0.1", self.port))
        self._start()

    def close(self) -> None:
        """Close everything for good, and wait until nobody talks any more."""
        self.unplug()
        with self._lock:
            threads = list(self._threads)
        for thread in threads:
            thread.join(5.0)
        self.hang_up()  # whoever came in at the last moment
        for thread in self._threads:
            thread.join(5.0)


class PtyWire:
    """A pseudo-terminal behind a link that keeps its name when the adapter is pulled and put back."""

    def __init__(self, make_session: MakeSession, faults: WireFaults) -> None:
        self._make_session = make_session
        self._faults = faults
        faults.hang_up = self.hang_up
        faults.unplug = self.unplug
        faults.plug = self.plug
        self._folder = tempfile.mkdtemp(prefix="saltmarsh-")
        self.link = str(Path(self._folder) / "serial")
        self._master = self._slave = self._wake = -1
        self._lock = threading.Lock()
        self.plug()

    def plug(self) -> None:
        """Put the adapter in: a new terminal behind the same name."""
        master, slave = os.openpty()
        tty.setraw(master)
        tty.setraw(slave)
        wake_read, self._wake = os.pipe()
        self._master, self._slave = master, slave
        link = Path(self.link)
        link.unlink(missing_ok=True)
        link.symlink_to(os.ttyname(slave))
        self._thread = threading.Thread(target=self._talk, args=(master, slave, wake_read), daemon=True)
        self._thread.start()

    def _talk(self, master: int, slave: int, wake: int) -> None:
        def send(reply: bytes) -> None:
            self._faults.carry(reply, write)

        def write(reply: bytes) -> None:
            os.write(master, reply)

        feed = self._make_session(send)
        waiting = select.poll()
        waiting.register(master, select.POLLIN)
        waiting.register(wake, select.POLLIN | select.POLLHUP)
        try:
            while all(fd == master for fd, _ in waiting.poll()):
                feed(os.read(master, 4096))
        except OSError:
            pass  # unplugged while a reply was on its way
        finally:
            for end in (master, slave, wake):
                os.close(end)
            with contextlib.suppress(OSError):
                feed(b"")

    def unplug(self) -> None:
        """Pull the adapter out: whoever holds the terminal gets a hang-up."""
        with self._lock:
            wake, self._wake = self._wake, -1
        if wake >= 0:
            os.close(wake)
            if threading.current_thread() is not self._thread:
                self._thread.join(5.0)
            Path(self.link).unlink(missing_ok=True)

    def hang_up(self) -> None:
        """Close the line, as a pulled plug does, and open it again."""
        self.unplug()
        self.plug()

    def close(self) -> None:
        self.unplug()
        shutil.rmtree(self._folder, ignore_errors=True)


Wire = TcpWire | PtyWire
