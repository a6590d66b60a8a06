"""The small print of the running day: each row, refusal and file by itself."""

import os
import shutil
import sqlite3
from collections.abc import Iterator, Sequence
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest

from sweeper.store import StoreError
from sweeper.store.errors import DiskError
from sweeper.store.frames import frame_of, schema
from sweeper.store.records import Note
from sweeper.store.running import (
    Damaged,
    RunningDay,
    all_ordinary,
    fits,
    instant,
    milliseconds,
    note_of,
    record_of,
)
from sweeper.words import PassRecord, Reading
from tests.sweeper.store.nights import EVENING, LONGITUDE, pass_of

DAY = date(2026, 11, 1)


@pytest.mark.parametrize("time_ms", [0, 1, -1, 1_793_548_800_123, -1500])
def test_instants_are_whole_milliseconds(time_ms: int) -> None:
    assert milliseconds(instant(time_ms)) == time_ms
    assert instant(time_ms) == datetime(1970, 1, 1, tzinfo=UTC) + timedelta(milliseconds=time_ms)
    assert milliseconds(datetime(1970, 1, 1, 0, 0, 0, 1600, tzinfo=UTC)) == 2
    with pytest.raises(ValueError, match="needs its zone"):
        milliseconds(EVENING.replace(tzinfo=None))


GOOD: tuple[object, ...] = (7, 1000, 2000, "done", "", 2, "[]", '["pass band"]')


def test_a_record_is_what_its_row_says() -> None:
    record = record_of(GOOD)
    assert (record.number, record.outcome, record.because, record.relay_operations) == (7, "done", "", 2)
    assert (record.started, record.ended) == (instant(1000), instant(2000))
    assert (record.left_over, record.unknown_settings) == ((), ("pass band",))
    assert note_of((5, "x")) == Note(instant(5), "x")


@pytest.mark.parametrize(
    ("place", "value"),
    [
        (3, "odd"),
        (3, None),
        (4, 5),
        (4, None),
        (6, "{}"),
        (6, "[1]"),
        (7, '"x"'),
        (0, "x"),
        (1, "x"),
        (5, "x"),
    ],
)
def test_a_row_that_is_no_record_is_refused_and_does_not_fit(place: int, value: object) -> None:
    row = [*GOOD]
    row[place] = value
    with pytest.raises((ValueError, TypeError)):
        record_of(row)
    assert not fits("passes")((row[0], "2026-11-01", *row[1:]))


@pytest.mark.parametrize(
    ("table", "row", "fit"),
    [
        ("passes", (7, "2026-11-01", *GOOD[1:]), True), ("passes", (7, "yesterday", *GOOD[1:]), False),
        ("passes", (7,), False), ("notes", (5, "x"), True), ("notes", (5, 6), False), ("notes", (10**30, "x"), False),
        ("memory", ("key", "{}"), True), ("memory", ("key", "{"), False),
    ],
)  # fmt: skip
def test_only_rows_that_can_be_read_are_salvaged(table: str, row: Sequence[object], fit: bool) -> None:
    assert fits(table)(row) == fit


def test_a_running_day_gives_back_what_went_in_by_day_and_in_order(tmp_path: Path) -> None:
    day = RunningDay(tmp_path / "today.sqlite", True)
    second, first = pass_of(2, EVENING + timedelta(days=1)), pass_of(1, EVENING)
    day.write([second, first], LONGITUDE)
    assert day.days() == (DAY, DAY + timedelta(days=1)) and day.last_pass() == 2
    assert [record.number for record in day.passes()] == [1, 2]
    assert [record.number for record in day.passes(DAY)] == [1]
    assert day.frame(DAY).equals(frame_of(first[1]))
    assert day.frame()["pass"].unique(maintain_order=True).to_list() == [1, 2]
    assert day.days_and_frame()[0] == day.days() and day.days_and_frame()[1].equals(day.frame())
    day.forget_readings([1])
    assert day.days() == (DAY + timedelta(days=1),) and [each.number for each in day.passes()] == [1, 2]
    assert day.frame(DAY).is_empty() and day.frame(DAY).columns == list(schema())
    day.close()


