"""Everything a bad neighbour could send to a running daemon's local sockets, all at once, from a process of its own.

    python -m tests.whole.hostile FOLDER

floods the daemon whose data lie in FOLDER until its standard input ends.
"""

import contextlib
import os
import socket
import subprocess
import sys
import threading
from collections.abc import Iterator
from pathlib import Path

import zmq

from sweeper.daemon.live import endpoints
from sweeper.daemon.live.messages import Request
from tests.whole.unattended import Unattended


@contextlib.contextmanager
def hostile(station: Unattended) -> Iterator[None]:
    """The neighbour at work until the block ends."""
    process = subprocess.Popen(
        [sys.executable, "-m", "tests.whole.hostile", str(station.folder)],
        cwd=Path(__file__).resolve().parents[2],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
    )
    assert process.stdin is not None and process.stdout is not None
    try:
        assert process.stdout.readline() == b"flooding\n"
        yield
    finally:
        process.stdin.close()
        process.wait(30)
        process.stdout.close()


def flood_until_told(folder: Path) -> None:
    """Six kinds of bad manners in as many threads."""
    context: zmq.Context[zmq.Socket[bytes]] = zmq.Context()
    stop = threading.Event()

    def flood(body: bytes, frames: int) -> None:
        asking = context.socket(zmq.DEALER)
        asking.linger = 0
        asking.sndtimeo = 50
        asking.connect(endpoints.local(folder, "control"))
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
                    raw.connect(str(folder / "control"))
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
        listening.connect(endpoints.local(folder, "live"))
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
    print("flooding", flush=True)
    sys.stdin.read()
    stop.set()
    for thread in threads:
        thread.join(10)
    context.destroy(linger=0)


if __name__ == "__main__":
    flood_until_told(Path(sys.argv[1]))
