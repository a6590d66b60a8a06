"""The units as systemd takes them: read, scored, and run in a real one."""

import os
import re
import shutil
import signal
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.whole.idle import an_evening_past, write_a_night
from tests.whole.systemd_box import Box, systemd_box, why_not
from tests.whole.unattended import Unattended, unattended, until

pytestmark = [pytest.mark.system, pytest.mark.clock]

UNITS = Path(__file__).resolve().parents[2] / "systemd"
SERVICE = "sweeper@outpost.service"
REST = "sweeper-rest@outpost.service"

IMPATIENT = """\
[Service]
WatchdogSec=4s
RestartSec=200ms
"""
"""An addition for these tests alone, so that nobody waits three minutes for a watchdog."""


@pytest.mark.parametrize("unit", sorted(unit.name for unit in UNITS.glob("*.service")))
def test_a_unit_is_exposed_less_than_two_of_ten(unit: str) -> None:
    analyze = shutil.which("systemd-analyze")
    if analyze is None:
        pytest.skip("systemd-analyze is not installed (Debian: systemd)")
    answer = subprocess.run(
        [analyze, "security", "--offline=true", "--no-pager", UNITS / unit],
        capture_output=True, text=True, check=True, env={**os.environ, "SYSTEMD_COLORS": "0"},
    )  # fmt: skip
    score = re.search(r"Overall exposure level for \S+: ([\d.]+)", answer.stdout)
    assert score is not None and float(score[1]) < 2.0, answer.stdout


@pytest.mark.parametrize("unit", sorted(unit.name for unit in UNITS.glob("*.service")))
def test_systemd_finds_nothing_wrong_with_a_unit(unit: str, tmp_path: Path) -> None:
    analyze = shutil.which("systemd-analyze")
    if analyze is None:
        pytest.skip("systemd-analyze is not installed (Debian: systemd)")
    for each in UNITS.glob("*.service"):
        text = re.sub(r"(?m)^(Exec\w+=-?)\S+", rf"\1{sys.executable}", each.read_text(encoding="utf-8"))
        (tmp_path / each.name).write_text(text, encoding="utf-8")
    answer = subprocess.run(
        [analyze, "verify", "--man=no", tmp_path / unit.replace("@", "@saltmarsh")],
        capture_output=True, text=True, check=False, env={**os.environ, "SYSTEMD_UNIT_PATH": f"{tmp_path}:"},
    )  # fmt: skip
    assert answer.returncode == 0 and "saltmarsh" not in answer.stderr, answer.stderr


@pytest.fixture
def box(tmp_path: Path) -> Iterator[Box]:
    reason = why_not()
    if reason:
        pytest.skip(reason)
    with systemd_box(tmp_path) as started:
        yield started


@pytest.fixture
def station(tmp_path: Path) -> Iterator[Unattended]:
    with unattended(tmp_path, readings=8) as served:
        served.served.receiver.turn_dial(6_155_000, "AM")
        yield served


def installed(box: Box, station: Unattended) -> None:
    """Follow the installation steps of the units' comments."""
    for unit in ("sweeper@.service", "sweeper-rest@.service"):
        box.file(f"/etc/systemd/system/{unit}").write_text((UNITS / unit).read_text())
        box.program_here(unit)
    box.file("/etc/systemd/system/sweeper@.service.d/impatient.conf").write_text(IMPATIENT)
    box.file("/usr/lib/sysusers.d/sweeper.conf").write_text((UNITS / "sweeper.sysusers").read_text())
    box.run("systemd-sysusers")
    box.file("/etc/sweeper").mkdir(exist_ok=True)
    box.file("/etc/sweeper/outpost.yaml").write_text(station.file.read_text())
    box.run("systemctl", "daemon-reload")


def restored(station: Unattended) -> bool:
    receiver = station.served.receiver
    return (
        station.resting()
        and (receiver.hz, receiver.mode) == (6_155_000, "AM")
        and not station.served.forbidden
    )


def passes(box: Box) -> int:
    return len(box.journal(f"_SYSTEMD_UNIT={SERVICE}", "SWEEPER_OUTCOME=done"))


