"""Spectra are stored with their pass or not at all, move to the day's file, and become pictures when they are old."""

import sqlite3
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import polars as pl
import pytest

from sweeper.store import Store, StoreError
from sweeper.store.days import day_of
from sweeper.store.running import RunningDay
from sweeper.store.running_spectra import TABLE
from sweeper.store.spectra import NO_VALUE, POINTS, cdb_of, empty, problem_of, row_of, schema
from tests.sweeper.store.nights import EVENING, LONGITUDE, open_store, pass_of, spectra_of

EVERY = timedelta(minutes=10)


def fill(store: Store, count: int, bins: int = 12) -> None:
    for nth in range(count):
        number, started = store.next_pass_number(), EVENING + nth * EVERY
        store.write_pass(*pass_of(number, started), spectra_of(number, started, bins))


def test_levels_are_hundredths_of_a_decibel() -> None:
    stored = np.frombuffer(cdb_of(np.array([1.0, 1e-9, 0.0, np.nan, 10**-0.1234])), "<i2")
    assert stored.tolist() == [0, -9000, NO_VALUE, NO_VALUE, -123]
    assert cdb_of(None) == b""


def test_spectra_are_the_same_in_the_database_and_in_the_days_file(tmp_path: Path) -> None:
    with open_store(tmp_path) as store:
        fill(store, 3)
        before = store.spectra().collect()
        assert before["pass"].to_list() == [1, 1, 2, 2, 3, 3]
        assert before["route"].to_list() == ["bypass", "stage"] * 3
        assert before.row(0, named=True)["mean_cdb"][:3] == [NO_VALUE, -7894, -7888]
        assert [len(each) for each in before["low_cdb"]] == [12, 12, 0, 0, 12, 12]
        store.finish_days(EVENING + timedelta(days=2))
        assert store.spectra().collect().equals(before)
        assert store.spectra(EVENING + EVERY).collect().height == 4
        assert store.spectra(end=EVENING + EVERY).collect().height == 2
    with sqlite3.connect(tmp_path / "Saltmarsh" / "today.sqlite") as database:
        assert database.execute("SELECT count(*) FROM spectra").fetchone() == (0,)
    day = day_of(EVENING, LONGITUDE)
    file = tmp_path / "Saltmarsh" / "spectra" / f"{day}.parquet"
    assert pl.read_parquet(file)["start_hz"].to_list() == [7_037_500] * 6


@pytest.mark.parametrize("passes", [1, 2])
def test_spectra_that_are_all_as_long_make_the_same_table(tmp_path: Path, passes: int) -> None:
    """In file and database side by side, as after a crash between the two."""
    with open_store(tmp_path) as store:
        fill(store, passes)
        assert store.spectra().collect_schema() == schema()
        day = day_of(EVENING, LONGITUDE)
        store.write_day(day)
        fill(store, 2)
        assert store.spectra().collect()["pass"].to_list() == sorted([*range(1, passes + 3)] * 2)


def test_a_pass_that_does_not_fit_stores_no_spectra(tmp_path: Path) -> None:
    with open_store(tmp_path) as store:
        fill(store, 1)
        with pytest.raises(StoreError):
            store.write_pass(*pass_of(1, EVENING), spectra_of(1, EVENING))
        assert store.spectra().collect().height == 2


def test_a_day_of_spectra_without_readings_is_finished_too(tmp_path: Path) -> None:
    """As where an automatic gain control is on: no levels are stored, and the spectra all the same."""
    with open_store(tmp_path) as store:
        record, _ = pass_of(1, EVENING)
        store.write_pass(record, (), spectra_of(1, EVENING))
        assert store.finish_days(EVENING + timedelta(days=2)) == (day_of(EVENING, LONGITUDE),)
        assert store.spectra().collect().height == 2
        assert store.finish_days(EVENING + timedelta(days=2)) == ()


def test_old_days_become_one_picture_an_hour(tmp_path: Path) -> None:
    """An hour's powers are averaged, over neighbouring bins and over its passes: 16:00 to 16:50."""
    with open_store(tmp_path) as store:
        fill(store, 6, bins=500)
        whole = store.spectra().collect()
        store.finish_days(EVENING + timedelta(days=15))
        store.finish_days(EVENING + timedelta(days=14), keep_spectra_days=14)
        assert (
            store.spectra().collect().height == 12
        )  # and nothing goes unless somebody says how long they are kept
        for _ in range(2):
            store.finish_days(EVENING + timedelta(days=15), keep_spectra_days=14)
            left = store.spectra().collect()
            assert left["route"].to_list() == ["bypass", "stage"]
            assert max(len(each) for each in left["mean_cdb"]) <= POINTS
    picture = left.row(0, named=True)
    levels = np.array(whole.filter(pl.col("route") == "bypass")["mean_cdb"].to_list(), float)
    wanted = 1000 * np.log10((10 ** (levels[:, 3:6] / 1000)).mean())
    assert picture["mean_cdb"][1] == pytest.approx(wanted, abs=1)
    assert (picture["start_hz"], picture["step_hz"]) == (7_037_531, 3 * 31.25)
    assert picture["segments"] == 6 * 60


