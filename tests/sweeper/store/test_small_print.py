"""The small print of finished days, manifests and the running day: each name, bound and refusal by itself."""

import hashlib
import io
import json
import os
import sqlite3
from collections.abc import Sequence
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import polars as pl
import pytest

from sweeper.store import StoreError
from sweeper.store.finished import (
    FORMAT,
    day_of_bytes,
    file_name,
    is_sound,
    is_whole,
    last_pass,
    list_days,
    problem_of_footer,
    write_day,
)
from sweeper.store.frames import frame_of, schema
from sweeper.store.manifest import (
    MANIFEST,
    STATION,
    announce,
    digest_of,
    has_rotted,
    keep_station_file,
    parse_manifest,
    write_manifest,
)
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
from tests.sweeper.store.nights import EVENING, LONGITUDE, pass_of

DAY = date(2026, 11, 1)


def readings(number: int = 3) -> pl.DataFrame:
    return frame_of(pass_of(number, EVENING)[1])


def days(tmp_path: Path) -> Path:
    folder = tmp_path / "days"
    folder.mkdir()
    return folder


def test_a_day_is_written_under_its_name_and_read_back_from_its_bytes(tmp_path: Path) -> None:
    file = write_day(days(tmp_path), DAY, readings())
    assert file.name == file_name(DAY) == "2026-11-01.parquet"
    assert is_whole(file) and is_sound(file) and last_pass(file) == 3
    assert day_of_bytes(file.read_bytes(), "2026-11-01").equals(readings())


def test_what_lies_among_the_days_is_told_by_its_name(tmp_path: Path) -> None:
    folder = days(tmp_path)
    for name in ("2026-11-02.parquet", "2026-11-01.parquet", "20261103.parquet", "notes.txt", ".2026-11-04.parquet",
                 "2026-11-05", "2026-13-01.parquet"):  # fmt: skip
        (folder / name).touch()
    found, strange = list_days(folder)
    assert list(found) == [date(2026, 11, 1), date(2026, 11, 2)]
    assert [file.name for file in strange] == [
        "2026-11-05",
        "2026-13-01.parquet",
        "20261103.parquet",
        "notes.txt",
    ]
    assert list_days(tmp_path / "nowhere") == ({}, ())


@pytest.mark.parametrize(
    ("metadata", "columns", "words"),
    [
        ({"sweeper": FORMAT, "day": "2026-11-01"}, None, ""), ({"day": "2026-11-01"}, None, "no day of readings"),
        ({"sweeper": "sweeper-readings-2", "day": "2026-11-01"}, None, "no day of readings"),
        ({"sweeper": FORMAT, "day": "2026-11-02"}, None, "holds the readings of '2026-11-02', not those of 2026-11-01"),
        ({"sweeper": FORMAT}, None, "holds the readings of None"),
        ({"sweeper": FORMAT, "day": "2026-11-01"}, ["time"], "its columns are not"),
    ],
)  # fmt: skip
def test_what_a_footer_must_say(metadata: dict[str, str], columns: list[str] | None, words: str) -> None:
    told = problem_of_footer(metadata, columns or list(schema()), "2026-11-01")
    assert (words in told) if words else told == ""


def test_a_day_under_another_name_is_not_whole_and_values_that_are_none_are_not_sound(tmp_path: Path) -> None:
    folder = days(tmp_path)
    file = write_day(folder, DAY, readings())
    copy = folder / file_name(DAY + timedelta(days=1))
    copy.write_bytes(file.read_bytes())
    assert not is_whole(copy) and is_sound(copy)
    wrong = write_day(folder, DAY, readings().with_columns(pl.lit("nowhere").alias("route")))
    assert is_whole(wrong) and not is_sound(wrong)
    assert not is_whole(folder / "2026-12-01.parquet") and not is_sound(folder / "2026-12-01.parquet")
    torn = folder / file_name(DAY + timedelta(days=2))
    torn.write_bytes(file.read_bytes()[:-40])
    assert not is_whole(torn) and not is_sound(torn)
    pipe = folder / file_name(DAY + timedelta(days=3))
    os.mkfifo(pipe)
    assert not is_whole(pipe)


@pytest.mark.parametrize("spoil", ["day", "route", "columns", "value"])
def test_bytes_that_are_no_such_day_are_refused(tmp_path: Path, spoil: str) -> None:
    frame = readings()
    if spoil == "route":
        frame = frame.with_columns(pl.lit("nowhere").alias("route"))
    if spoil == "value":
        frame = frame.with_columns(pl.lit(float("inf")).alias("reading"))
    if spoil == "columns":
        content = io.BytesIO()
        pl.DataFrame({"a": [1]}).write_parquet(content, metadata={"sweeper": FORMAT, "day": "2026-11-01"})
        with pytest.raises(ValueError, match="columns"):
            day_of_bytes(content.getvalue(), "2026-11-01")
        return
    content_of_day = write_day(days(tmp_path), DAY, frame).read_bytes()
    with pytest.raises((ValueError, pl.exceptions.PolarsError)):
        day_of_bytes(content_of_day, "2026-11-02" if spoil == "day" else "2026-11-01")


