"""Readings are kept: today's and finished days' are one table, in the order in which they were taken."""

from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sweeper.store import Store, StoreError, day_of, day_starts
from sweeper.store.frames import frame_of, schema
from tests.sweeper.store.nights import EVENING, LONGITUDE, fill, open_store, pass_of

NEXT_NOON = EVENING + timedelta(days=1)


def test_what_was_stored_is_read_back_to_the_last_bit(tmp_path: Path) -> None:
    record, readings = pass_of(1, EVENING)
    with open_store(tmp_path) as store:
        store.write_pass(record, readings)
        assert store.readings().collect().equals(frame_of(readings))
        assert store.passes() == (record,)
    with open_store(tmp_path) as store:
        assert store.readings().collect().equals(frame_of(readings))


def test_the_columns_are_those_of_the_readings_table(tmp_path: Path) -> None:
    with open_store(tmp_path) as store:
        assert store.readings().collect_schema() == schema()
        fill(store, EVENING, 2)
        assert store.readings().collect_schema() == schema()
        store.finish_days(NEXT_NOON)
        assert store.readings().collect_schema() == schema()
        assert store.day(date(2026, 11, 1)).schema == schema()


def test_finishing_a_day_changes_nothing_that_is_read(tmp_path: Path) -> None:
    with open_store(tmp_path) as store:
        fill(store, EVENING, 20, timedelta(hours=3))
        before = store.readings().collect()
        days, passes = store.days(), store.passes()
        assert days == (date(2026, 11, 1), date(2026, 11, 2), date(2026, 11, 3))
        for days_later in (1, 2, 10):
            store.finish_days(EVENING + timedelta(days=days_later))
            assert store.readings().collect().equals(before)
            assert (store.days(), store.passes()) == (days, passes)
        assert pl.concat([store.day(day) for day in days]).equals(before)


def test_the_running_day_is_not_finished(tmp_path: Path) -> None:
    with open_store(tmp_path) as store:
        fill(store, EVENING, 2)
        assert store.finish_days(EVENING + timedelta(hours=18)) == ()
        assert store.day_identities()[date(2026, 11, 1)] == ""
        assert store.finish_days(NEXT_NOON) == (date(2026, 11, 1),)
        assert store.day_identities()[date(2026, 11, 1)] != ""
        assert store.finish_days(NEXT_NOON) == ()


def test_a_pass_that_comes_late_joins_its_finished_day(tmp_path: Path) -> None:
    with open_store(tmp_path) as store:
        fill(store, EVENING, 2)
        store.finish_days(NEXT_NOON)
        identity = store.day_identities()[date(2026, 11, 1)]
        store.write_pass(*pass_of(3, EVENING + timedelta(hours=2)))
        seen = store.readings().collect()
        assert seen["pass"].unique(maintain_order=True).to_list() == [1, 2, 3]
        assert store.day(date(2026, 11, 1)).equals(seen)
        store.finish_days(NEXT_NOON)
        assert store.readings().collect().equals(seen)
        assert store.day_identities()[date(2026, 11, 1)] not in ("", identity)


def test_a_pass_over_noon_stays_whole_in_the_day_it_began_on(tmp_path: Path) -> None:
    noon = day_starts(date(2026, 11, 2), LONGITUDE)
    with open_store(tmp_path) as store:
        store.write_pass(*pass_of(1, noon - timedelta(seconds=1)))
        assert store.days() == (date(2026, 11, 1),)
        store.finish_days(noon + timedelta(days=2))
        assert (
            store.readings(start=noon).collect().height == 12
        )  # of 32 readings, 50 ms apart, 20 came before noon
        assert store.readings(end=noon).collect().height == 20


def test_a_span_of_time_reaches_through_database_and_files(tmp_path: Path) -> None:
    with open_store(tmp_path) as store:
        fill(store, EVENING, 4, timedelta(days=1))
        store.finish_days(EVENING + timedelta(days=2, hours=1))
        everything = store.readings().collect()
        start, end = EVENING + timedelta(days=1), EVENING + timedelta(days=3)
        wanted = everything.filter((pl.col("time") >= start) & (pl.col("time") < end))
        assert store.readings(start, end).collect().equals(wanted)
        assert wanted["pass"].unique().sort().to_list() == [2, 3]


def test_pass_numbers_grow_for_ever(tmp_path: Path) -> None:
    with open_store(tmp_path) as store:
        assert store.next_pass_number() == 1
        fill(store, EVENING, 3)
        store.finish_days(NEXT_NOON)
        assert store.next_pass_number() == 4
    with open_store(tmp_path) as store:
        assert store.next_pass_number() == 4


