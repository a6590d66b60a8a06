"""What can befall a data folder: full, read-only and forbidden disks, torn and foreign files, a second writer."""

import os
import shutil
import sqlite3
import subprocess
import sys
from collections.abc import Iterator
from datetime import date, timedelta
from pathlib import Path

import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sweeper.store import Store, StoreError
from sweeper.store.frames import frame_of
from tests.sweeper.store import writer_to_cut
from tests.sweeper.store.conftest import SmallDisk
from tests.sweeper.store.nights import EVENING, LONGITUDE, fill, open_store, pass_of

TOMORROW = EVENING + timedelta(days=1)
DAY = date(2026, 11, 1)


def reader(folder: Path) -> Store:
    return Store(folder, "Saltmarsh", LONGITUDE, read_only=True)


def test_a_full_disk_stops_storing_with_a_sentence_and_loses_nothing(small_disk: SmallDisk) -> None:
    stored = []
    with open_store(small_disk.place) as store:
        with pytest.raises(StoreError) as refused:
            for number in range(1, 1000):
                record, readings = pass_of(number, EVENING + timedelta(minutes=number), readings_a_visit=40)
                store.write_pass(record, readings)
                stored.append((record, readings))
        assert "today.sqlite" in str(refused.value)
        assert "free some space" in str(refused.value).lower()
        assert len(stored) > 3
        everything = frame_of([reading for _, readings in stored for reading in readings])
        assert store.readings().collect().equals(everything)
        assert store.passes() == tuple(record for record, _ in stored)
        with Store(small_disk.place, "Saltmarsh", LONGITUDE, read_only=True) as also:
            assert also.readings().collect().equals(everything)

        small_disk.give_more_room()
        store.write_pass(record, readings)
        assert store.finish_days(TOMORROW) == (DAY,)
        assert store.day(DAY).equals(pl.concat([everything, frame_of(readings)]))


@pytest.fixture
def read_only_disk(tmp_path: Path) -> Iterator[Path]:
    """A folder with a night in it, on a disk mounted read-only (as root), or without write permission (otherwise)."""
    place = tmp_path / "disk"
    with open_store(place) as store:
        fill(store, EVENING, 4, timedelta(hours=12))
        store.finish_days(TOMORROW)
    if os.geteuid() == 0:
        subprocess.run(["mount", "--bind", str(place), str(place)], check=True)
        subprocess.run(["mount", "-o", "remount,ro,bind", str(place)], check=True)
        yield place
        subprocess.run(["umount", "-l", str(place)], check=True)
        return
    folders = [place / "Saltmarsh", place / "Saltmarsh" / "days"]
    for folder in folders:
        folder.chmod(0o500)
    yield place
    for folder in folders:
        folder.chmod(0o700)


def test_a_read_only_disk_can_be_read_and_says_so_when_written(read_only_disk: Path) -> None:
    with reader(read_only_disk) as store:
        assert store.readings().collect()["pass"].unique(maintain_order=True).to_list() == [1, 2, 3, 4]
        assert len(store.passes()) == 4
    with pytest.raises(StoreError, match=r"read-only|permission is denied") as refused:
        open_store(read_only_disk)
    assert str(read_only_disk / "Saltmarsh") in str(refused.value)


def test_a_folder_of_somebody_else_is_refused_with_a_sentence(tmp_path: Path) -> None:
    locked = tmp_path / "locked"
    locked.mkdir(mode=0o755)
    code = (
        "import os, sys; sys.path.insert(0, sys.argv[1])\n"
        "from sweeper.store import Store, StoreError\n"
        "if os.geteuid() == 0: os.setuid(65534)\n"
        "else: os.chmod(sys.argv[2], 0o500)\n"
        "try: Store(sys.argv[2], 'Saltmarsh', 8.1)\n"
        "except StoreError as error: print(error)\n"
    )
    for parent in (tmp_path, *tmp_path.parents):
        if parent.owner() == "root" and parent.name.startswith("pytest-of"):
            parent.chmod(0o755)
    root = str(writer_to_cut.ROOT)
    said = subprocess.run(
        [sys.executable, "-c", code, root, str(locked)], capture_output=True, text=True, check=False
    )
    assert "permission is denied" in said.stdout, said
    assert "--data" in said.stdout


