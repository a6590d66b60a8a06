"""Attacks on the data folder of a running daemon: deleted, replaced, read-only, no descriptors left.

What is told as done is on the disk, in the folder; what cannot be stored fails with its reason, and it goes on.
"""

import os
import resource
import shutil
import signal
import subprocess
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from sweeper.store import Store
from tests.whole.unattended import Unattended, ended, unattended, until

SCHEDULE = "[{every: 1 s}]"


def stored(data: Path) -> Counter[int]:
    """Readings by pass, as another process reads them."""
    with Store(data, "Outpost", 8.1, read_only=True) as store:
        return Counter(store.readings().collect()["pass"].to_list())


def told_as_done(said: str) -> set[int]:
    return {
        int(line.split()[1]) for line in said.splitlines() if " done" in line and line.startswith("pass ")
    }


def measuring(station: Unattended, passes: int = 2) -> None:
    until(lambda: len(station.store().passes()) >= passes, f"{passes} passes")


def said_so_far(process: "subprocess.Popen[str]", into: list[str]) -> str:
    assert process.stderr is not None
    os.set_blocking(process.stderr.fileno(), False)
    while line := process.stderr.readline():
        into.append(line)
    return "".join(into)


def test_a_deleted_folder_stores_nothing_and_nothing_is_told_as_done(tmp_path: Path) -> None:
    with unattended(tmp_path, schedule=SCHEDULE) as station, station.running() as process:
        measuring(station)
        shutil.rmtree(station.folder)
        lines: list[str] = []
        before = len(told_as_done(said_so_far(process, lines)))
        until(lambda: said_so_far(process, lines).count("data folder is gone") >= 1, "the trouble to be told")
        assert process.poll() is None
        until(lambda: station.resting(), "relays at rest")
        code, rest = ended(process, signal.SIGTERM)
        # One pass may have been stored and told just before the deletion was seen here.
        assert len(told_as_done("".join(lines) + rest)) <= before + 1
        assert code == 1, rest
        assert not station.folder.exists()


def test_after_a_folder_was_put_back_it_measures_again_and_has_all_that_was_told(tmp_path: Path) -> None:
    with unattended(tmp_path, schedule=SCHEDULE) as station, station.running() as process:
        measuring(station)
        lines: list[str] = []
        away = tmp_path / "away"
        station.folder.rename(away)
        until(lambda: "data folder is gone" in said_so_far(process, lines), "the trouble to be told")
        away.rename(station.folder)
        before = len(station.store().passes())
        until(lambda: len(stored(station.data)) >= before + 2, "passes after it was back")
        code, rest = ended(process, signal.SIGTERM)
        assert code == 0, rest
        assert told_as_done("".join(lines) + rest) == set(stored(station.data))


@pytest.mark.parametrize("which", ["today.sqlite", "lock", "today.sqlite-wal"])
def test_what_was_told_as_done_is_there_after_one_file_was_deleted(tmp_path: Path, which: str) -> None:
    with unattended(tmp_path, schedule=SCHEDULE) as station, station.running() as process:
        measuring(station)
        (station.folder / which).unlink()
        lines: list[str] = []
        until(lambda: "replaced meanwhile" in said_so_far(process, lines), "the trouble to be told")
        number = len(told_as_done(said_so_far(process, lines)))
        until(lambda: len(told_as_done(said_so_far(process, lines))) >= number + 2, "passes after it")
        code, rest = ended(process, signal.SIGTERM)
        assert code == 0, rest
        assert told_as_done("".join(lines) + rest) == set(stored(station.data))


def test_a_second_daemon_in_a_new_folder_is_not_measured_beside(tmp_path: Path) -> None:
    with unattended(tmp_path, schedule=SCHEDULE) as station, station.running() as first:
        measuring(station)
        station.folder.rename(tmp_path / "away")
        with station.running() as second:
            lines: list[str] = []
            until(lambda: "already writes" in said_so_far(first, lines), "the first to step back")
            measuring(station)
            told = len(told_as_done(said_so_far(first, lines)))
            more = len(station.store().passes()) + 2
            measuring(station, more)
            assert len(told_as_done(said_so_far(first, lines))) == told
            assert ended(second, signal.SIGTERM)[0] == 0
        before = len(told_as_done(said_so_far(first, lines)))
        until(lambda: len(told_as_done(said_so_far(first, lines))) > before, "the first to go on")
        assert ended(first, signal.SIGTERM)[0] == 0
        numbers = [record.number for record in station.store().passes()]
        assert len(numbers) == len(set(numbers))


@contextmanager
def disk_that_fails(folder: Path) -> Iterator[tuple[Path, Path]]:
    """A file system of its own, and the switch that makes the kernel turn it read-only, as after a bad block."""
    image, place = folder / "image", folder / "disk"
    place.mkdir()
    subprocess.run(["truncate", "-s", "16M", image], check=True)
    subprocess.run(["mkfs.ext4", "-q", "-F", image], check=True)
    mounted = subprocess.run(["mount", "-o", "loop,errors=remount-ro", image, place], check=False)
    if mounted.returncode:
        pytest.skip("no loop device can be mounted here")
    try:
        device = subprocess.run(
            ["findmnt", "-n", "-o", "SOURCE", place], capture_output=True, text=True, check=True
        ).stdout.strip()
        yield place, Path("/sys/fs/ext4") / Path(device).name / "trigger_fs_error"
    finally:
        subprocess.run(["umount", "-l", place], check=True)


@pytest.mark.skipif(os.geteuid() != 0, reason="mounting a disk needs root")
def test_a_disk_that_turns_read_only_fails_passes_and_the_daemon_lives(tmp_path: Path) -> None:
    with (
        disk_that_fails(tmp_path) as (disk, switch),
        unattended(tmp_path, schedule=SCHEDULE) as served,
    ):
        station = Unattended(served.served, served.file, disk)
        with station.running() as process:
            measuring(station)
            switch.write_text("the block is bad\n")
            until(lambda: "cannot be stored" in station.ask("status").sentence, "the trouble to be told")
            failed = station.ask("status").state
            assert failed is not None and station.resting() and process.poll() is None
            # Errors of this kind stay until somebody repairs the disk; it still answers and still ends well.
            until(lambda: station.answers(), "an answer")
            code, said = ended(process, signal.SIGTERM)
            assert code == 1 and "Traceback" not in said, said
            assert station.resting()


def test_without_a_descriptor_left_passes_fail_and_go_on_once_there_are_some(tmp_path: Path) -> None:
    with unattended(tmp_path, schedule=SCHEDULE) as station, station.running() as process:
        measuring(station)
        _, hard = resource.prlimit(process.pid, resource.RLIMIT_NOFILE)
        in_use = len(list(Path(f"/proc/{process.pid}/fd").iterdir()))
        resource.prlimit(process.pid, resource.RLIMIT_NOFILE, (min(in_use, 12), hard))
        lines: list[str] = []
        until(lambda: said_so_far(process, lines).count(" failed") >= 2, "passes to fail")
        assert process.poll() is None
        resource.prlimit(process.pid, resource.RLIMIT_NOFILE, (1024, hard))
        done = len(told_as_done(said_so_far(process, lines)))
        until(lambda: len(told_as_done(said_so_far(process, lines))) >= done + 2, "passes again")
        code, rest = ended(process, signal.SIGTERM)
        said = "".join(lines) + rest
        assert code == 0 and "Traceback" not in said, said
        assert told_as_done(said) == set(stored(station.data))
