"""The main job against other people's programs: hamlib's rigctld and a relay board made with pymodbus."""

import csv
import io
import json
import re
import socket
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

import pytest

from sweeper.cli import main
from tests.whole.peers import relay_board, rigctld, wire_tap

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


@dataclass(frozen=True)
class Night:
    """What one run of three passes did: at the board, on the receiver's wire, to the receiver and in the store."""

    station_file: Path
    writes: tuple[tuple[int, bool], ...]
    coils: tuple[bool, ...]
    sent: bytes
    came: bytes
    left: bytes
    rows: list[dict[str, str]]


@pytest.fixture(scope="module")
def night(tmp_path_factory: pytest.TempPathFactory) -> Night:
    file = tmp_path_factory.mktemp("outpost") / "outpost.yaml"
    with relay_board() as board, rigctld(1) as port, wire_tap(port) as tap:
        file.write_text(STATION.format(receiver_port=tap.port, switch_port=board.port), encoding="utf-8")
        with socket.create_connection(("127.0.0.1", tap.port)) as user:
            _two_answers(user, b"+F 6155000\n+M AM 6000\n")
            tap.sent.clear()
            tap.came.clear()
            ran = sweeper("run", file, "--passes", 3)
            assert ran.returncode == 0, ran.stderr
            sent, came = bytes(tap.sent), bytes(tap.came)
            left = _two_answers(user, b"+f\n+m\n")
        answer = sweeper("export", file, "--format", "csv")
        assert answer.returncode == 0, answer.stderr
        rows = list(csv.DictReader(io.StringIO(answer.stdout)))
        return Night(file, tuple(board.writes), tuple(board.coils), sent, came, left, rows)


def _two_answers(user: socket.socket, commands: bytes) -> bytes:
    user.sendall(commands)
    answers = b""
    while answers.count(b"RPRT 0") < 2:
        more = user.recv(200)
        assert more, f"the server closed the connection after {answers!r}"
        answers += more
    return answers


def test_what_rigctld_sent_is_what_is_stored(night: Night) -> None:
    sent = [float(value) for value in re.findall(rb"get_level: STRENGTH\n(-?\d+(?:\.\d+)?)\n", night.came)]
    assert [float(row["reading"]) for row in night.rows] == sent
    assert len(sent) >= 3 * 4 * 3 * 8
    assert {row["hz"] for row in night.rows} == {"7038500", "7202000", "14099000"}


@pytest.mark.parametrize("number", ["1", "2", "3"])
def test_relays_go_bypass_stage_stage_bypass_and_rest(night: Night, number: str) -> None:
    here = [
        row for row in night.rows if (row["pass"], row["source"], row["hz"]) == (number, "antenna", "7038500")
    ]
    visits = here[:: len(here) // 4]  # four, of as many readings each, by the order of time
    assert [row["route"] for row in visits] == ["bypass", "stage", "stage", "bypass"]
    assert {row["route"] for row in here[: len(here) // 4]} == {"bypass"}
    assert night.coils == (False,) * 8
    assert (0, True) in night.writes


def test_the_receiver_is_left_where_its_user_had_it(night: Night) -> None:
    assert b"Frequency: 6155000" in night.left
    assert b"Mode: AM" in night.left


def test_stored_passes_become_findings_and_a_report(
    night: Night, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def sweeper_here(*arguments: object) -> None:
        monkeypatch.setattr(sys, "argv", ["sweeper", *map(str, arguments)])
        with pytest.raises(SystemExit) as ended:
            main()
        assert ended.value.code == 0

    sweeper_here("analyse", night.station_file, "--json")
    findings = json.loads(capsys.readouterr().out)
    assert findings["format"] == "sweeper-findings-1"
    assert [band["band"] for band in findings["bands"]] == ["40 m", "20 m"]
    page = night.station_file.with_name("morning.html")
    sweeper_here("report", night.station_file, "--out", page)
    assert "Outpost" in page.read_text(encoding="utf-8")


def test_no_command_reaches_the_receiver_that_could_key_a_transmitter(night: Night) -> None:
    commands = {line.split()[0] for line in night.sent.decode("ascii").splitlines() if line.strip()}
    asked = {command.lstrip("+").lstrip("\\") for command in commands}
    keying = {"T", "set_ptt", "b", "send_morse", "send_dtmf", "\x94", "send_voice_mem", "w", "W", "send_cmd"}
    assert asked
    assert not asked & keying