def test_all_passes_of_a_write_are_stored_or_none(tmp_path: Path) -> None:
    day = RunningDay(tmp_path / "today.sqlite", True)
    good, (record, wrong) = pass_of(1, EVENING), pass_of(2, EVENING)
    with pytest.raises(ValueError, match="another pass is among those of pass 3"):
        day.write([good, (pass_of(3, EVENING)[0], wrong)], LONGITUDE)
    assert day.passes() == () and day.last_pass() == 0
    day.write([good], LONGITUDE)
    with pytest.raises(StoreError, match="does not fit what is stored"):
        day.write([(record, wrong), good], LONGITUDE)
    assert [each.number for each in day.passes()] == [1]
    day.close()


def test_notes_and_values_are_kept_and_the_latest_value_holds(tmp_path: Path) -> None:
    day = RunningDay(tmp_path / "today.sqlite", True)
    later, earlier = Note(EVENING + timedelta(hours=1), "b"), Note(EVENING, "a")
    for note in (later, earlier):
        day.add_note(note)
    assert day.notes() == (earlier, later)
    assert day.recall("key") is None
    day.remember("key", "1")
    day.remember_all({"key": "2", "other": "3"})
    assert (day.recall("key"), day.recall("other")) == ("2", "3")
    day.close()


def test_salvaged_rows_that_do_not_fit_are_left_out(tmp_path: Path) -> None:
    day = RunningDay(tmp_path / "today.sqlite", True)
    day.take_over({"memory": [("a", "1"), ("a", "2"), ("b", None), ("c", "3")], "nothing": [(1,)]})
    assert [day.recall(key) for key in "abc"] == ["1", None, "3"]
    day.close()


@pytest.mark.parametrize(
    "change",
    [
        "CREATE VIEW notes_ AS SELECT 1; DROP TABLE notes; CREATE VIEW notes AS SELECT 1 AS time_ms, 'x' AS text",
        "DROP TABLE memory", "ALTER TABLE passes ADD COLUMN more TEXT",
        "CREATE TRIGGER t AFTER INSERT ON notes BEGIN DELETE FROM notes; END",
    ],
)  # fmt: skip
def test_a_database_with_other_tables_is_not_ours(tmp_path: Path, change: str) -> None:
    file = tmp_path / "today.sqlite"
    RunningDay(file, True).close()
    with sqlite3.connect(file) as other:
        other.executescript(change)
    other.close()
    for writable in (True, False):
        with pytest.raises(Damaged):
            RunningDay(file, writable)


def test_a_database_of_a_newer_program_is_left_alone(tmp_path: Path) -> None:
    file = tmp_path / "today.sqlite"
    RunningDay(file, True).close()
    with sqlite3.connect(file) as other:
        other.execute("PRAGMA user_version = 3")
    other.close()
    with pytest.raises(StoreError, match="a newer version of this program wrote it"):
        RunningDay(file, True)
    RunningDay(file, False).close()


@pytest.mark.parametrize("end", ["", "-wal", "-shm"])
def test_a_link_or_a_pipe_in_the_place_of_a_file_is_not_opened(tmp_path: Path, end: str) -> None:
    file = tmp_path / "today.sqlite"
    assert all_ordinary(file)
    (tmp_path / f"today.sqlite{end}").symlink_to(tmp_path / "elsewhere")
    assert not all_ordinary(file)
    (tmp_path / f"today.sqlite{end}").unlink()
    os.mkfifo(tmp_path / f"today.sqlite{end}")
    assert not all_ordinary(file)
    with pytest.raises(Damaged):
        RunningDay(file, True)


def test_a_reader_cannot_write_and_a_log_can_be_folded_in(tmp_path: Path) -> None:
    file = tmp_path / "today.sqlite"
    day = RunningDay(file, True)
    day.write([pass_of(1, EVENING)], LONGITUDE)
    assert (tmp_path / "today.sqlite-wal").stat().st_size > 0
    day.tidy()
    assert (tmp_path / "today.sqlite-wal").stat().st_size == 0
    reader = RunningDay(file, False)
    assert reader.last_pass() == 1
    with pytest.raises(DiskError, match="read-only"):
        reader.remember("a", "b")
    copy = tmp_path / "copy.sqlite"
    day.copy_to(copy)
    day.close()
    reader.close()
    again = RunningDay(copy, True)
    assert again.last_pass() == 1
    again.close()


