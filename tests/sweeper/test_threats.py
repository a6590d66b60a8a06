"""What docs/threats.md says of the code as a whole: no shell, no program, nothing evaluated; bytes are only data."""

import ast
import re
import tempfile
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sweeper.station import Station, StationFileError, load
from sweeper.store import BadRows
from sweeper.store.csv_in import Asked, read_csv
from sweeper.store.frames import COLUMNS
from tests.sweeper.station.files import RIGHT
from tests.sweeper.store.nights import CHANNELS

ROOT = Path(__file__).parents[2]
SOURCES = sorted([*(ROOT / "sweeper").rglob("*.py"), *(ROOT / "drivers").rglob("*.py")])
FORBIDDEN_MODULES = {
    "subprocess",
    "pickle",
    "marshal",
    "shelve",
    "pty",
    "code",
    "codeop",
    "ctypes",
    "runpy",
    "dill",
}
FORBIDDEN_CALLS = {"eval", "exec", "compile", "__import__", "system", "popen", "startfile", "fork", "forkpty"}

ITSELF = "os.execv(sys.executable, [sys.executable, '-m', RESCUE, str(station_file), str(folder)])"
"""The one exception: a process whose measuring is stuck is replaced by a fresh one, which runs a module of ours."""

STARTS_PROGRAMS = {
    # lists and captures sound; the simulation plays what it invented, into a sink that was named
    "drivers/samples/sound_programs.py": {"pactl", "parec", "arecord", "amixer"},
    "sweeper/simulation/receivers/sound_out.py": {"pacat"},
}
"""Where `subprocess` is allowed, and the programs that are started there, each by a word of the source."""


def test_the_source_is_found() -> None:
    assert len(SOURCES) > 50


@pytest.mark.parametrize("source", SOURCES, ids=lambda file: str(file.relative_to(ROOT)))
def test_no_shell_no_program_nothing_evaluated(source: Path) -> None:
    tree = ast.parse(source.read_text(encoding="utf-8"))
    starts = {"subprocess"} if str(source.relative_to(ROOT)) in STARTS_PROGRAMS else set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            assert not {alias.name.split(".")[0] for alias in node.names} & FORBIDDEN_MODULES - starts, (
                f"line {node.lineno}"
            )
        elif isinstance(node, ast.ImportFrom):
            assert (node.module or "").split(".")[0] not in FORBIDDEN_MODULES, f"line {node.lineno}"
        elif isinstance(node, ast.Call):
            name = node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", "")
            suspect = name in FORBIDDEN_CALLS or name.startswith(("exec", "spawn", "posix_spawn"))
            if suspect and ast.unparse(node) != ITSELF:
                of = ast.unparse(node.func.value) if isinstance(node.func, ast.Attribute) else ""
                dangerous = (name in FORBIDDEN_CALLS and of in ("", "os", "builtins")) or of == "os"
                assert not dangerous, f"line {node.lineno}: {ast.unparse(node)}"
            assert not any(word.arg == "shell" for word in node.keywords), f"line {node.lineno}"


def test_only_the_sound_systems_own_programs_are_started_and_none_of_them_plays() -> None:
    from drivers.errors import Refused, Unsupported
    from drivers.samples import sound_programs

    programs = STARTS_PROGRAMS["drivers/samples/sound_programs.py"]
    assert set(sound_programs.PACKAGES) == programs
    assert not programs & {"pacat", "paplay", "aplay", "pw-cat", "pw-play"}
    with pytest.raises(Unsupported):
        sound_programs.captured("paplay", ["x.wav"])
    assert sound_programs.answer("aplay", "-l") is None
    for name in ("-x", "--file=x", "a\nb", "", "$(x)", "a;b"):
        with pytest.raises(Refused):
            sound_programs.checked(name)
    named = {
        node.value
        for node in ast.walk(
            ast.parse((ROOT / "sweeper/simulation/receivers/sound_out.py").read_text("utf-8"))
        )
        if isinstance(node, ast.Constant) and node.value in ("pacat", "paplay", "aplay", "parec")
    }
    assert named == STARTS_PROGRAMS["sweeper/simulation/receivers/sound_out.py"]


@settings(max_examples=150, deadline=None)
@given(st.binary(max_size=400) | st.text(max_size=400).map(str.encode))
def test_any_bytes_are_a_station_file_or_are_refused(content: bytes) -> None:
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "station.yaml"
        file.write_bytes(content)
        with pytest.raises(StationFileError) as refused:
            load(file)
        assert refused.value.problems


@settings(max_examples=150, deadline=None)
@given(st.integers(0, len(RIGHT) - 1), st.integers(0, 12), st.text(max_size=12))
def test_a_station_file_with_any_part_replaced_is_read_or_refused(at: int, length: int, text: str) -> None:
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "station.yaml"
        file.write_text(RIGHT[:at] + text + RIGHT[at + length :], encoding="utf-8")
        try:
            assert isinstance(load(file), Station)
        except StationFileError as error:
            assert error.problems


ROW = "2026-11-01T16:00:00.250Z,1,40 m,7038500,noise,antenna,bypass,-61.5,-134.5,2400,stale\r\n"
CSV = ",".join(COLUMNS) + "\r\n" + ROW * 3


@settings(max_examples=200, deadline=None)
@given(st.integers(0, len(CSV)), st.integers(0, 12), st.binary(max_size=12))
def test_a_csv_file_with_any_bytes_replaced_is_read_or_refused(at: int, length: int, content: bytes) -> None:
    raw = CSV.encode()
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "readings.csv"
        file.write_bytes(raw[:at] + content + raw[at + length :])
        try:
            readings = list(read_csv(file, Asked(CHANNELS)))
        except BadRows as error:
            assert "othing of the file was taken" in str(error)
            return
        for reading in readings:
            # Nothing that a spreadsheet would take for a formula gets in: every text is one of ours.
            assert reading.channel.band == "40 m"
            assert all(flag[0].isalnum() for flag in reading.flags.split())


def test_every_test_that_the_page_names_is_there_and_every_attack_is_named() -> None:
    page = (ROOT / "docs" / "threats.md").read_text(encoding="utf-8")
    places = [ROOT / "tests", ROOT / "tests" / "sweeper", ROOT]
    named = set(re.findall(r"`((?:[\w.-]+/)*test_\w+\.py)`", page))
    assert len(named) > 40
    assert [name for name in sorted(named) if not any((place / name).exists() for place in places)] == []
    attacks = {file.name for file in (ROOT / "tests" / "whole").glob("test_attacks_*.py")}
    assert attacks - {name.rpartition("/")[2] for name in named} == set()
