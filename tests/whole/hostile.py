"""Everything a bad neighbour could send to a running daemon's local sockets, all at once."""

import contextlib
import os
import socket
import threading
from collections.abc import Iterator

import zmq

from sweeper.daemon import doors
from sweeper.daemon.messages import Request
from tests.whole.unattended import Unattended


@contextlib.contextmanager
def hostile(station: Unattended) -> Iterator[None]:
    """Everything a bad neighbour could send at once, until the block ends."""
    context: zmq.Context[zmq.Socket[bytes]] = zmq.Context()
    stop = threading.Event()

    def flood(body: bytes, frames: int) -> None:
        asking = context.socket(zmq.DEALER)
        asking.linger = 0
        asking.sndtimeo = 50
        asking.connect(doors.local(station.folder, "control"))
        while not stop.is_set():
            try:
                asking.send_multipart([b""] + [body] * frames)
            except zmq.Again:
                continue
            asking.poll(0) and asking.recv_multipart()
        asking.close()

    def noise() -> None:
        while not stop.is_set():
            with socket.socket(socket.AF_UNIX) as raw:
                raw.settimeout(0.2)
                try:
                    raw.connect(str(station.folder / "control"))
                    raw.sendall(os.urandom(2000))
                    raw.recv(100)
                except OSError:
                    pass
            stop.wait(0.01)

    def deaf() -> None:
        listening = context.socket(zmq.SUB)
        listening.linger = 0
        listening.rcvhwm = 1
        listening.subscribe(b"")
        listening.connect(doors.local(station.folder, "live"))
        stop.wait()
        listening.close()

    request = Request(command="status").model_dump_json().encode()
    work = [
        lambda: flood(request, 1),
        lambda: flood(b"\xff" * 1000, 1),
        lambda: flood(b"x" * 1_000_000, 1),
        lambda: flood(b"", 50),
        noise,
        deaf,
    ]
    threads = [threading.Thread(target=each, daemon=True) for each in work]
    for thread in threads:
        thread.start()
    try:
        yield
    finally:
        stop.set()
        for thread in threads:
            thread.join(10)
        context.destroy(linger=0)
