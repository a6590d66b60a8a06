"""A new night costs a night, and a summary that cannot be trusted is made again."""

import hashlib
import signal
import threading
import time
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from multiprocessing import get_context
from multiprocessing.process import BaseProcess
from pathlib import Path

import polars as pl
import pytest
from polars.testing import assert_frame_equal

from sweeper.analysis import MeterFacts, StationFacts, summarise_day
from sweeper.reduction import kept, summaries
from sweeper.reduction.kept import BOOK, MOST_ROWS, file_name
from sweeper.reduction.summaries import summaries_of
from sweeper.store import Store
from sweeper.words import ANTENNA_BYPASS, ANTENNA_STAGE, Channel, PassRecord, Reading

pytestmark = pytest.mark.slow

CHANNEL = Channel("40 m", 7038500, "noise", 2400)
FACTS = StationFacts(
    name="Outpost",
    latitude=56.2,
    longitude=8.1,
    environment="rural",
    channels=(CHANNEL,),
    meter=MeterFacts("dB-over-S9", calibrated=False, step_db=1.0),
    rated_gain_db=15.0,
    rated_noise_figure_db=3.0,
    source_enr_db=None,
    worthwhile_db=1.0,
    confidence=0.95,
    fingerprint="one",
)
EVENING = datetime(2026, 3, 1, 19, 0, tzinfo=UTC)


def night_pass(store: Store, started: datetime) -> None:
    """One small pass: bypass, stage, stage, bypass on one channel."""
    number = store.next_pass_number()
    readings, time = [], started
    for path, level in (
        (ANTENNA_BYPASS, -40.0),
        (ANTENNA_STAGE, -27.0),
        (ANTENNA_STAGE, -27.0),
        (ANTENNA_BYPASS, -40.0),
    ):
        for nth in range(8):
            time += timedelta(milliseconds=100)
            readings.append(Reading(time, number, CHANNEL, path, level + nth % 3 - 1, None))
    store.write_pass(PassRecord(number, started, time, "done", "", 4), readings)


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with Store(tmp_path, "Outpost", 8.1) as opened:
        for night in range(3):
            night_pass(opened, EVENING + timedelta(days=night))
            night_pass(opened, EVENING + timedelta(days=night, minutes=10))
        opened.finish_days(EVENING + timedelta(days=3))
        yield opened


@pytest.fixture
def days_read(monkeypatch: pytest.MonkeyPatch) -> list[date]:
    read: list[date] = []
    whole = Store.day

    def counted(self: Store, day: date) -> pl.DataFrame:
        read.append(day)
        return whole(self, day)

    monkeypatch.setattr(Store, "day", counted)
    return read


def test_finished_days_are_read_once(store: Store, days_read: list[date]) -> None:
    first = summaries_of(store, FACTS)
    assert days_read == [date(2026, 3, 1), date(2026, 3, 2), date(2026, 3, 3)]
    days_read.clear()
    assert_frame_equal(summaries_of(store, FACTS), first)
    assert days_read == []


def test_a_new_night_reads_that_night_alone(store: Store, days_read: list[date]) -> None:
    summaries_of(store, FACTS)
    night_pass(store, EVENING + timedelta(days=3))
    days_read.clear()
    with_running = summaries_of(store, FACTS)
    assert days_read == [date(2026, 3, 4)]
    assert with_running["night"].unique().sort().to_list() == [date(2026, 3, d) for d in (1, 2, 3, 4)]
    store.finish_days(EVENING + timedelta(days=5))
    days_read.clear()
    assert_frame_equal(summaries_of(store, FACTS), with_running)
    assert days_read == [date(2026, 3, 4)]
    days_read.clear()
    summaries_of(store, FACTS)
    assert days_read == []


@pytest.mark.parametrize("damage", ["torn", "swapped", "gone", "endless", "no book", "book is no book"])
def test_a_damaged_summary_is_made_again(store: Store, days_read: list[date], damage: str) -> None:
    first = summaries_of(store, FACTS)
    file, book = store.folder / file_name("2026-03"), store.folder / BOOK
    if damage == "torn":
        file.write_bytes(file.read_bytes()[:-40])
    elif damage == "swapped":
        first.head(1).write_parquet(file)
    elif damage == "gone":
        file.unlink()
    elif damage == "endless":  # and vouched for
        said = hashlib.sha256(file.read_bytes()).hexdigest()
        columns = first.schema.items()
        pl.select(
            pl.repeat(None, MOST_ROWS + 1, dtype=kind).alias(name) for name, kind in columns
        ).write_parquet(file)
        anew = hashlib.sha256(file.read_bytes()).hexdigest()
        book.write_text(book.read_text(encoding="utf-8").replace(said, anew), encoding="utf-8")
    elif damage == "no book":
        book.unlink()
    else:
        book.write_text('["not", "a book"]', encoding="utf-8")
    days_read.clear()
    assert_frame_equal(summaries_of(store, FACTS), first)
    assert len(days_read) == 3


@pytest.fixture
def two_months(tmp_path: Path) -> Iterator[Store]:
    """The last two nights of March and the first two of April."""
    with Store(tmp_path, "Outpost", 8.1) as opened:
        for night in (29, 30, 31, 32):
            night_pass(opened, EVENING + timedelta(days=night))
        opened.finish_days(EVENING + timedelta(days=33))
        yield opened