def listed(folder: Path) -> dict[str, dict[str, object]]:
    return {name: dict(entry) for name, entry in parse_manifest((folder / MANIFEST).read_text()).items()}


def test_a_day_written_anew_may_be_either_until_it_is_listed(tmp_path: Path) -> None:
    folder = days(tmp_path)
    file = write_day(folder, DAY, readings(3))
    write_manifest(tmp_path)
    old = listed(tmp_path)["days/2026-11-01.parquet"]
    assert old == {
        "bytes": file.stat().st_size, "modified_ns": file.stat().st_mtime_ns,
        "sha256": hashlib.sha256(file.read_bytes()).hexdigest(),
    }  # fmt: skip
    announce(tmp_path, file, b"what will come")
    assert (
        listed(tmp_path)["days/2026-11-01.parquet"]["next"] == hashlib.sha256(b"what will come").hexdigest()
    )
    assert not has_rotted(tmp_path, file)
    file.write_bytes(b"what will come")
    assert not has_rotted(tmp_path, file)
    write_manifest(tmp_path)
    assert "next" not in listed(tmp_path)["days/2026-11-01.parquet"]
    file.write_bytes(b"of somebody else")
    assert has_rotted(tmp_path, file)
    before = listed(tmp_path)
    write_manifest(tmp_path)
    assert listed(tmp_path) == before  # stays listed as it was


def test_a_day_that_is_not_listed_is_neither_announced_nor_rotten(tmp_path: Path) -> None:
    folder = days(tmp_path)
    write_day(folder, DAY, readings())
    write_manifest(tmp_path)
    other = folder / file_name(DAY + timedelta(days=1))
    before = (tmp_path / MANIFEST).read_bytes()
    announce(tmp_path, other, b"x")
    assert (tmp_path / MANIFEST).read_bytes() == before
    other.write_bytes(b"x")
    assert not has_rotted(tmp_path, other)


def test_a_stamp_that_is_the_same_is_believed_and_one_of_an_announced_day_is_not(tmp_path: Path) -> None:
    folder = days(tmp_path)
    file = write_day(folder, DAY, readings())
    write_manifest(tmp_path)
    book = json.loads((tmp_path / MANIFEST).read_text())
    entry = book["files"]["days/2026-11-01.parquet"]
    entry["sha256"] = "0" * 64
    (tmp_path / MANIFEST).write_text(json.dumps(book))
    write_manifest(tmp_path)
    assert listed(tmp_path)["days/2026-11-01.parquet"]["sha256"] == "0" * 64
    entry["next"] = digest_of(file)
    (tmp_path / MANIFEST).write_text(json.dumps(book))
    write_manifest(tmp_path)
    assert listed(tmp_path)["days/2026-11-01.parquet"]["sha256"] == digest_of(file)


def test_the_station_file_is_listed_and_may_change_as_often_as_it_likes(tmp_path: Path) -> None:
    days(tmp_path)
    for text in ("station: one\n", "station: two\n"):
        keep_station_file(tmp_path, text)
        write_manifest(tmp_path)
        assert listed(tmp_path)[STATION]["sha256"] == hashlib.sha256(text.encode()).hexdigest()
    stamp = (tmp_path / STATION).stat().st_mtime_ns
    keep_station_file(tmp_path, "station: two\n")
    assert (tmp_path / STATION).stat().st_mtime_ns == stamp  # not written again


@pytest.mark.parametrize("name", ["days/a.parquet", "..a", "a..b/c"])
def test_names_with_dots_that_stay_inside_are_taken(name: str) -> None:
    text = json.dumps({"format": "sweeper-manifest-1", "files": {name: {"sha256": "0"}}})
    assert list(parse_manifest(text)) == [name]


@pytest.mark.parametrize("entry", [None, 1, [], {"sha256": 1}, {}])
def test_an_entry_without_a_checksum_is_refused(entry: object) -> None:
    with pytest.raises(ValueError, match="has no checksum"):
        parse_manifest(json.dumps({"format": "sweeper-manifest-1", "files": {"a": entry}}))
    with pytest.raises(ValueError, match="no manifest"):
        parse_manifest(json.dumps({"format": "sweeper-manifest-1", "files": []}))


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
        other.execute("PRAGMA user_version = 2")
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
    with pytest.raises(StoreError, match="read-only"):
        reader.remember("a", "b")
    copy = tmp_path / "copy.sqlite"
    day.copy_to(copy)
    day.close()
    reader.close()
    again = RunningDay(copy, True)
    assert again.last_pass() == 1
    again.close()
