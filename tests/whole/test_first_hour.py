"""What a newcomer meets in the first hour: places that are taken, folders that take nothing, no daemon to ask."""

import socket
import subprocess
import sys
from pathlib import Path

import pytest

from tests.sweeper.station.files import written
from tests.whole.test_import_export import night_by_hand

pytestmark = [pytest.mark.slow, pytest.mark.clock]

SWEEPER = str(Path(sys.executable).with_name("sweeper"))


def sweeper(*arguments: object) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [SWEEPER, *map(str, arguments)], capture_output=True, text=True, check=False, timeout=120
    )


def told(answer: subprocess.CompletedProcess[str], *words: str) -> None:
    """A call that could not work: one sentence with its mend, exit 2, no traceback."""
    assert answer.returncode == 2, answer
    assert "Traceback" not in answer.stderr and answer.stdout == ""
    for each in words:
        assert each in answer.stderr, answer.stderr


@pytest.fixture
def station(tmp_path: Path) -> Path:
    return written(tmp_path)


def test_a_port_that_is_taken_is_told_with_its_mend(tmp_path: Path) -> None:
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = taken.getsockname()[1]
        station = written(tmp_path, ("tcp://127.0.0.1:4532", f"tcp://127.0.0.1:{port}"))
        told(sweeper("simulate", station), str(port), "Address already in use", "write other ports")
        told(sweeper("serve", station, "--port", port), "Another page may be open already", "--port")


def test_an_address_that_is_not_this_computers_is_told(station: Path, tmp_path: Path) -> None:
    told(sweeper("serve", station, "--host", "192.0.2.7"), "This computer has no such address")
    told(sweeper("serve", station, "--host", "nowhere.invalid"), "leave --host out")
    (tmp_path / "far").mkdir()
    far = written(tmp_path / "far", ("tcp://127.0.0.1:4532", "tcp://192.0.2.7:4532"))
    told(sweeper("simulate", far), "is another computer", "tcp://127.0.0.1:4532")


@pytest.mark.parametrize("command", [("run", "--passes", "1"), ("serve", "--port", "0"), ("check",)])
def test_a_folder_that_cannot_be_written_is_told(
    station: Path, tmp_path: Path, command: tuple[str, ...]
) -> None:
    (tmp_path / "file").write_text("", encoding="utf-8")
    told(
        sweeper(command[0], station, *command[1:], "--data", tmp_path / "file"),
        "a file stands where a folder",
    )


def test_a_daemon_whose_folder_takes_nothing_fails_so_that_it_is_started_again(
    station: Path, tmp_path: Path
) -> None:
    """A wrong call ends with 2, after which no service manager tries again; a disk may be mounted late."""
    (tmp_path / "file").write_text("", encoding="utf-8")
    answer = sweeper("run", station, "--data", tmp_path / "file")
    assert answer.returncode == 1 and "a file stands where a folder" in answer.stderr
    assert "Traceback" not in answer.stderr


def test_a_device_that_is_not_there_is_told_by_the_pass(tmp_path: Path) -> None:
    station = written(tmp_path, ("link: tcp://127.0.0.1:5020", "link: /dev/ttyNOTHERE"))
    answer = sweeper("run", station, "--passes", "1")
    assert answer.returncode == 1 and "Traceback" not in answer.stderr  # a rig fault, not a wrong call
    first, last = answer.stderr.splitlines()[0], answer.stderr.splitlines()[-1]
    assert "1 pass now" in first and "pass 1 failed" in last and "/dev/ttyNOTHERE" in last


def test_status_without_a_daemon_tells_the_last_night(station: Path, tmp_path: Path) -> None:
    nothing = sweeper("status", station)
    assert nothing.returncode == 1 and "no daemon runs here" in nothing.stderr and nothing.stdout == ""
    sweeper("import", station, night_by_hand(tmp_path / "night.csv"))
    answer = sweeper("status", station)
    assert answer.returncode == 1 and "no daemon runs here" in answer.stderr
    assert "last measured Sunday 1 November 2026" in answer.stdout and "20 passes" in answer.stdout
