"""The main job against other people's programs: hamlib's rigctld and a relay board made with pymodbus."""

import csv
import io
import json
import re
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.whole.peers import RelayBoard, WireTap, relay_board, rigctld, wire_tap

pytestmark = pytest.mark.clock

STATION = """\
station: {{name: Outpost, latitude: 56.2, longitude: 8.1, environment: rural}}
receiver:
  driver: hamlib
  link: tcp://127.0.0.1:{receiver_port}
  receive_only: true
  mode: USB
  bandwidth_hz: 2400
  settle_s: 0.01
  readings: 8
  interval_s: 0.002
  meter: {{unit: dB-over-S9, s9_dbm: -73, curve: []}}
switch:
  driver: modbus
  link: tcp://127.0.0.1:{switch_port}
  unit: 1
  settle_s: 0.01
  rest: antenna-bypass
  rated_operations: 100000
  paths:
    antenna-bypass: {{0: off, 1: off}}
    antenna-stage: {{0: on, 1: off}}
    load-bypass: {{0: off, 1: on}}
    load-stage: {{0: on, 1: on}}
stage: {{rated_gain_db: 15, rated_noise_figure_db: 3}}
bands:
  - name: 40 m
    channels:
      - {{hz: 7038500, for: noise}}
      - {{hz: 7202000, for: carrier}}
  - name: 20 m
    channels:
      - {{hz: 14099000, for: noise}}
analysis: {{worthwhile_db: 1.0, confidence: 0.95}}
"""


def sweeper(*arguments: object) -> "subprocess.CompletedProcess[str]":
    """The installed command, as a person calls it."""
    return subprocess.run(
        [str(Path(sys.executable).with_name("sweeper")), *map(str, arguments)],
        capture_output=True,
        text=True,
        timeout=600,
        check=False,
    )


@pytest.fixture
def board() -> Iterator[RelayBoard]:
    with relay_board() as started:
        yield started


@pytest.fixture
def tap() -> Iterator[WireTap]:
    with rigctld(1) as port, wire_tap(port) as started:
        yield started


@pytest.fixture
def station_file(tmp_path: Path, board: RelayBoard, tap: WireTap) -> Path:
    file = tmp_path / "outpost.yaml"
    file.write_text(STATION.format(receiver_port=tap.port, switch_port=board.port), encoding="utf-8")
    return file


def exported(station_file: Path) -> list[dict[str, str]]:
    answer = sweeper("export", station_file, "--format", "csv")
    assert answer.returncode == 0, answer.stderr
    return list(csv.DictReader(io.StringIO(answer.stdout)))


def test_what_rigctld_sent_is_what_is_stored(station_file: Path, board: RelayBoard, tap: WireTap) -> None:
    ran = sweeper("run", station_file, "--passes", 2)
    assert ran.returncode == 0, ran.stderr
    sent = [float(value) for value in re.findall(rb"get_level: STRENGTH\n(-?\d+(?:\.\d+)?)\n", tap.came)]
    rows = exported(station_file)
    assert [float(row["reading"]) for row in rows] == sent
    assert len(sent) >= 2 * 4 * 3 * 8
    assert {row["hz"] for row in rows} == {"7038500", "7202000", "14099000"}


def test_relays_go_bypass_stage_stage_bypass_and_rest(station_file: Path, board: RelayBoard) -> None:
    ran = sweeper("run", station_file, "--passes", 1)
    assert ran.returncode == 0, ran.stderr
    here = [row for row in exported(station_file) if row["source"] == "antenna" and row["hz"] == "7038500"]
    visits = here[:: len(here) // 4]  # four, of as many readings each, by the order of time
    assert [row["route"] for row in visits] == ["bypass", "stage", "stage", "bypass"]
    assert {row["route"] for row in here[: len(here) // 4]} == {"bypass"}
    assert board.coils == [False] * 8
    assert (0, True) in board.writes


def test_the_receiver_is_left_where_its_user_had_it(station_file: Path, tap: WireTap) -> None:
    import socket

    with socket.create_connection(("127.0.0.1", tap.port)) as user:
        user.sendall(b"+F 6155000\n+M AM 6000\n")
        while b"set_mode" not in tap.came:
            user.recv(200)
        ran = sweeper("run", station_file, "--passes", 1)
        assert ran.returncode == 0, ran.stderr
        tap.came.clear()
        user.sendall(b"+f\n+m\n")
        answer = b""
        while answer.count(b"RPRT 0") < 2:
            answer += user.recv(200)
    assert b"Frequency: 6155000" in answer
    assert b"Mode: AM" in answer


def test_stored_passes_become_findings_and_a_report(station_file: Path) -> None:
    assert sweeper("run", station_file, "--passes", 3).returncode == 0
    answer = sweeper("analyse", station_file, "--json")
    assert answer.returncode == 0, answer.stderr
    findings = json.loads(answer.stdout)
    assert findings["format"] == "sweeper-findings-1"
    assert [band["band"] for band in findings["bands"]] == ["40 m", "20 m"]
    page = station_file.with_name("morning.html")
    assert sweeper("report", station_file, "--out", page).returncode == 0
    assert "Outpost" in page.read_text(encoding="utf-8")


def test_no_command_reaches_the_receiver_that_could_key_a_transmitter(
    station_file: Path, tap: WireTap
) -> None:
    assert sweeper("run", station_file, "--passes", 1).returncode == 0
    commands = {line.split()[0] for line in bytes(tap.sent).decode("ascii").splitlines() if line.strip()}
    asked = {command.lstrip("+").lstrip("\\") for command in commands}
    keying = {"T", "set_ptt", "b", "send_morse", "send_dtmf", "\x94", "send_voice_mem", "w", "W", "send_cmd"}
    assert asked
    assert not asked & keying
