"""Debian's systemd as process 1 of namespaces of its own, on a throw-away overlay of this machine's files.

Needs root, unshare(1) and overlayfs. Everything is gone when the box's first process ends. The network is this
machine's own loopback, so that instruments served by the test can be reached from inside.
"""

import contextlib
import json
import os
import shutil
import subprocess
import sys
import sysconfig
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from tests.whole.unattended import SWEEPER, until

SYSTEMD = Path("/lib/systemd/systemd")
SOURCE = Path(__file__).resolve().parents[2]

SETUP = """\
set -e
mount --make-rprivate /
mount -t tmpfs none "$1"
mkdir "$1/up" "$1/work" "$1/root"
mount -t overlay overlay -o "lowerdir=/,upperdir=$1/up,workdir=$1/work" "$1/root"
cd "$1/root"
mount -t proc proc proc
mount -t sysfs -o ro sysfs sys
for place in run tmp dev sys/fs/cgroup; do mount -t tmpfs -o mode=755 tmpfs $place; done
chmod 1777 tmp
mkdir -p ".$3"
mount --rbind "$3" ".$3"
mkdir dev/pts dev/shm sys/fs/cgroup/unified sys/fs/cgroup/systemd
for device in null zero full random urandom tty; do touch dev/$device; mount --bind /dev/$device dev/$device; done
mount -t devpts -o newinstance,ptmxmode=0666 devpts dev/pts
ln -s pts/ptmx dev/ptmx
ln -s /proc/self/fd dev/fd
mount -t cgroup2 cgroup2 sys/fs/cgroup/unified
mount -t cgroup -o none,name=systemd,xattr cgroup sys/fs/cgroup/systemd || true
: > etc/fstab
rm -rf etc/systemd/system/*.wants
for unit in systemd-udevd.service systemd-udev-trigger.service systemd-udevd-control.socket \\
    systemd-udevd-kernel.socket systemd-sysctl.service systemd-modules-load.service \\
    systemd-tmpfiles-setup-dev.service systemd-remount-fs.service systemd-random-seed.service \\
    sys-kernel-debug.mount sys-kernel-tracing.mount dev-hugepages.mount dev-mqueue.mount \\
    proc-sys-fs-binfmt_misc.automount; do
  ln -sf /dev/null etc/systemd/system/$unit
done
printf '[Unit]\\nRequires=basic.target\\nAfter=basic.target\\n' > etc/systemd/system/box.target
mkdir -p opt/sweeper/bin
ln -s "$2" opt/sweeper/bin/sweeper
mkdir old
pivot_root . old
cd /
umount -l /old
exec env -i container=box PATH="$PATH" /lib/systemd/systemd --system --unit=box.target --log-target=journal
"""

PROGRAM_IS_ELSEWHERE = """\
[Service]
ProtectHome=tmpfs
BindReadOnlyPaths={base} {environment} {source}
Environment=PYTHONPATH={source}/tests/ahead SWEEPER_TESTS_AHEAD_S={ahead_s}
"""
"""An addition for this test alone: the program under test lies where the developer's environment lies, and its clock
goes as far ahead as the test's."""


def why_not() -> str:
    """What keeps a systemd from being brought up here; empty when nothing does."""
    if os.geteuid() != 0:
        return "bringing up a systemd needs root"
    if not SYSTEMD.exists() or shutil.which("unshare") is None:
        return "systemd or unshare is not installed"
    probe = subprocess.run(
        ["unshare", "--mount", "--pid", "--fork", "--mount-proc", "true"], capture_output=True, check=False
    )
    return "" if probe.returncode == 0 else f"namespaces cannot be made here: {probe.stderr.decode().strip()}"


@dataclass
class Box:
    """A running systemd. `leader` is its process 1 as seen from outside."""

    leader: int

    def file(self, path: str) -> Path:
        """A file inside, from outside."""
        return Path(f"/proc/{self.leader}/root") / path.lstrip("/")

    def run(self, *command: str, check: bool = True) -> str:
        """Run a command inside; its standard output."""
        done = subprocess.run(
            [
                "nsenter",
                "--target",
                str(self.leader),
                "--mount",
                "--pid",
                "--uts",
                "--ipc",
                "--cgroup",
                "--root",
                *command,
            ],
            capture_output=True,
            text=True,
            timeout=60,
            check=False,
        )
        assert not check or done.returncode == 0, (command, done.stdout, done.stderr)
        return done.stdout

    def show(self, unit: str, *names: str) -> dict[str, str]:
        """Properties of a unit."""
        lines = self.run("systemctl", "show", unit, "--property", ",".join(names)).splitlines()
        return dict(line.split("=", 1) for line in lines if "=" in line)

    def state(self, unit: str) -> str:
        return self.show(unit, "ActiveState")["ActiveState"]

    def journal(self, *matches: str) -> list[dict[str, str]]:
        """Journal entries with these fields."""
        lines = self.run("journalctl", "--output=json", "--no-pager", "--quiet", *matches, check=False)
        return [json.loads(line) for line in lines.splitlines()]

    def program_here(self, unit: str) -> None:
        """Let a unit see the environment under test, which is not where an installed one would be."""
        folder = self.file(f"/etc/systemd/system/{unit}.d")
        folder.mkdir(parents=True, exist_ok=True)
        (folder / "here.conf").write_text(
            PROGRAM_IS_ELSEWHERE.format(
                base=sys.base_prefix,
                environment=sysconfig.get_path("data"),
                source=SOURCE,
                ahead_s=os.environ.get("SWEEPER_TESTS_AHEAD_S", "0"),
            )
        )


@contextlib.contextmanager
def systemd_box(folder: Path) -> Iterator[Box]:
    """A systemd that has reached its target; ended with all that it started when the block ends."""
    place = folder / "box"
    place.mkdir()
    process = subprocess.Popen(
        [
            "unshare",
            "--mount",
            "--pid",
            "--uts",
            "--ipc",
            "--cgroup",
            "--fork",
            "--kill-child",
            "sh",
            "-c",
            SETUP,
            "sh",
            str(place),
            SWEEPER,
            str(SOURCE),
        ],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
        stdin=subprocess.DEVNULL,
    )
    try:
        until(lambda: process.poll() is not None or _leader(process.pid), "the box's first process")
        assert process.poll() is None, process.stderr and process.stderr.read()
        box = Box(_leader(process.pid))
        until(
            lambda: (
                process.poll() is not None
                or box.run("systemctl", "is-active", "box.target", check=False).strip() == "active"
            ),
            "systemd to reach its target",
            60,
        )
        yield box
    finally:
        process.kill()
        process.wait(30)
        if process.stderr is not None:
            process.stderr.close()


def _leader(unshare: int) -> int:
    """The process that unshare(1) has put into the namespaces, once it is systemd; 0 before."""
    try:
        children = Path(f"/proc/{unshare}/task/{unshare}/children").read_text().split()
        if children and Path(f"/proc/{children[0]}/comm").read_text().strip() == "systemd":
            return int(children[0])
    except OSError:
        pass
    return 0
