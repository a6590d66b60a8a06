"""A writing process that is killed, whose disk fails or is slow: what it promised is there, and nothing by halves."""

import os
import random
import re
import shutil
import subprocess
import sys
import time
from pathlib import Path

import pytest

from sweeper.store import Store
from tests.clocks import seed
from tests.sweeper.store import writer_to_cut
from tests.sweeper.store.cuts import expected, look
from tests.sweeper.store.nights import LONGITUDE

pytestmark = pytest.mark.crash

KILLS = int(os.environ.get("SWEEPER_KILLS", "20"))
SEED = seed()
WRITER = [sys.executable, writer_to_cut.__file__]


def strace(*inject: str) -> list[str]:
    """A command prefix that makes system calls fail or wait."""
    found = shutil.which("strace")
    if found is None:
        pytest.skip("strace is not installed")
    return [found, "-f", "-qq", "-o", "/dev/null", *(f"--inject={each}" for each in inject)]


@pytest.mark.timeout(120 + 3 * KILLS)
def test_a_kill_at_any_moment_loses_no_promised_pass(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    chance = random.Random(SEED)
    promised = 0
    for kill in range(KILLS):
        place = tmp_path / str(kill)
        with subprocess.Popen([*WRITER, str(place), "1000000"], stdout=subprocess.PIPE, text=True) as process:
            assert process.stdout is not None
            said = [process.stdout.readline().rstrip() for _ in range(1 + chance.randrange(30))]
            assert said[0] == "opened"
            time.sleep(chance.uniform(0.0, 0.03))
            process.kill()
            said += [line.rstrip() for line in process.stdout if line.endswith("\n")]
        promised += sum(line.startswith("stored") for line in said)
        assert look(place, said) == [], f"kill {kill}, seed {SEED}"
        shutil.rmtree(place)
    with capsys.disabled():
        print(f"\n{KILLS} kills of a writing process, {promised} promised passes, seed {SEED}")
    assert promised > KILLS


FAILING = [
    *(("pwrite64", "EIO", nth) for nth in (1, 2, 9, 37)),
    *(("pwrite64", "ENOSPC", nth) for nth in (5, 20, 60)),
    *(("fdatasync", "EIO", nth) for nth in (1, 5, 9, 15)),
    *(("fsync", "EIO", nth) for nth in (1, 3, 4, 6)),
    *(("rename", "EIO", nth) for nth in (1, 2)),
]


@pytest.mark.parametrize(("call", "error", "nth"), FAILING)
def test_a_disk_that_fails_is_told_and_takes_nothing_with_it(
    tmp_path: Path, call: str, error: str, nth: int
) -> None:
    ran = subprocess.run(
        [*strace(f"{call}:error={error}:when={nth}+"), *WRITER, str(tmp_path), "9"],
        capture_output=True, text=True, check=False, timeout=60,
    )  # fmt: skip
    said = ran.stdout.splitlines()
    assert ran.returncode == 1, ran
    refused = next(line for line in said if line.startswith("refused"))
    assert re.search(r"disk reports an error|disk is full|cannot", refused), refused
    assert str(tmp_path) in refused
    if "opened" in said:
        assert look(tmp_path, said) == []


def test_a_slow_disk_makes_a_pass_late_and_never_half(tmp_path: Path) -> None:
    command = [*strace("fsync,fdatasync:delay_enter=60000"), *WRITER, str(tmp_path), "6"]
    seen = set()
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None
        assert process.stdout.readline() == "opened\n"
        with Store(tmp_path, "Saltmarsh", LONGITUDE, read_only=True) as reader:
            while process.poll() is None:
                numbers = [record.number for record in reader.passes()]
                readings = reader.readings().collect()
                assert readings.height % 32 == 0
                assert readings.height >= 32 * len(numbers)
                seen.add(len(numbers))
            assert reader.readings().collect().equals(expected([1, 2, 3, 4, 5, 6]))
        said = ["opened", *process.stdout.read().splitlines()]
    assert process.returncode == 0
    assert len(seen) > 2, "the disk was not slow enough to look meanwhile"
    assert look(tmp_path, said) == []
