"""Readings in and out by the installed command: what a person without a relay does, and what a mistake costs."""

import csv
import json
import os
import pty
import subprocess
import sys
from io import StringIO
from pathlib import Path

import polars as pl
import pytest

from tests.sweeper.station.files import written

pytestmark = [pytest.mark.clock, pytest.mark.slow]

SWEEPER = [str(Path(sys.executable).with_name("sweeper"))]
HEADER = "time,pass,band,hz,for,source,route,reading"


@pytest.fixture
def station(tmp_path: Path) -> Path:
    return written(tmp_path)


def sweeper(*arguments: object) -> subprocess.CompletedProcess[str]:
    command = [*SWEEPER, *map(str, arguments)]
    return subprocess.run(command, capture_output=True, text=True, check=False, timeout=120)


def night_by_hand(file: Path, spoilt: str = "") -> Path:
    """Twenty passes, switched by hand every ten minutes."""
    lines = [HEADER]
    for number in range(1, 21):
        for step, route in enumerate(("bypass", "stage", "stage", "bypass")):
            for hz, purpose in ((7038500, "noise"), (7202000, "carrier")):
                moment = f"2026-11-01T{18 + number // 6:02}:{number % 6}{step}:00Z"
                lines.append(
                    f"{moment},{number},40 m,{hz},{purpose},antenna,{route},{-50 + 13 * (route == 'stage')}"
                )
    if spoilt:
        lines[7] = lines[7].replace("antenna", spoilt)
    file.write_text("\r\n".join([*lines, ""]), encoding="utf-8")
    return file


@pytest.mark.quick
def test_readings_taken_by_hand_come_in_and_go_out_again(station: Path, tmp_path: Path) -> None:
    came = sweeper("import", station, night_by_hand(tmp_path / "night.csv"))
    assert came.returncode == 0, came.stderr
    assert "160 readings" in came.stdout
    out = sweeper("export", station, "--format", "csv")
    assert out.returncode == 0, out.stderr
    rows = list(csv.DictReader(StringIO(out.stdout)))
    assert len(rows) == 160
    assert rows[0]["time"] == "2026-11-01T18:10:00.000Z" and rows[0]["dbm"] == ""
    assert (
        sweeper("export", station, "--format", "parquet", "--out", tmp_path / "all.parquet").returncode == 0
    )
    assert pl.read_parquet(tmp_path / "all.parquet")["reading"].unique().sort().to_list() == [-50.0, -37.0]