def test_a_mistake_in_the_program_is_no_damage_to_the_database(tmp_path: Path) -> None:
    """A transaction within a transaction: SQLite calls it an error, as it does a table that is missing."""
    day = RunningDay(tmp_path / "today.sqlite", True)

    def meddling() -> Iterator[tuple[PassRecord, Sequence[Reading]]]:
        yield pass_of(1, EVENING)
        day.remember("a", "b")

    with pytest.raises(StoreError, match="within a transaction") as told:
        day.write(meddling(), LONGITUDE)
    assert not isinstance(told.value, Damaged) and day.passes() == ()
    day.close()


def test_a_database_of_the_first_version_with_other_tables_is_none_of_ours(tmp_path: Path) -> None:
    file = tmp_path / "today.sqlite"
    connection = sqlite3.connect(file)
    connection.executescript("CREATE TABLE passes (number); PRAGMA user_version = 1;")
    connection.close()
    before = file.read_bytes()
    with pytest.raises(Damaged):
        RunningDay(file, True)
    assert (
        file.read_bytes() == before
        or not sqlite3.connect(file).execute("PRAGMA user_version").fetchone()[0] > 1
    )


def test_a_database_of_the_first_version_has_no_spectra_where_it_is_only_read(tmp_path: Path) -> None:
    file = tmp_path / "today.sqlite"
    RunningDay(file, True).close()
    connection = sqlite3.connect(file)
    connection.executescript("DROP TABLE spectra; PRAGMA user_version = 1;")
    connection.close()
    day = RunningDay(file, False)
    assert day.days_of_spectra() == () and day.spectra().is_empty()
    day.close()
    taken_over = RunningDay(file, True)
    assert taken_over.days_of_spectra() == ()
    taken_over.close()
    connection = sqlite3.connect(file)
    assert connection.execute("SELECT count(*) FROM spectra").fetchone() == (0,)
    assert connection.execute("PRAGMA user_version").fetchone()[0] > 1
    connection.close()


@pytest.mark.parametrize("ends", [("", "-wal"), ("", "-wal", "-shm"), ("",)])
def test_whoever_may_not_write_beside_a_running_day_reads_its_log_too(
    ends: tuple[str, ...], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Passes of tonight stand in the log alone until it is put into the database; without a log all is in there."""
    running = RunningDay(tmp_path / "today.sqlite", True)
    running.write([pass_of(1, EVENING)], LONGITUDE)
    if ends == ("",):
        running.close()
    elsewhere = tmp_path / "copied"
    elsewhere.mkdir()
    for end in ends:
        shutil.copy(tmp_path / f"today.sqlite{end}", elsewhere / f"today.sqlite{end}")
    monkeypatch.setattr(os, "access", lambda path, mode: False)
    reader = RunningDay(elsewhere / "today.sqlite", False)
    assert [record.number for record in reader.passes()] == [1]
    if ends == ("",):  # nor does it leave a file there
        assert [file.name for file in elsewhere.iterdir()] == ["today.sqlite"]
    reader.close()


OF_THE_DISK = ("SQLITE_FULL", "SQLITE_READONLY", "SQLITE_CANTOPEN", "SQLITE_IOERR", "SQLITE_IOERR_WRITE")
OF_THE_FILE = ("SQLITE_CORRUPT", "SQLITE_NOTADB", "SQLITE_TOOBIG", "SQLITE_CORRUPT_INDEX")


@pytest.mark.parametrize(
    ("code", "kind"),
    [
        *((code, DiskError) for code in OF_THE_DISK),
        *((code, Damaged) for code in OF_THE_FILE),
        ("SQLITE_BUSY", StoreError),
    ],
)
def test_a_disk_at_fault_is_told_from_a_file_at_fault_and_from_another_program(
    tmp_path: Path, code: str, kind: type[Exception]
) -> None:
    """For the first the daemon waits, the second it sets aside; nothing of the pass is stored by either."""
    day = RunningDay(tmp_path / "today.sqlite", True)

    def faulty() -> Iterator[tuple[PassRecord, Sequence[Reading]]]:
        yield pass_of(1, EVENING)
        fault = sqlite3.OperationalError("as SQLite words it")
        fault.sqlite_errorcode = getattr(sqlite3, code)
        raise fault

    with pytest.raises(kind) as told:
        day.write(faulty(), LONGITUDE)
    assert type(told.value) is kind and day.passes() == ()
    day.close()