def test_a_torn_month_costs_that_month_alone(two_months: Store, days_read: list[date]) -> None:
    first = summaries_of(two_months, FACTS)
    file = two_months.folder / file_name("2026-03")
    file.write_bytes(file.read_bytes()[:-40])
    days_read.clear()
    assert_frame_equal(summaries_of(two_months, FACTS), first)
    assert days_read == [date(2026, 3, 30), date(2026, 3, 31)]


def test_a_new_night_rewrites_its_month_alone(two_months: Store) -> None:
    summaries_of(two_months, FACTS)
    march, april = (two_months.folder / file_name(month) for month in ("2026-03", "2026-04"))
    before = march.stat().st_ino, april.stat().st_ino
    night_pass(two_months, EVENING + timedelta(days=33))
    two_months.finish_days(EVENING + timedelta(days=34))
    summaries_of(two_months, FACTS)
    assert march.stat().st_ino == before[0]
    assert april.stat().st_ino != before[1]


def test_a_day_that_changes_is_made_again_and_no_other(two_months: Store, days_read: list[date]) -> None:
    summaries_of(two_months, FACTS)
    night_pass(two_months, EVENING + timedelta(days=31, minutes=30))
    two_months.finish_days(EVENING + timedelta(days=33))
    days_read.clear()
    again = summaries_of(two_months, FACTS)
    assert days_read == [date(2026, 4, 1)]
    assert again["night"].to_list() == sorted(again["night"].to_list())
    assert again.filter(pl.col("night") == date(2026, 4, 1))["passes_seen"].sum() == 2


def test_files_that_no_book_names_any_more_are_cleared_away(store: Store) -> None:
    old = store.folder / "summaries.parquet"
    old.write_bytes(b"of an earlier version")
    summaries_of(store, FACTS)
    assert not old.exists()
    assert (store.folder / file_name("2026-03")).exists()


def test_another_station_file_or_other_code_makes_all_anew(store: Store, days_read: list[date]) -> None:
    summaries_of(store, FACTS)
    days_read.clear()
    summaries_of(store, replace(FACTS, fingerprint="two"))
    assert len(days_read) == 3
    days_read.clear()
    book = store.folder / BOOK
    book.write_text(
        book.read_text().replace(kept.code_fingerprint(), "another")
    )  # as if other code had made it
    summaries_of(store, replace(FACTS, fingerprint="two"))
    assert len(days_read) == 3


def test_a_change_in_any_room_of_the_analysis_is_another_code(tmp_path: Path) -> None:
    room = tmp_path / "analysis" / "band"
    room.mkdir(parents=True)
    (tmp_path / "analysis" / "__init__.py").write_text("")
    (room / "gain.py").write_text("GAIN_DB = 10")
    before = kept.fingerprint_of(tmp_path / "analysis")
    (room / "gain.py").write_text("GAIN_DB = 20")
    assert kept.fingerprint_of(tmp_path / "analysis") != before


def test_a_disk_that_takes_nothing_costs_time_and_no_findings(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_: object, **__: object) -> None:
        raise OSError(28, "No space left on device")

    with monkeypatch.context() as patched:
        patched.setattr(pl.DataFrame, "write_parquet", full)
        on_full_disk = summaries_of(store, FACTS)
    assert_frame_equal(on_full_disk, summaries_of(store, FACTS))
    assert not list(store.folder.glob(".*.part"))


@pytest.fixture
def started(monkeypatch: pytest.MonkeyPatch) -> list[BaseProcess]:
    """Processes that this test starts; not those of threads that an earlier one may have left."""
    here, started = threading.current_thread(), list[BaseProcess]()
    spawned = get_context("spawn").Process
    start = spawned.start

    def noting(process: BaseProcess) -> None:
        start(process)
        if threading.current_thread() is here:
            started.append(process)

    monkeypatch.setattr(spawned, "start", noting)
    return started


@pytest.mark.slow
def test_a_long_stretch_worked_on_by_two_processes_says_the_same(
    tmp_path: Path, started: list[BaseProcess]
) -> None:
    with Store(tmp_path, "Outpost", 8.1) as store:
        for night in range(summaries.WORTH_A_PROCESS):
            night_pass(store, EVENING + timedelta(days=night))
        store.finish_days(EVENING + timedelta(days=summaries.WORTH_A_PROCESS))
        started.clear()
        by_two = summaries_of(store, FACTS)
        assert [other.exitcode for other in started] == [0], "no second process took part"
        by_itself = pl.concat([summarise_day(store.day(day), FACTS) for day in store.day_identities()])
        assert_frame_equal(by_itself, by_two, check_exact=True)


@pytest.mark.slow
def test_a_second_process_that_is_killed_costs_time_and_no_findings(
    tmp_path: Path, started: list[BaseProcess]
) -> None:
    def kill_the_other(_: float) -> None:
        for other in started:
            other.kill()
            deadline = time.monotonic() + 30.0
            while (
                other.exitcode is None and time.monotonic() < deadline
            ):  # the pool may be first to hear of it
                other.join(0.05)

    with Store(tmp_path, "Outpost", 8.1) as store:
        for night in range(2 * summaries.WORTH_A_PROCESS):
            night_pass(store, EVENING + timedelta(days=night))
        store.finish_days(EVENING + timedelta(days=2 * summaries.WORTH_A_PROCESS))
        started.clear()
        alone = summaries_of(store, FACTS, progress=kill_the_other)
        assert [other.exitcode for other in started] == [-signal.SIGKILL], "no second process was killed"
        assert_frame_equal(summaries_of(store, replace(FACTS, fingerprint="two")), alone, check_exact=True)