@pytest.mark.timeout(240)
def test_a_service_measures_is_watched_starved_restarted_and_stopped(
    box: Box, station: Unattended, tmp_path: Path
) -> None:
    installed(box, station)
    data = box.file("/var/lib/sweeper/outpost")
    write_a_night(tmp_path / "night", an_evening_past())
    shutil.copytree(tmp_path / "night", data)
    box.run("systemctl", "start", SERVICE)  # returns once the daemon has said that it is ready
    shown = box.show(SERVICE, "ActiveState", "StatusText", "MainPID", "User", "WatchdogUSec")
    assert shown["ActiveState"] == "active" and shown["User"] == "sweeper"
    assert shown["StatusText"].startswith("measuring")
    until(lambda: passes(box) >= 2, "two passes in the journal")
    entry = box.journal(f"_SYSTEMD_UNIT={SERVICE}", "SWEEPER_OUTCOME=done")[0]
    assert entry["SWEEPER_STATION"] == "Outpost" and entry["SWEEPER_PASS"] == "85"
    # Confined as it is, it turned the finished night into a file of its own.
    (written,) = (data / "Outpost" / "days").glob("*.parquet")
    assert written.stat().st_uid != 0
    assert entry["SYSLOG_IDENTIFIER"] == "sweeper" and entry["PRIORITY"] == "6"

    # Longer than the watchdog's patience: visits feed it.
    first = shown["MainPID"]
    before = passes(box)
    until(lambda: passes(box) >= before + 12, "passes past the watchdog's patience", 60)
    assert box.show(SERVICE, "MainPID", "NRestarts") == {"MainPID": first, "NRestarts": "0"}

    # Starved: the process lives, and does nothing.
    until(lambda: not station.resting(), "a relay away from rest")
    box.run("kill", f"-{signal.SIGSTOP.value}", first)
    until(lambda: box.show(SERVICE, "NRestarts")["NRestarts"] == "1", "a restart by the watchdog", 60)
    result = box.run("journalctl", "--no-pager", "--quiet", "-u", SERVICE)
    assert "Watchdog timeout" in result
    until(lambda: box.state(SERVICE) == "active", "the service to be back", 60)
    assert box.show(SERVICE, "MainPID")["MainPID"] != first
    after = passes(box)
    until(lambda: passes(box) > after, "a pass after the restart")

    box.run("systemctl", "stop", SERVICE)
    assert box.show(SERVICE, "ActiveState", "Result") == {"ActiveState": "inactive", "Result": "success"}
    assert restored(station)


@pytest.mark.timeout(240)
def test_a_daemon_that_dies_again_and_again_is_left_off_with_its_relays_at_rest(
    box: Box, station: Unattended
) -> None:
    installed(box, station)
    box.run("systemctl", "start", SERVICE)
    for _ in range(5):
        until(lambda: box.state(SERVICE) == "active", "the service to be up", 60)
        until(lambda: not station.resting(), "a relay away from rest", 60)
        box.run("systemctl", "kill", "--kill-whom=main", "--signal=KILL", SERVICE)
        until(lambda: box.state(SERVICE) != "active", "the kill to be noticed")
    until(lambda: box.state(SERVICE) == "failed", "systemd to give up", 60)
    until(lambda: box.journal(f"UNIT={REST}", "JOB_RESULT=done"), "the relays to be sent to rest")
    assert restored(station)


@pytest.mark.timeout(120)
def test_a_wrong_station_file_is_not_tried_again(box: Box, station: Unattended) -> None:
    installed(box, station)
    wrong = station.file.read_text().replace("settle_s: 0.01", "settle_s: soon", 1)
    box.file("/etc/sweeper/outpost.yaml").write_text(wrong)
    box.run("systemctl", "start", SERVICE, check=False)
    until(lambda: box.state(SERVICE) == "failed", "the service to fail")
    assert box.show(SERVICE, "ExecMainStatus", "NRestarts") == {"ExecMainStatus": "2", "NRestarts": "0"}
    assert "settle_s" in box.run("journalctl", "--no-pager", "--quiet", "-u", SERVICE)
