"""A real broker, mosquitto, on the loopback address."""

import shutil
import socket
import subprocess
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

from tests.drivers.switches.conftest import DEADLINE_S, free_port

MOSQUITTO = shutil.which("mosquitto") or "/usr/sbin/mosquitto"


@contextmanager
def broker(folder: Path, *lines: str, port: int | None = None) -> Iterator[int]:
    """mosquitto on a port of the loopback address, a free one unless told."""
    port = port or free_port()
    config = folder / f"mosquitto-{port}.conf"
    config.write_text("\n".join([f"listener {port} 127.0.0.1", "user root", *lines]), "utf-8")
    process = subprocess.Popen(
        [MOSQUITTO, "-c", str(config)], stdout=subprocess.DEVNULL, stderr=subprocess.PIPE
    )
    try:
        wait_for(lambda: accepts(port), "mosquitto does not listen")
        yield port
    finally:
        process.terminate()
        process.wait(DEADLINE_S)
        process.stderr.close()


def accepts(port: int) -> bool:
    with socket.socket() as probe:
        return probe.connect_ex(("127.0.0.1", port)) == 0


def wait_for(condition: Callable[[], bool], otherwise: str) -> None:
    give_up = time.monotonic() + DEADLINE_S
    while not condition():
        assert time.monotonic() < give_up, otherwise
        time.sleep(0.01)