def test_a_file_that_is_none_is_named_and_set_aside_and_nothing_else_is_lost(tmp_path: Path) -> None:
    with open_store(tmp_path) as store:
        fill(store, 2)
        folder = tmp_path / "Saltmarsh" / "spectra"
        folder.mkdir()
        torn = folder / f"{day_of(EVENING, LONGITUDE)}.parquet"
        torn.write_bytes(b"PAR1 torn")
        assert store.spectra().collect().height == 4
        assert "no whole day of spectra" in store.troubles[0]
        store.finish_days(EVENING + timedelta(days=2))
        assert store.spectra().collect().height == 4
        assert "set aside" in store.troubles[1]
    assert (tmp_path / "Saltmarsh" / "set-aside" / f"{torn.name}.1").read_bytes() == b"PAR1 torn"


def test_a_database_from_before_spectra_goes_on_and_is_read_as_it_is(tmp_path: Path) -> None:
    with open_store(tmp_path) as store:
        store.write_pass(*pass_of(1, EVENING))
    file = tmp_path / "Saltmarsh" / "today.sqlite"
    with sqlite3.connect(file) as old:
        old.executescript("DROP TABLE spectra; PRAGMA user_version = 1;")
    old.close()
    before = RunningDay(file, False)
    assert (before.spectra().height, before.frame().height) == (0, 32)
    before.close()
    with open_store(tmp_path) as store:
        assert store.troubles == ()
        store.write_pass(*pass_of(2, EVENING + EVERY), spectra_of(2, EVENING + EVERY))
        assert store.spectra().collect().height == 2
        assert store.readings().collect().height == 64
    assert "spectra" in TABLE


def test_a_level_beyond_what_sixteen_bits_hold_is_the_last_that_they_do() -> None:
    """327.67 dB up and down: what lies below is still a level and not a missing one."""
    stored = np.frombuffer(cdb_of(np.array([1e33, 10**32.766, 1e-33, 10**-32.766])), "<i2")
    assert stored.tolist() == [32767, 32766, NO_VALUE + 1, -32766]


def test_a_spectrum_is_kept_by_the_middle_of_its_time_with_what_was_wrong_with_it() -> None:
    (_, one), _ = spectra_of(1, EVENING)
    plain = row_of("40 m", replace(one, spectrum=replace(one.spectrum, start_hz=7_037_500.6, envelope=None)))
    assert plain[0] == round(EVENING.timestamp() * 1000) + 500
    assert plain[1:6] == ("40 m", "antenna", "bypass", 7_037_501, 31.25)
    assert plain[8:] == (60, 0, 0.0, b"")
    torn = replace(one.spectrum, quality=frozenset({"gap"}), clipped=0.25)
    assert row_of("40 m", replace(one, spectrum=torn))[9:11] == (1, 0.25)


MS = timedelta(milliseconds=1)
FIRST, LAST = datetime(1970, 1, 1, tzinfo=UTC), datetime(2200, 12, 31, tzinfo=UTC)
NO_TIME, NO_PASS, NO_PLACE = "a time is not in 1970 to 2200", "a pass is none", "a frequency is none"
NO_COUNT, NO_SHARE, UNEVEN = "a count is none", "a share is none", "levels are of different lengths"


@pytest.mark.parametrize(
    ("column", "sound", "broken", "said"),
    [
        ("time", (FIRST, LAST), (FIRST - MS, LAST + MS), NO_TIME),
        ("pass", (1, 2**53), (0, 2**53 + 1), NO_PASS),
        ("start_hz", (-(2**53), 0, 2**53), (-(2**53) - 1, 2**53 + 1), NO_PLACE),
        ("step_hz", (0.0, 1e9), (-0.1, 1.001e9), NO_PLACE),
        ("segments", (0, 2**53), (-1, 2**53 + 1), NO_COUNT),
        ("gaps", (0, 2**53), (-1, 2**53 + 1), NO_COUNT),
        ("clipped", (0.0, 1.0), (-0.001, 1.001), NO_SHARE),
        ("low_cdb", ([], [1, 2, 3]), ([1], [1, 2], [1, 2, 3, 4]), UNEVEN),
        ("band", ("", "x" * 1000, "é" * 500), ("x" * 1001, "é" * 501), "a word is too long"),
        ("source", ("load",), (None,), "values are missing"),
        ("mean_cdb", ([1, 2, 3],), ([1, None, 3],), "a level is missing"),
        ("envelope_cdb", ([], [1] * 9), ([1, None],), "a level is missing"),
    ],
)
def test_a_table_of_spectra_is_sound_within_its_bounds_and_says_what_is_wrong_beyond(
    column: str, sound: tuple[object, ...], broken: tuple[object, ...], said: str
) -> None:
    row = {
        "time": EVENING, "pass": 7, "band": "40 m", "source": "antenna", "route": "bypass", "start_hz": 7_000_000,
        "step_hz": 31.25, "mean_cdb": [1, 2, 3], "low_cdb": [], "segments": 60, "gaps": 0, "clipped": 0.0,
        "envelope_cdb": [],
    }  # fmt: skip

    def problem(*values: object) -> str:
        table = pl.DataFrame([row, *[row | {column: each} for each in values]], schema=schema(), orient="row")
        return problem_of(table.lazy())

    assert problem(*sound) == ""
    assert {problem(each) for each in broken} == {said}


def test_a_table_without_rows_is_sound_and_one_of_more_than_a_million_is_none() -> None:
    assert problem_of(empty().lazy()) == ""
    rows = pl.LazyFrame({"pass": pl.int_range(1_000_001, eager=True)})
    assert problem_of(rows) == "it has 1000001 rows"
