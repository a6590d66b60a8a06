"""SoapySDR's own server, on a real sound server: a receiver of samples across the network that nobody here wrote.

A sink with two channels is a sound card that delivers I and Q; SoapySDR's module for sound cards makes a device of it,
and its server offers that over TCP and UDP. The server announces itself, so that it wants a message bus and a daemon
for that: both are started on a bus of their own, and answer nobody else.
"""

import socket
import subprocess
import sys
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import Any

import pytest

from tests.drivers.samples.sound_server import DEADLINE_S, sound_server, wait_for

NEEDED = ("pulseaudio", "pacat", "dbus-daemon", "avahi-daemon", "SoapySDRServer")
PACKAGES = (
    "Debian: avahi-daemon dbus pulseaudio python3-soapysdr soapyremote-server soapysdr-module-audio "
    "soapysdr-module-remote"
)
BUS = """<!DOCTYPE busconfig PUBLIC "-//freedesktop//DTD D-Bus Bus Configuration 1.0//EN"
 "http://www.freedesktop.org/standards/dbus/1.0/busconfig.dtd">
<busconfig><type>system</type><listen>unix:path={socket}</listen><auth>EXTERNAL</auth>
<policy context="default"><allow user="*"/><allow own="*"/><allow send_destination="*"/><allow receive_sender="*"/>
</policy></busconfig>
"""
AVAHI = (
    "[server]\nuse-ipv6=no\nallow-interfaces=lo\nhost-name=sweeper-test\n[publish]\npublish-addresses=no\n"
)


def module_there(monkeypatch: pytest.MonkeyPatch, *names: str) -> bool:
    """Whether SoapySDR's Python module of the system has these modules; it is found from then on."""
    monkeypatch.setattr(sys, "path", [*sys.path, "/usr/lib/python3/dist-packages"])
    try:
        import SoapySDR
    except ImportError:
        return False
    return all(any(name in module for module in SoapySDR.listModules()) for name in names)


@contextmanager
def _started(*command: str) -> Iterator["subprocess.Popen[bytes]"]:
    process = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    try:
        yield process
    finally:
        process.terminate()
        try:
            process.wait(10)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait(DEADLINE_S)


@contextmanager
def soapy_server(folder: Path, monkeypatch: pytest.MonkeyPatch, rate_hz: int) -> Iterator[dict[str, Any]]:
    """SoapySDR's arguments of a device behind a server; what plays into the sink ``rx`` is on the air."""
    bus = folder / "bus"
    monkeypatch.setenv("DBUS_SYSTEM_BUS_ADDRESS", f"unix:path={bus}")
    (folder / "bus.conf").write_text(BUS.format(socket=bus))
    (folder / "avahi.conf").write_text(AVAHI)
    with socket.create_server(("127.0.0.1", 0)) as free:
        port = free.getsockname()[1]
    with ExitStack() as running:
        running.enter_context(sound_server(f"rx {rate_hz} 2"))
        running.enter_context(
            _started("dbus-daemon", f"--config-file={folder / 'bus.conf'}", "--nofork", "--nopidfile")
        )
        wait_for(bus.exists)
        running.enter_context(
            _started(
                "avahi-daemon",
                "--no-drop-root",
                "--no-chroot",
                "--no-rlimits",
                "-f",
                str(folder / "avahi.conf"),
            )
        )
        server = _served(running, port)
        assert server.poll() is None
        yield {
            "driver": "remote",
            "remote": f"tcp://127.0.0.1:{port}",
            "remote:driver": "audio",
            "device_id": 0,
        }


def _served(running: ExitStack, port: int) -> "subprocess.Popen[bytes]":
    """The server; it ends at once while nobody announces it yet, and is then started again."""
    found: list[subprocess.Popen[bytes]] = []

    def up() -> bool:
        if not found or found[-1].poll() is not None:
            found.append(running.enter_context(_started("SoapySDRServer", f"--bind=127.0.0.1:{port}")))
        try:
            socket.create_connection(("127.0.0.1", port), timeout=1).close()
        except OSError:
            return False
        return found[-1].poll() is None

    wait_for(up)
    return found[-1]
