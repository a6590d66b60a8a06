"""The command line as a person meets it."""

import os
import re
import subprocess
import sys
from importlib.metadata import version
from pathlib import Path

import polars as pl
import pytest

from drivers.config_files import station_file as example
from sweeper.cli import main
from sweeper.store import Store
from tests.sweeper.store.nights import EVENING, pass_of, spectra_of
from tests.whole.test_main_job import sweeper

pytestmark = pytest.mark.slow

COMMANDS = (
    "demo", "new", "check", "plan", "run", "calibrate", "analyse", "compare", "report", "serve", "import", "export",
    "status", "pause", "resume", "note", "follow", "fleet", "simulate", "ab", "stop", "rest", "keys", "noise",
    "find-source",
)  # fmt: skip
STATION_COMMANDS = ("check", "plan", "run", "calibrate", "analyse", "compare", "report", "export", "status")


@pytest.mark.quick
@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_explains_itself_with_an_example(
    command: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr("sys.argv", ["sweeper", command, "--help"])
    with pytest.raises(SystemExit) as ended:
        main()
    assert ended.value.code == 0
    shown = capsys.readouterr().out
    assert f"Example: sweeper {command}" in shown and not re.search(r"<(bool|path|str|list)", shown)


@pytest.mark.quick
@pytest.mark.parametrize(("asked", "threads"), [(None, "1"), ("4", "4")])
def test_small_matrices_are_reckoned_by_one_thread_unless_somebody_asks_for_more(
    asked: str | None, threads: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.delenv("OPENBLAS_NUM_THREADS", raising=False)
    if asked is not None:
        monkeypatch.setenv("OPENBLAS_NUM_THREADS", asked)
    monkeypatch.setattr("sys.argv", ["sweeper", "--help"])
    with pytest.raises(SystemExit):
        main()
    assert os.environ["OPENBLAS_NUM_THREADS"] == threads


def test_all_commands_are_listed_in_groups_from_first_use_on(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    listed = []
    for way in ("-h", "--help"):
        monkeypatch.setattr("sys.argv", ["sweeper", way])
        with pytest.raises(SystemExit) as ended:
            main()
        assert ended.value.code == 0
        listed.append(capsys.readouterr().out)
    assert listed[0] == listed[1] and "<bool>" not in listed[0]
    groups = ("First use", "Measuring", "Reading", "Caring for it", "Many stations")
    places = [listed[0].index(f" {group} ") for group in groups]
    assert places == sorted(places)
    for command in COMMANDS:
        assert f" {command} " in listed[0]


def test_it_tells_its_version(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    monkeypatch.setattr("sys.argv", ["sweeper", "--version"])
    with pytest.raises(SystemExit) as ended:
        main()
    assert ended.value.code == 0 and capsys.readouterr().out == f"sweeper {version('stage-sweeper')}\n"


@pytest.mark.parametrize("command", STATION_COMMANDS)
def test_a_wrong_station_file_is_told_with_line_key_and_mend(command: str, tmp_path: Path) -> None:
    file = tmp_path / "wrong.yaml"
    text = example("saltmarsh").read_text(encoding="utf-8")
    file.write_text(
        text.replace("latitude: 56.2", "latitude: 156.2").replace("mode: USB", "modus: USB"), encoding="utf-8"
    )
    answer = sweeper(command, file)
    assert answer.returncode == 2, answer.stdout
    assert answer.stdout == ""
    line = next(
        n for n, each in enumerate(file.read_text(encoding="utf-8").splitlines(), 1) if "latitude" in each
    )
    assert f"{file}:{line}" in answer.stderr or f"line {line}" in answer.stderr
    assert "latitude" in answer.stderr
    assert "modus" in answer.stderr


@pytest.mark.quick
def test_a_station_file_that_is_not_there_is_said_so(tmp_path: Path) -> None:
    answer = sweeper("plan", tmp_path / "nowhere.yaml")
    assert answer.returncode == 2
    assert "nowhere.yaml" in answer.stderr


def test_no_readings_yet_is_no_traceback(tmp_path: Path) -> None:
    file = tmp_path / "saltmarsh.yaml"
    file.write_bytes(example("saltmarsh").read_bytes())
    for command in ("analyse", "report", "export", "compare"):
        answer = sweeper(command, file)
        assert answer.returncode == 2, answer.stderr
        assert "Traceback" not in answer.stderr
        assert "sweeper run" in answer.stderr


def test_spectra_go_out_as_parquet_and_as_nothing_else(tmp_path: Path) -> None:
    file, out = tmp_path / "saltmarsh.yaml", tmp_path / "spectra.parquet"
    file.write_bytes(example("saltmarsh").read_bytes())
    with Store(tmp_path / "saltmarsh.data", "Saltmarsh", 8.1) as store:
        store.write_pass(*pass_of(1, EVENING), spectra_of(1, EVENING))
    told = sweeper("export", file, "--spectra")
    assert told.returncode == 2
    assert "--spectra --format parquet --out FILE" in told.stderr
    told = sweeper("export", file, "--spectra", "--format", "parquet", "--out", out)
    assert told.returncode == 0, told.stderr
    assert pl.read_parquet(out)["band"].to_list() == ["40 m", "40 m"]


def test_an_empty_store_has_nothing_to_compare(tmp_path: Path) -> None:
    file = tmp_path / "saltmarsh.yaml"
    file.write_bytes(example("saltmarsh").read_bytes())
    with Store(tmp_path / "saltmarsh.data", "Saltmarsh", 8.1):
        pass
    for more in ((), ("--fix", "2026-03-04T12:00Z")):
        answer = sweeper("compare", file, *more)
        assert answer.returncode == 1, answer.stderr
        assert "no readings are stored" in answer.stderr


def test_a_time_that_is_none_is_told_how_to_write_it(tmp_path: Path) -> None:
    file = tmp_path / "saltmarsh.yaml"
    file.write_bytes(example("saltmarsh").read_bytes())
    answer = sweeper("analyse", file, "--from", "yesterday")
    assert answer.returncode == 2
    assert "2026-11-01T16:00Z" in answer.stderr


@pytest.mark.clock
def test_output_is_plain_where_it_is_no_terminal_and_fits_80_columns(tmp_path: Path) -> None:
    file = tmp_path / "saltmarsh.yaml"
    file.write_bytes(example("saltmarsh").read_bytes())
    answer = sweeper("plan", file)
    assert answer.returncode == 0
    assert "\x1b" not in answer.stdout
    assert max(map(len, answer.stdout.splitlines())) <= 80


@pytest.mark.clock
def test_no_color_is_honoured_on_a_terminal(tmp_path: Path) -> None:
    import pty

    file = tmp_path / "saltmarsh.yaml"
    file.write_bytes(example("saltmarsh").read_bytes())
    program = str(Path(sys.executable).with_name("sweeper"))
    shown = {}
    for name, environment in (("plain", {"NO_COLOR": "1"}), ("coloured", {})):
        mine, theirs = pty.openpty()
        base = {
            key: value for key, value in os.environ.items() if key not in ("NO_COLOR", "CI", "FORCE_COLOR")
        }
        with subprocess.Popen(
            [program, "plan", str(file)], stdout=theirs, env={**base, "TERM": "xterm-256color", **environment}
        ) as process:
            os.close(theirs)
            output = b""
            try:
                while chunk := os.read(mine, 4096):
                    output += chunk
            except OSError:
                pass  # a pseudo-terminal says so when its other end is closed
            process.wait(60)
        os.close(mine)
        shown[name] = output
    colour = b"\x1b[3"
    assert colour not in shown["plain"]
    assert b"Saltmarsh" in shown["plain"]
    assert shown["coloured"]


@pytest.mark.clock
def test_a_note_is_kept_also_where_no_daemon_runs(tmp_path: Path) -> None:
    file = tmp_path / "saltmarsh.yaml"
    file.write_bytes(example("saltmarsh").read_bytes())
    answer = sweeper("note", file, "Ferrites on the router")
    assert answer.returncode == 0, answer.stderr
    assert "The note is kept" in answer.stdout
    empty = sweeper("note", file, " ")
    assert empty.returncode == 2 and "needs words" in empty.stderr
    with Store(tmp_path / "saltmarsh.data", "Saltmarsh", 8.1) as busy:
        assert [note.text for note in busy.notes()] == ["Ferrites on the router"]
        refused = sweeper("note", file, "while another sweeper writes")
        assert refused.returncode == 1 and "another sweeper" in refused.stderr
        assert len(busy.notes()) == 1


def test_from_after_to_is_told_as_what_it_is(tmp_path: Path) -> None:
    file = tmp_path / "saltmarsh.yaml"
    file.write_bytes(example("saltmarsh").read_bytes())
    (tmp_path / "saltmarsh.data").mkdir()
    for command in ("analyse", "export"):
        answer = sweeper(command, file, "--from", "2026-11-02T16:00Z", "--to", "2026-11-01")
        assert answer.returncode == 2
        assert "--from: 2026-11-02T16:00Z is not before --to 2026-11-01" in answer.stderr


def test_a_file_to_import_that_is_not_there_is_no_missing_folder(tmp_path: Path) -> None:
    file = tmp_path / "saltmarsh.yaml"
    file.write_bytes(example("saltmarsh").read_bytes())
    answer = sweeper("import", file, tmp_path / "by-hand.csv")
    assert answer.returncode == 2 and "by-hand.csv: there is no such file" in answer.stderr


@pytest.mark.clock
def test_an_end_that_is_over_is_refused(tmp_path: Path) -> None:
    file = tmp_path / "saltmarsh.yaml"
    file.write_bytes(example("saltmarsh").read_bytes())
    answer = sweeper("run", file, "--until", "2020-01-01")
    assert answer.returncode == 2 and "2020-01-01 is over already" in answer.stderr


@pytest.mark.clock
def test_a_fault_that_the_record_tells_is_not_told_before_it_as_well(tmp_path: Path) -> None:
    file = tmp_path / "saltmarsh.yaml"
    text = example("saltmarsh").read_text(encoding="utf-8")
    # Ports 9 and 19 are the discard and the character generator service (RFC 863, 864), which nothing here offers.
    file.write_text(text.replace(":5020", ":9").replace(":4532", ":19"), encoding="utf-8")
    answer = sweeper("run", file, "--passes", "1")
    assert answer.returncode == 1 and answer.stderr.count("no connection to") == 1, answer.stderr


@pytest.mark.clock
def test_a_plan_says_when_passes_are_due_faster_than_they_can_be_measured(tmp_path: Path) -> None:
    file = tmp_path / "saltmarsh.yaml"
    text = example("saltmarsh").read_text(encoding="utf-8")
    file.write_text(text.replace("every: 12 min", "every: 10 s"), encoding="utf-8")
    assert "Passes are due every 10 s, but one takes" in " ".join(sweeper("plan", file).stdout.split())
    file.write_text(text, encoding="utf-8")
    assert "Passes are due" not in sweeper("plan", file).stdout


def test_a_dialect_that_is_not_there_is_told_without_paths_and_errno(tmp_path: Path) -> None:
    file = tmp_path / "saltmarsh.yaml"
    text = example("saltmarsh").read_text(encoding="utf-8")
    file.write_text(text.replace("driver: hamlib", "driver: dialect\n  dialect: nosuch"), encoding="utf-8")
    told = sweeper("check", file).stderr
    assert "there is none of that name. At hand: eb200" in told
    assert "Errno" not in told and "configs" not in told and ".." not in told


@pytest.mark.clock
def test_a_plan_calls_its_relay_a_relay(tmp_path: Path) -> None:
    file = tmp_path / "saltmarsh.yaml"
    file.write_bytes(example("saltmarsh").read_bytes())
    told = sweeper("plan", file).stdout
    assert "relay 0, rated for 100 000 operations" in " ".join(told.split())


@pytest.mark.clock
def test_plan_says_what_changes_of_route_while_the_dial_stays_cost_and_buy(tmp_path: Path) -> None:
    file = tmp_path / "saltmarsh.yaml"
    file.write_bytes(example("saltmarsh").read_bytes())
    told = " ".join(sweeper("plan", file).stdout.split())
    assert "known to ±0.5 dB after one night: the route changes" in told
    assert (
        "12 more relay operations" in told
        and "for the first 416 passes, a twentieth of the relays' life" in told
    )
