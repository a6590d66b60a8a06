"""Two hosts on one machine: network namespaces of the test's own, joined by a virtual cable."""

import contextlib
import os
import shutil
import subprocess
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

NETWORK = "198.18.0"
"""Addresses set apart for tests of network devices: RFC 2544, appendix C.2.2."""


@dataclass(frozen=True)
class Host:
    """A namespace by name, with its address and its end of the cable."""

    name: str
    address: str
    cable: str

    def command(self, *arguments: str) -> list[str]:
        """The command line that runs `arguments` on this host."""
        return ["ip", "netns", "exec", self.name, *arguments]

    def bytes_received(self) -> int:
        """What came over the cable so far."""
        counted = Path(f"/sys/class/net/{self.cable}/statistics/rx_bytes")
        shown = subprocess.run(self.command("cat", str(counted)), capture_output=True, text=True, check=True)
        return int(shown.stdout)


@contextlib.contextmanager
def two_hosts() -> Iterator[tuple[Host, Host]]:
    """Two hosts that reach each other and nothing else; needs root and iproute2."""
    if os.geteuid() != 0 or shutil.which("ip") is None:
        pytest.skip("network namespaces need root and iproute2")
    mark = f"{os.getpid() % 100_000:05d}"
    shack = Host(f"shack-{mark}", f"{NETWORK}.1", f"vs{mark}")
    club = Host(f"club-{mark}", f"{NETWORK}.2", f"vc{mark}")

    def ip(*arguments: str) -> None:
        subprocess.run(["ip", *arguments], check=True, capture_output=True)

    try:
        for host in (shack, club):
            ip("netns", "add", host.name)
        ip(
            "link",
            "add",
            shack.cable,
            "netns",
            shack.name,
            "type",
            "veth",
            "peer",
            "name",
            club.cable,
            "netns",
            club.name,
        )
        for host in (shack, club):
            ip("-n", host.name, "address", "add", f"{host.address}/24", "dev", host.cable)
            ip("-n", host.name, "link", "set", host.cable, "up")
            ip("-n", host.name, "link", "set", "lo", "up")
        yield shack, club
    finally:
        for host in (shack, club):
            subprocess.run(["ip", "netns", "delete", host.name], check=False, capture_output=True)