def test_a_skipped_pass_is_kept_with_its_reason_and_without_readings(tmp_path: Path) -> None:
    record, _ = pass_of(1, EVENING)
    skipped = type(record)(
        1, EVENING, EVENING, "skipped", "Somebody turns the dial.", 0, ("relays",), ("agc",)
    )
    with open_store(tmp_path) as store:
        store.write_pass(skipped, ())
        assert store.passes() == (skipped,)
        assert store.passes(date(2026, 11, 1)) == (skipped,)
        assert store.passes(date(2026, 11, 2)) == ()
        assert store.days() == ()


def test_a_pass_number_is_not_used_twice(tmp_path: Path) -> None:
    with open_store(tmp_path) as store:
        store.write_pass(*pass_of(1, EVENING))
        with pytest.raises(StoreError, match="Nothing of it was stored"):
            store.write_pass(*pass_of(1, EVENING + timedelta(hours=1)))
        assert store.readings().collect().equals(frame_of(pass_of(1, EVENING)[1]))


def test_a_reading_of_another_pass_is_a_mistake(tmp_path: Path) -> None:
    with open_store(tmp_path) as store, pytest.raises(ValueError, match="another pass"):
        store.write_pass(pass_of(1, EVENING)[0], pass_of(2, EVENING)[1])


def test_notes_and_small_values_outlast_the_process(tmp_path: Path) -> None:
    with open_store(tmp_path) as store:
        store.add_note(NEXT_NOON, "ferrites on the supply")
        store.add_note(EVENING, "new supply")
        store.remember("receiver", {"tuning": {"hz": 7_000_000, "mode": "LSB"}})
        store.remember("receiver", {"tuning": None})
    with Store(tmp_path, "Saltmarsh", LONGITUDE, read_only=True) as store:
        assert [(note.time, note.text) for note in store.notes()] == [
            (EVENING, "new supply"),
            (NEXT_NOON, "ferrites on the supply"),
        ]
        assert store.recall("receiver") == {"tuning": None}
        assert store.recall("nothing") is None
        assert store.recall("nothing", 3) == 3


def test_a_reader_sees_what_a_writer_at_work_has_stored(tmp_path: Path) -> None:
    with open_store(tmp_path) as writer, Store(tmp_path, "Saltmarsh", LONGITUDE, read_only=True) as reader:
        assert reader.readings().collect().is_empty()
        for hours in (0, 10, 20, 40):
            writer.write_pass(*pass_of(writer.next_pass_number(), EVENING + timedelta(hours=hours)))
            writer.finish_days(EVENING + timedelta(hours=hours))
            assert reader.readings().collect().equals(writer.readings().collect())
            assert reader.days() == writer.days()


def test_a_reader_writes_nothing(tmp_path: Path) -> None:
    with Store(tmp_path, "Saltmarsh", LONGITUDE, read_only=True) as reader:
        assert reader.passes() == ()
        assert reader.next_pass_number() == 1
        with pytest.raises(StoreError, match="nothing can be stored"):
            reader.write_pass(*pass_of(1, EVENING))
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    "name", ["../elsewhere", "a/b", ".", "..", ".hidden", "a\\b", "", "  ", "a\x00b", "a\nb"]
)
def test_a_station_name_cannot_lead_out_of_the_data_folder(tmp_path: Path, name: str) -> None:
    inside = tmp_path / "data"
    with pytest.raises(StoreError):
        open_store(inside, name)
    assert not inside.exists()
    assert list(tmp_path.iterdir()) == []


@given(st.datetimes(datetime(1971, 1, 1), datetime(2100, 1, 1)), st.floats(-180, 180))  # noqa: DTZ001
def test_a_day_lasts_from_local_mean_noon_to_noon(time: datetime, longitude: float) -> None:
    instant = time.replace(tzinfo=UTC)
    day = day_of(instant, longitude)
    assert day_starts(day, longitude) <= instant + timedelta(microseconds=1)
    assert instant < day_starts(day + timedelta(days=1), longitude) + timedelta(microseconds=1)


def test_a_night_has_one_date_wherever_it_is() -> None:
    # Local mean time is four minutes a degree.
    for longitude in (-170.0, -75.0, 0.0, 8.1, 120.0, 175.0):
        midnight = datetime(2026, 11, 2, tzinfo=UTC) - timedelta(hours=longitude / 15)
        assert day_of(midnight - timedelta(hours=11, minutes=59), longitude) == date(2026, 11, 1)
        assert day_of(midnight + timedelta(hours=11, minutes=59), longitude) == date(2026, 11, 1)
