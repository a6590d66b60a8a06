"""Nothing that other people wrote steers the terminal of who reads it."""

import csv
import io
import json
import os
import pty
import subprocess
import sys
import unicodedata
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sweeper.printable import Printable, printable
from sweeper.store import import_csv, write_csv
from sweeper.store.csv_in import Asked
from sweeper.words import Channel
from tests.sweeper.store.nights import EVENING, open_store, pass_of

SWEEPER = str(Path(sys.executable).with_name("sweeper"))


@given(st.text())
def test_no_character_of_control_or_direction_is_left(text: str) -> None:
    stream = io.StringIO()
    Printable(stream).write(text)
    for character in stream.getvalue():
        assert character in "\t\n" or unicodedata.category(character) not in ("Cc", "Cs", "Zl", "Zp"), ascii(
            text
        )
        assert unicodedata.bidirectional(character) not in (
            "LRE",
            "RLE",
            "LRO",
            "RLO",
            "PDF",
            "LRI",
            "RLI",
            "FSI",
            "PDI",
        )


@given(st.text(alphabet=st.characters(exclude_categories=["Cs"])))
def test_json_stays_what_it_is(text: str) -> None:
    assert json.loads(printable(json.dumps({"band": text}, ensure_ascii=False))) == {"band": text}


@pytest.mark.slow
@pytest.mark.parametrize("word", ["\x1b]0;title\x07", "\x9b2J", "\u202egnp.exe", "\x1b[31m"])
def test_a_station_file_steers_no_terminal(tmp_path: Path, word: str) -> None:
    escaped = "".join(f"\\u{ord(character):04x}" for character in word)
    file = tmp_path / f"station{word}.yaml"
    file.write_text(f'station: {{name: "{escaped}", "{escaped}": 1}}\n', encoding="utf-8")
    for command in ("plan", "export"):
        answer = subprocess.run([SWEEPER, command, file], capture_output=True, text=True, check=False)
        assert answer.returncode == 2 and "Traceback" not in answer.stderr
        assert word not in answer.stdout + answer.stderr and "\\u" in answer.stderr


def test_a_terminal_gets_colours_but_none_from_names(monkeypatch: pytest.MonkeyPatch) -> None:
    from rich.text import Text

    from sweeper.report import terminal

    stream = io.StringIO()
    monkeypatch.setattr(sys, "stdout", Printable(stream))
    console = terminal.open_console()
    table = terminal.open_table(("band", "left"))
    table.add_row(Text("40 m\x1b[8m\u202e"))
    console.print(Text("\x9b2J name", "bold"))
    console.print(table)
    assert "\\u001b[8m\\u202e" in stream.getvalue() and "\\u009b2J name" in stream.getvalue()
    assert not {"\x1b", "\x9b", "\u202e"} & set(stream.getvalue())


def on_a_terminal(*words: str) -> str:
    """What a call writes when a terminal of 80 columns is all that it has."""
    leader, terminal = pty.openpty()
    environment = {**os.environ, "TERM": "xterm-256color", "COLUMNS": "80"}
    for word in ("NO_COLOR", "FORCE_COLOR", "TERMINAL_WIDTH"):
        environment.pop(word, None)
    with subprocess.Popen(
        [SWEEPER, *words], stdin=terminal, stdout=terminal, stderr=terminal, env=environment
    ):
        os.close(terminal)
        said = b""
        try:
            while part := os.read(leader, 65_536):
                said += part
        except OSError:  # the other side of it is closed: Linux says so with EIO
            os.close(leader)
    return said.decode()


def test_help_has_its_colours_on_a_terminal_and_none_elsewhere() -> None:
    said = on_a_terminal("plan", "--help")
    assert "\x1b[1m" in said and "\\u001b" not in said
    piped = subprocess.run([SWEEPER, "plan", "--help"], capture_output=True, text=True, check=True)
    assert "\x1b" not in piped.stdout and "\\u001b" not in piped.stdout


@pytest.mark.parametrize("call", [("{}",), ("plan", "--{}", "file"), ("plan", "{}.yaml")])
def test_a_wrong_call_is_told_in_colours_that_it_cannot_change(call: tuple[str, ...]) -> None:
    said = on_a_terminal(*(each.format("\x1b]0;title\x07\x9b2J\u202egnp") for each in call))
    assert not {"\x1b]", "\x07", "\x9b", "\u202e"} & {
        said[at : at + n] for at in range(len(said)) for n in (1, 2)
    }
    assert "\\u" in said or "\\x" in said


def test_the_stream_is_a_terminal_where_the_one_under_it_is() -> None:
    leader, terminal = pty.openpty()
    with os.fdopen(terminal, "w", encoding="latin-1") as under:
        stream = Printable(under)
        assert stream.isatty() and stream.encoding == "latin-1" and stream.fileno() == terminal
        assert not Printable(io.StringIO()).isatty()
    os.close(leader)


@pytest.mark.parametrize("band", ["=1+2", "+40", "-5", "@SUM(A1)", "'=1", "40 m", "'tis"])
def test_a_band_is_no_formula_in_a_spreadsheet_and_comes_back_as_it_was(tmp_path: Path, band: str) -> None:
    record, readings = pass_of(1, EVENING)
    channel = Channel(band, 7_038_500, "noise", 2400)
    readings = tuple(replace(each, channel=channel) for each in readings)
    out = tmp_path / "out.csv"
    with open_store(tmp_path / "one") as store:
        store.write_pass(record, readings)
        write_csv(store.readings(), out)
    with out.open(newline="", encoding="utf-8") as table:
        assert all(row["band"][0] not in "=+-@" for row in csv.DictReader(table))
    with open_store(tmp_path / "two") as store:
        assert import_csv(store, out, Asked([channel])).readings == len(readings)
        assert store.readings().collect()["band"].unique().to_list() == [band]