def test_a_second_writer_is_refused_with_a_sentence_and_readers_are_not(tmp_path: Path) -> None:
    with open_store(tmp_path) as store:
        fill(store, EVENING, 1)
        with pytest.raises(StoreError, match=f"process {os.getpid()}.*already writes"):
            open_store(tmp_path)
        with reader(tmp_path) as also:
            assert also.readings().collect().height == 32
        with open_store(tmp_path, "Other station"):
            pass
    with open_store(tmp_path) as store:
        assert len(store.passes()) == 1


def test_the_claim_of_a_killed_process_does_not_outlive_it(tmp_path: Path) -> None:
    command = [sys.executable, writer_to_cut.__file__, str(tmp_path), "100000"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None
        while process.stdout.readline() != "stored 2\n":
            pass
        with pytest.raises(StoreError, match=f"process {process.pid}"):
            open_store(tmp_path)
        process.kill()
    with open_store(tmp_path) as store:
        assert len(store.passes()) >= 2


def days_folder(folder: Path) -> Path:
    return folder / "Saltmarsh" / "days"


@pytest.fixture
def three_days(tmp_path: Path) -> Path:
    with open_store(tmp_path) as store:
        fill(store, EVENING, 3, timedelta(days=1))
        store.finish_days(EVENING + timedelta(days=9))
    return tmp_path


@pytest.mark.slow
@settings(max_examples=30, deadline=None)
@given(st.floats(0, 1, exclude_max=True))
def test_a_torn_day_is_never_read_but_set_aside_and_named(
    tmp_path_factory: pytest.TempPathFactory, kept: float
) -> None:
    folder = tmp_path_factory.mktemp("torn")
    with open_store(folder) as store:
        fill(store, EVENING, 3, timedelta(days=1))
        store.finish_days(EVENING + timedelta(days=9))
    torn = days_folder(folder) / "2026-11-02.parquet"
    content = torn.read_bytes()
    torn.write_bytes(content[: int(len(content) * kept)])
    with reader(folder) as store:
        assert store.readings().collect()["pass"].unique(maintain_order=True).to_list() == [1, 3]
        assert "2026-11-02.parquet" in store.troubles[0]
    with open_store(folder) as store:
        assert store.readings().collect()["pass"].unique(maintain_order=True).to_list() == [1, 3]
        assert store.days() == (date(2026, 11, 1), date(2026, 11, 3))
        (trouble,) = store.troubles
        assert "set aside" in trouble
    aside = folder / "Saltmarsh" / "set-aside" / "2026-11-02.parquet.1"
    assert aside.read_bytes() == content[: int(len(content) * kept)]
    shutil.rmtree(folder)


def test_foreign_files_are_not_read(three_days: Path) -> None:
    days = days_folder(three_days)
    pl.DataFrame({"time": [1]}).write_parquet(days / "2026-11-05.parquet")
    (days / "readme.txt").write_text("hello")
    (days / ".2026-11-06.parquet.part").write_bytes(b"half")
    with open_store(three_days) as store:
        assert store.readings().collect()["pass"].to_list() == [n for n in (1, 2, 3) for _ in range(32)]
        assert len(store.troubles) == 2
    assert sorted(file.name for file in (three_days / "Saltmarsh" / "set-aside").iterdir()) == [
        "2026-11-05.parquet.1",
        "readme.txt.1",
    ]


def test_a_day_whose_bytes_rot_is_named_and_not_read_and_not_overwritten(three_days: Path) -> None:
    file = days_folder(three_days) / "2026-11-02.parquet"
    stat, content = file.stat(), bytearray(file.read_bytes())
    content[len(content) // 3] ^= 0x10
    file.write_bytes(content)
    os.utime(file, ns=(stat.st_atime_ns, stat.st_mtime_ns))
    with open_store(three_days) as store:
        assert store.readings().collect()["pass"].unique(maintain_order=True).to_list() == [1, 3]
        assert store.day(date(2026, 11, 2)).is_empty()
        assert "not those that were written" in store.troubles[0]
        store.write_pass(*pass_of(4, EVENING + timedelta(days=1, hours=2)))
        store.finish_days(EVENING + timedelta(days=9))
        assert store.day(date(2026, 11, 2))["pass"].unique().to_list() == [4]
        assert store.readings().collect()["pass"].unique(maintain_order=True).to_list() == [1, 4, 3]
    assert (three_days / "Saltmarsh" / "set-aside" / "2026-11-02.parquet.1").read_bytes() == content


DAMAGES = {
    "overwritten at its head": lambda content: b"\xff" * 100 + content[100:],
    "overwritten in the middle": lambda content: content[:4096] + b"\xaa" * 4096 + content[8192:],
    "cut short": lambda content: content[: len(content) // 2 + 77],
    "something else": lambda content: (
        b"this is no database at all, though it is long enough to be one " * 200
    ),
}


@pytest.mark.parametrize("damage", DAMAGES.values(), ids=DAMAGES.keys())
def test_a_corrupt_database_is_set_aside_and_named_and_a_new_one_begun(
    three_days: Path, damage: object
) -> None:
    with open_store(three_days) as store:
        fill(store, EVENING + timedelta(days=20), 10)
    file = three_days / "Saltmarsh" / "today.sqlite"
    spoilt = damage(file.read_bytes())
    file.write_bytes(spoilt)
    with open_store(three_days) as store:
        (trouble,) = store.troubles
        assert "damaged" in trouble and "nothing was deleted" in trouble
        kept = three_days / "Saltmarsh" / "set-aside" / "today.sqlite.1"
        assert str(kept) in trouble
        assert kept.read_bytes() == spoilt
        assert store.readings().collect()["pass"].unique(maintain_order=True).to_list() == [1, 2, 3]
        assert store.next_pass_number() == 4
        fill(store, EVENING + timedelta(days=21), 1)
        assert store.next_pass_number() == 5
    file.write_bytes(spoilt)
    with open_store(three_days):
        assert (three_days / "Saltmarsh" / "set-aside" / "today.sqlite.2").exists()


def test_a_database_that_loses_its_tables_while_in_use_does_not_stop_the_night(tmp_path: Path) -> None:
    with open_store(tmp_path) as store:
        fill(store, EVENING, 60)
        store.finish_days(EVENING + timedelta(hours=1))
        file = tmp_path / "Saltmarsh" / "today.sqlite"
        with sqlite3.connect(file) as other:
            other.execute("DROP TABLE readings")
        other.close()
        fill(store, TOMORROW, 1)
        assert "damaged" in store.troubles[0]
        assert store.readings().collect().height == 32


def test_what_can_be_read_of_a_damaged_database_is_taken_over_but_no_readings(tmp_path: Path) -> None:
    with open_store(tmp_path) as store:
        fill(store, EVENING, 3)
        store.finish_days(TOMORROW)
        fill(store, TOMORROW, 2)
        store.remember("receiver as found", {"hz": 7_000_000})
        store.add_note(TOMORROW, "ferrites on the supply")
        records = store.passes(DAY)
        with sqlite3.connect(tmp_path / "Saltmarsh" / "today.sqlite") as other:
            other.execute("DROP TABLE readings")
        other.close()
        assert store.readings().collect()["pass"].unique(maintain_order=True).to_list() == [1, 2, 3]
        assert store.recall("receiver as found") == {"hz": 7_000_000}
        assert [note.text for note in store.notes()] == ["ferrites on the supply"]
        assert store.passes() == records  # those of the running day are gone with their readings
        assert store.next_pass_number() == 4


def test_a_newer_database_is_left_alone(tmp_path: Path) -> None:
    with open_store(tmp_path) as store:
        fill(store, EVENING, 1)
    file = tmp_path / "Saltmarsh" / "today.sqlite"
    with sqlite3.connect(file) as other:
        other.execute("PRAGMA user_version = 99")
    other.close()
    before = file.read_bytes()
    with pytest.raises(StoreError, match="newer version"):
        open_store(tmp_path)
    assert file.read_bytes() == before
