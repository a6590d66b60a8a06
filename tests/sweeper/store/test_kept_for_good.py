"""What a data folder keeps when a part of it is lost or foreign: numbers go on, and nothing unvouched is read."""

import json
from datetime import timedelta
from pathlib import Path

import polars as pl
import pytest

from sweeper.store import Store
from sweeper.store.finished import last_pass
from sweeper.store.frames import empty
from sweeper.store.manifest import MANIFEST, STATION, parse_manifest
from tests.sweeper.store.nights import EVENING, fill


def two_finished_days(folder: Path) -> Path:
    """A station's folder with two days made files, and where it is."""
    with Store(folder, "Saltmarsh", 8.1) as store:
        for night in range(3):
            fill(store, EVENING + timedelta(days=night), 2)
        store.finish_days(EVENING + timedelta(days=2, hours=1))
        return store.folder


def lose_the_database(folder: Path) -> None:
    for file in folder.glob("today.sqlite*"):
        file.unlink()


def test_pass_numbers_go_on_after_the_database_is_lost(tmp_path: Path) -> None:
    folder = two_finished_days(tmp_path)
    lose_the_database(folder)
    with Store(tmp_path, "Saltmarsh", 8.1) as store:
        assert store.next_pass_number() > 4


def test_a_station_file_that_changed_is_kept_as_it_is_now(tmp_path: Path) -> None:
    with Store(tmp_path, "Saltmarsh", 8.1) as store:
        store.keep_station_file("station: one\n")
        store.keep_station_file("station: two\n")
        assert (store.folder / STATION).read_text(encoding="utf-8") == "station: two\n"


def test_a_manifest_without_checksums_vouches_for_nothing(tmp_path: Path) -> None:
    folder = two_finished_days(tmp_path)
    manifest = json.loads((folder / MANIFEST).read_text(encoding="utf-8"))
    for known in manifest["files"].values():
        del known["sha256"]
    with pytest.raises(ValueError, match="checksum"):
        parse_manifest(json.dumps(manifest))


def test_a_parquet_file_of_somebody_elses_is_no_day(tmp_path: Path) -> None:
    folder = two_finished_days(tmp_path)
    pl.DataFrame({"a": [1]}).write_parquet(folder / "days" / "2026-10-01.parquet")
    with Store(tmp_path, "Saltmarsh", 8.1, read_only=True) as store:
        read = store.readings().collect()
        assert read.height == 6 * 32 and read["pass"].n_unique() == 6
        assert any("2026-10-01.parquet" in trouble for trouble in store.troubles)


def test_a_day_that_is_new_is_listed_beside_those_that_are_known(tmp_path: Path) -> None:
    folder = two_finished_days(tmp_path)
    (folder / "days" / "2020-01-01.parquet").mkdir()  # no file, and before all of them
    with Store(tmp_path, "Saltmarsh", 8.1) as store:
        fill(store, EVENING + timedelta(days=3), 2)
        store.finish_days(EVENING + timedelta(days=5))
    listed = parse_manifest((folder / MANIFEST).read_text(encoding="utf-8"))
    days = sorted(f"days/{file.name}" for file in (folder / "days").glob("*.parquet") if file.is_file())
    assert sorted(name for name in listed if name != STATION) == days
    assert len(days) >= 3


def test_a_day_without_readings_has_no_last_pass(tmp_path: Path) -> None:
    empty().write_parquet(tmp_path / "day.parquet")
    assert last_pass(tmp_path / "day.parquet") == 0


def test_a_closed_store_holds_no_file_open(tmp_path: Path) -> None:
    store = Store(tmp_path, "Saltmarsh", 8.1)
    fill(store, EVENING, 1)

    def held() -> list[str]:
        names = (str(each.readlink()) for each in Path("/proc/self/fd").iterdir() if each.is_symlink())
        return [name for name in names if name.startswith(str(store.folder))]

    assert held()
    store.close()
    assert held() == []
