"""Sessions that carry bytes to a server of somebody else's making, so that faults can sit between."""

import contextlib
import socket
import threading
from collections.abc import Callable

from sweeper.simulation.wires.faults import Send
from sweeper.simulation.wires.wire import Feed


def pump(read: Callable[[], bytes], send: Send) -> None:
    """Carry what `read` gives to `send` from a thread of its own, until either end is closed."""

    def run() -> None:
        with contextlib.suppress(OSError):
            while data := read():
                send(data)

    threading.Thread(target=run, daemon=True).start()


def to_port(port: int, note: Callable[[bytes], None], send: Send) -> Feed:
    """A session that forwards to a port of this computer and tells `note` what was asked."""
    server = socket.create_connection(("127.0.0.1", port))
    server.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
    pump(lambda: server.recv(4096), send)

    def feed(data: bytes) -> None:
        if data:
            note(data)
            server.sendall(data)
            return
        with contextlib.suppress(OSError):
            server.shutdown(socket.SHUT_RDWR)
        server.close()

    return feed
