"""A small disk to fill."""

import os
import resource
import shutil
import signal
import subprocess
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest


@dataclass(frozen=True)
class SmallDisk:
    """A disk with room for half a megabyte, until it is filled up or given more."""

    place: Path
    give_more_room: Callable[[], object]
    fill_up: Callable[[], object]


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[SmallDisk]:
    """As root a file system of its own; otherwise a limit on the size of files."""
    place = tmp_path / "disk"
    place.mkdir()
    if os.geteuid() == 0:
        mount = ["mount", "-t", "tmpfs", "tmpfs", str(place)]
        subprocess.run([*mount, "-o", "size=600k"], check=True)
        yield SmallDisk(
            place,
            lambda: subprocess.run([*mount, "-o", "remount,size=60m"], check=True),
            lambda: (place / "ballast").write_bytes(b"x" * (shutil.disk_usage(place).free - 4096)),
        )
        subprocess.run(["umount", "-l", str(place)], check=True)
        return
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    handler = signal.signal(signal.SIGXFSZ, signal.SIG_IGN)

    def limit(size: int) -> None:
        resource.setrlimit(resource.RLIMIT_FSIZE, (size, before[1]))

    limit(300_000)
    yield SmallDisk(place, lambda: limit(before[0]), lambda: limit(2000))
    limit(before[0])
    signal.signal(signal.SIGXFSZ, handler)
