"""The small print of finished days and manifests: each name, bound and refusal by itself."""

import hashlib
import io
import json
import os
from datetime import date, timedelta
from pathlib import Path

import polars as pl
import pytest

from sweeper.store.finished import (
    FORMAT,
    MOST_ROWS,
    day_of_bytes,
    file_name,
    is_file_of_days,
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
from tests.sweeper.store.nights import EVENING, pass_of

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


def test_days_are_listed_in_their_order_however_the_disk_has_them(tmp_path: Path) -> None:
    folder = days(tmp_path)
    for nth in range(60):
        (folder / file_name(DAY + timedelta(days=nth * 37 % 60))).touch()
        (folder / f"{nth * 37 % 60}.txt").touch()
    found, strange = list_days(folder)
    assert list(found) == [DAY + timedelta(days=nth) for nth in range(60)]
    assert list(strange) == sorted(strange)


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
    content = io.BytesIO()
    empty = pl.DataFrame(schema={name: schema()[name] for name in columns or schema()})
    empty.write_parquet(content, metadata=metadata)
    told = problem_of_footer(content.getvalue(), "2026-11-01")
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
    assert not is_file_of_days(pipe)  # first: a change that reads a pipe would wait for ever
    assert not is_whole(pipe)


def test_a_file_of_days_is_an_ordinary_one_of_half_a_gigabyte_at_most(tmp_path: Path) -> None:
    """Of a length that takes no room on the disk."""
    file = tmp_path / "2026-11-01.parquet"
    assert not is_file_of_days(file) and not is_file_of_days(tmp_path)
    for size, told in ((0, True), (512_000_000, True), (512_000_001, False)):
        with file.open("wb") as out:
            out.truncate(size)
        assert is_file_of_days(file) == told


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


def test_a_small_file_that_unpacks_to_any_number_of_rows_is_not_unpacked(tmp_path: Path) -> None:
    few = write_day(days(tmp_path), DAY, readings()).read_bytes()
    lots = pl.select(
        pl.repeat(None, MOST_ROWS + 1, dtype=kind).alias(name) for name, kind in schema().items()
    )
    content = io.BytesIO()
    lots.write_parquet(content, metadata={"sweeper": FORMAT, "day": "2026-11-01"})
    file = tmp_path / "days" / file_name(DAY)
    file.write_bytes(content.getvalue())
    assert len(few) < len(content.getvalue()) < 1_000_000
    assert not is_whole(file)
    with pytest.raises(ValueError, match="more than 10000000 rows"):
        day_of_bytes(content.getvalue(), "2026-11-01")


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


def test_a_file_of_the_same_size_and_time_is_not_read_again(tmp_path: Path) -> None:
    """Else a season of days would be read each time one is finished."""
    days(tmp_path)
    file = tmp_path / STATION
    file.write_bytes(b"one")
    write_manifest(tmp_path)
    before, stat = listed(tmp_path), file.stat()
    file.write_bytes(b"two")
    os.utime(file, ns=(stat.st_atime_ns, stat.st_mtime_ns))
    write_manifest(tmp_path)
    assert listed(tmp_path) == before
    os.utime(file, ns=(stat.st_atime_ns, stat.st_mtime_ns + 1))
    write_manifest(tmp_path)
    assert listed(tmp_path)[STATION]["sha256"] == hashlib.sha256(b"two").hexdigest()


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
