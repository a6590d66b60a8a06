"""Every command on files that somebody else wrote: it ends, in words, with 0, 1 or 2, and touches nothing elsewhere.

The commands run in this process through the program's own `main`, so that anything but an exit is a failure.
"""

import contextlib
import io
import os
import shutil
import signal
import sys
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from drivers.config_files import station_file
from sweeper.cli import main
from sweeper.noise.seen import Found, Heard
from sweeper.noise.written import line_of
from sweeper.store import Store, keep_noise, write_csv
from tests.sweeper.store.nights import EVENING, LONGITUDE, fill, open_store, pass_of, spectra_of

pytestmark = [pytest.mark.slow, pytest.mark.clock]

CPU_S = 60
WORDS = [
    "[", "{", "]", "&a", "*a", "!!python/object:os.system", "~", "''", "-1", "0", "1e999", ".nan", ".inf", "9" * 400,
    "2026-13-01", "sunset", "999999999999999 h", "../..", "/etc/passwd", "\x00", "\u202e", "\x1b[2J", "=1+1", "no",
    "<<: *a", "\t", "{a: {b: {c: 1}}}", "[[[[]]]]", "'\n", "|", "tcp://127.0.0.1:1", "/dev/null", "😀" * 50,
]  # fmt: skip
COMMANDS = [
    ("analyse", "S"), ("analyse", "S", "--json"), ("report", "S", "--out", "out.html"), ("export", "S"),
    ("export", "S", "--format", "parquet", "--out", "out.parquet"), ("export", "S", "--from", "W"),
    ("import", "S", "C"), ("fleet", "."), ("fleet", ".", "--json"), ("compare", "S", "--fix", "2026-11-02T12:00Z"),
    ("compare", "S", "--fix", "W"), ("plan", "S"), ("check", "S"), ("status", "S"), ("new", "S", "--systemd", "units"),
    ("noise", "S"), ("noise", "S", "--json"), ("noise", "S", "--picture", "noise.png"),
    ("export", "S", "--spectra", "--format", "parquet", "--out", "out.parquet"),
    ("report", "S", "--picture", "out.svg"),
    ("calibrate", "S", "--levels", "L"), ("note", "S", "W"), ("export", "S", "--to", "W", "--out", "out.csv"),
]  # fmt: skip
FILES = [
    "station.yaml", "readings.csv", "levels.csv", "today.sqlite", "today.sqlite-wal", "manifest.json",
    "relay-wear.json", "summaries.json", "report.html", "station.yaml of the data",
    "days/2026-11-01.parquet", "days", "lock", "set-aside", "spectra/2026-11-01.parquet", "spectra",
    "noise/2026-11.jsonl", "noise", "ab/2026-11-26T173210Z.json", "last-check.json",
]  # fmt: skip


class Endless(BaseException):
    """The command used more of the processor than any has reason to."""


def ran(folder: Path, *words: str) -> tuple[int, str]:
    """Exit code, and what was said, of one call from inside `folder`."""

    def over(*_: object) -> None:
        raise Endless

    said = io.TextIOWrapper(io.BytesIO(), encoding="utf-8", errors="surrogateescape")
    saved = sys.argv, signal.signal(signal.SIGPROF, over)
    signal.setitimer(signal.ITIMER_PROF, CPU_S)
    sys.argv = ["sweeper", *words]
    code = 0
    try:
        with contextlib.chdir(folder), contextlib.redirect_stdout(said), contextlib.redirect_stderr(said):
            try:
                main()
            except SystemExit as left:
                code = left.code if isinstance(left.code, int) else int(left.code is not None)
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0)
        sys.argv = saved[0]
        signal.signal(signal.SIGPROF, saved[1])
    said.seek(0)
    return code, said.read()