def test_an_export_may_be_cut_short_by_its_reader(station: Path, tmp_path: Path) -> None:
    sweeper("import", station, night_by_hand(tmp_path / "night.csv"))
    export = [*SWEEPER, "export", str(station), "--format", "csv"]
    with subprocess.Popen(export, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None and process.stderr is not None
        process.stdout.close()
        assert process.stderr.read() == ""
    assert process.returncode == 0


def test_a_day_that_cannot_be_read_is_named_by_whoever_would_read_it(station: Path, tmp_path: Path) -> None:
    sweeper("import", station, night_by_hand(tmp_path / "night.csv"))
    (day,) = (tmp_path / "saltmarsh.data" / "Saltmarsh" / "days").iterdir()
    day.write_bytes(day.read_bytes()[:-100])
    for command in (["export", station, "--format", "csv"], ["analyse", station]):
        told = sweeper(*command)
        assert f"{day}: this is no whole day of readings" in told.stderr, told
        assert "Traceback" not in told.stderr


def test_a_refused_file_is_told_by_its_lines_and_leaves_nothing(station: Path, tmp_path: Path) -> None:
    came = sweeper("import", station, night_by_hand(tmp_path / "night.csv", spoilt="ariel"))
    assert came.returncode == 2
    assert "this is no path; a path is antenna, load or noise" in came.stderr
    assert "line 8: 'ariel-bypass'" in came.stderr
    assert came.stdout == ""
    out = sweeper("export", station, "--format", "csv")
    assert len(out.stdout.splitlines()) <= 1


def test_a_bad_station_file_is_told_whole_with_exit_code_two(tmp_path: Path) -> None:
    station = written(
        tmp_path, ("latitude: 56.2", "latitude: 562"), ("rest: antenna-bypass", "rest: load-bypass")
    )
    for command in ("plan", "check", "analyse"):
        told = sweeper(command, station)
        assert told.returncode == 2, told
        assert f"{station}:3: station.latitude" in told.stderr and f"{station}:24: switch.rest" in told.stderr
        assert "Traceback" not in told.stderr


def test_the_plan_is_told_before_the_night(station: Path) -> None:
    told = sweeper("plan", station)
    assert told.returncode == 0, told.stderr
    for word in ("Visits a pass", "Relay life", "years", "Next passes"):
        assert word in told.stdout


def test_one_reading_is_called_one(station: Path, tmp_path: Path) -> None:
    file = tmp_path / "one.csv"
    file.write_text(
        f"{HEADER}\n2026-11-01T18:00:00Z,1,40 m,7038500,noise,antenna,bypass,-50\n", encoding="utf-8"
    )
    assert "1 reading brought in" in sweeper("import", station, file).stdout


def spreadsheet(file: Path) -> Path:
    """An evening as a listener keeps it: semicolons, decimal commas, day first, S-units, dates written once."""
    lines = ["Date;Time;kHz;In/Out;Meter;Remarks"]
    for minute in range(0, 120, 4):
        for step, (khz, stage, meter) in enumerate(
            (("7038,5", "out", "S3"), ("7038,5", "in", "S5"), ("7202", "in", "S9+10"), ("7202", "out", "S9"))
        ):
            date = "24.10.2026" if not minute and not step else ""
            lines.append(
                f"{date};{18 + (minute + step) // 60}:{(minute + step) % 60:02};{khz};{stage};{meter};"
            )
    file.write_bytes("\r\n".join(["\ufeff" + lines[0], *lines[1:], ";;;;;", ""]).encode())
    return file


@pytest.mark.slow
def test_a_spreadsheet_kept_by_hand_goes_in_and_is_reduced(station: Path, tmp_path: Path) -> None:
    table = spreadsheet(tmp_path / "evening.csv")
    asked = sweeper("import", station, table)
    assert asked.returncode == 2
    assert "the time has no zone; say --timezone" in asked.stderr and "(120 times)" in asked.stderr
    came = sweeper("import", station, table, "--timezone", "Europe/Copenhagen")
    assert came.returncode == 0, came.stderr
    assert "120 readings brought in" in came.stdout and "in 30 passes" in came.stdout
    assert (
        "Read with semicolons between cells, frequencies in kHz, times of Europe/Copenhagen." in came.stderr
    )
    rows = list(csv.DictReader(StringIO(sweeper("export", station).stdout)))
    assert rows[0]["time"] == "2026-10-24T16:00:00.000Z" and float(rows[1]["reading"]) == -24.0
    findings = json.loads(sweeper("analyse", station, "--json").stdout)
    (band,) = findings["bands"]
    assert band["band"] == "40 m" and sum(period["passes"] for period in band["periods"]) == 30
    again = sweeper("import", station, table, "--timezone", "Europe/Copenhagen")
    assert again.returncode == 2 and "all its 120 readings are stored already" in again.stderr


def test_the_template_is_a_table_for_this_station(station: Path, tmp_path: Path) -> None:
    printed = sweeper("import", station, "--template")
    assert printed.returncode == 0
    rows = list(csv.DictReader(StringIO(printed.stdout)))
    assert {row["kHz"] for row in rows} >= {"7038.5", "7202"} and {row["stage"] for row in rows} == {
        "in",
        "out",
    }
    assert "Name the table to bring in" in sweeper("import", station).stderr


def test_at_a_terminal_what_a_table_leaves_open_is_asked(station: Path, tmp_path: Path) -> None:
    """Elsewhere the same table is refused with the option that settles it."""
    table = tmp_path / "log.csv"
    table.write_text("Date;Time;kHz;Stage;S\n2026-11-03;18:05;7038.5;out;3\n", encoding="utf-8")
    refused = sweeper("import", station, table)
    assert refused.returncode == 2 and "--timezone" in refused.stderr
    ours, theirs = pty.openpty()
    try:
        os.write(ours, b"UTC\n")
        command = [*SWEEPER, "import", str(station), str(table)]
        asked = subprocess.run(
            command, stdin=theirs, capture_output=True, text=True, check=False, timeout=120
        )
    finally:
        os.close(ours)
        os.close(theirs)
    assert asked.returncode == 0, asked.stderr
    assert "Of which time zone are the times" in asked.stdout and "1 reading brought in" in asked.stdout