@pytest.fixture(scope="module")
def right(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A station file, its data of three days and a running one, and a table to bring in."""
    folder = tmp_path_factory.mktemp("right")
    text = station_file("saltmarsh").read_text(encoding="utf-8")
    (folder / "station.yaml").write_text(text.replace("hz: 7204000", "hz: 7202000"), encoding="utf-8")
    with open_store(folder / "station.data") as store:
        fill(store, EVENING, 3, timedelta(days=1))
        shutil.copy(folder / "station.yaml", store.folder)
        store.write_pass(*pass_of(4, EVENING + timedelta(minutes=30)), spectra_of(4, EVENING))
        store.finish_days(EVENING + timedelta(days=9))
        fill(store, EVENING + timedelta(days=9), 1)
        for number in range(1, 4):
            comb = Found("comb", 7.0e6, 7.2e6, 0.02, 0.002, -60.0, 65_000.0, 1.0, 10, 8.0)
            at = EVENING + number * timedelta(days=1)
            one = Heard(at.timestamp(), number, "40 m", 7.0e6, 7.2e6, -40.0, None, 0.0, True, (comb,))
            keep_noise(store.folder, at, line_of([one]))
        (store.folder / "ab").mkdir()
        (store.folder / "ab" / "2026-11-26T173210Z.json").write_text('{"stage": "in"}', encoding="utf-8")
        (store.folder / "last-check.json").write_text("{}", encoding="utf-8")
    with open_store(folder / "other") as store:
        fill(store, EVENING + timedelta(days=20), 1)
    with Store(folder / "other", "Saltmarsh", LONGITUDE, read_only=True) as store:
        write_csv(store.readings(), folder / "readings.csv")
    shutil.rmtree(folder / "other")
    levels = [f"{dbm},{dbm + 73},{dbm + 73.5},{dbm + 72.5}" for dbm in range(-110, -20, 10)]
    (folder / "levels.csv").write_text("\n".join(["dbm,reading", *levels, ""]), encoding="utf-8")
    return folder


@contextlib.contextmanager
def copy_of(folder: Path, place: Path) -> Iterator[Path]:
    """A copy to spoil, with something beside it that nobody may touch."""
    shutil.copytree(folder, place / "given")
    outside = place / "outside"
    outside.mkdir()
    for name in ("mine.txt", "mine.sqlite", "mine.parquet"):
        (outside / name).write_text("mine\n" * 100)
    yield place / "given"
    assert {file.read_text() for file in outside.iterdir()} == {"mine\n" * 100}
    assert len(list(outside.iterdir())) == 3
    assert {file.name for file in place.iterdir()} == {"given", "outside"}
    shutil.rmtree(place)


def spoil(data: st.DataObject, folder: Path) -> None:
    """One file changed as somebody could."""
    name = data.draw(st.sampled_from(FILES), "file")
    inside = folder / "station.data" / "Saltmarsh"
    file = (
        folder / name
        if name in ("station.yaml", "readings.csv", "levels.csv")
        else inside / name.split(" ")[0]
    )
    how = data.draw(
        st.sampled_from(
            ["words", "words", "words", "bytes", "cut", "pipe", "folder", "leads out", "deep", "gone"]
        ),
        "how",
    )
    content = file.read_bytes() if file.is_file() else b"{}"
    if file.parent.is_symlink() or not file.parent.is_dir():
        return  # what was spoiled before stands in the way
    if file.is_dir() and not file.is_symlink():
        shutil.rmtree(file)
    file.unlink(missing_ok=True)
    at = data.draw(st.integers(0, len(content)), "at")
    if how == "words":
        lines = content.split(b"\n")
        for _ in range(data.draw(st.integers(1, 3))):
            nth = data.draw(st.integers(0, len(lines) - 1))
            word = data.draw(st.sampled_from(WORDS)).encode()
            parts = lines[nth].split(b": " if b": " in lines[nth] else b",")
            parts[data.draw(st.integers(0, len(parts) - 1))] = word
            lines[nth] = (b": " if b": " in lines[nth] else b",").join(parts)
        file.write_bytes(b"\n".join(lines))
    elif how == "bytes":
        file.write_bytes(
            content[:at] + data.draw(st.binary(max_size=40)) + content[at + data.draw(st.integers(0, 40)) :]
        )
    elif how == "cut":
        file.write_bytes(content[:at])
    elif how == "pipe":
        os.mkfifo(file)
    elif how == "folder":
        file.mkdir()
    elif how == "leads out":
        target = folder.parent / "outside"
        file.symlink_to(target if name in ("days", "set-aside") else target / "mine.txt")
    elif how == "deep":
        file.write_bytes(data.draw(st.sampled_from([b"[", b'{"a":', b"- ", b"a: {"])) * 50_000)


@pytest.mark.timeout(900)  # a wait that never ends uses no processor: this ends it
@settings(max_examples=30, deadline=None, suppress_health_check=list(HealthCheck))
@given(st.data())
def test_any_command_on_any_files_ends_in_words(
    tmp_path_factory: pytest.TempPathFactory, right: Path, data: st.DataObject
) -> None:
    with copy_of(right, tmp_path_factory.mktemp("spoiled")) as folder:
        for _ in range(data.draw(st.integers(1, 2), "files spoiled")):
            spoil(data, folder)
        call = data.draw(st.sampled_from(COMMANDS), "command")
        word = data.draw(st.sampled_from(WORDS).filter(lambda each: "\x00" not in each), "word")
        replaced = {"S": "station.yaml", "C": "readings.csv", "L": "levels.csv", "W": word}
        code, said = ran(folder, *(replaced.get(each, each) for each in call))
        assert code in (0, 1, 2), (code, said)
        assert "Traceback" not in said
        assert code == 0 or said.strip(), "it ended badly and said nothing"


@pytest.mark.parametrize("call", COMMANDS, ids=" ".join)
def test_each_command_works_on_files_that_are_right(
    right: Path, tmp_path: Path, call: tuple[str, ...]
) -> None:
    """Or the attacks would prove nothing. There is no rig here, so `check` says so."""
    replaced = {"S": "station.yaml", "C": "readings.csv", "L": "levels.csv", "W": "2026-11-02T12:00Z"}
    with copy_of(right, tmp_path / "whole") as folder:
        code, said = ran(folder, *(replaced.get(each, each) for each in call))
    assert code == (1 if call[0] in ("check", "status") else 0), said
