"""A pass that the program's end cut short is told once, and a pass that was stored is never called cut short."""

from datetime import UTC, datetime
from pathlib import Path

from sweeper.daemon.rig.in_flight import clear_in_flight, mark_in_flight, record_interrupted_pass
from sweeper.daemon.rig.relay_life import operations_of_the_busiest
from sweeper.store import Store
from sweeper.words import BROUGHT_IN, PassRecord
from tests.sweeper.daemon.rig.test_relay_life import NOW, station

STARTED = datetime(2026, 11, 1, 15, 30, 0, 123_456, tzinfo=UTC)


def test_it_is_told_once_with_its_moves(tmp_path: Path) -> None:
    outpost = station(tmp_path)
    with Store(tmp_path, "Outpost", 8.1) as store:
        mark_in_flight(store, {"tuning": {"hz": 7_074_000}}, 1, STARTED)
        assert "begun at 15:30 UTC" in record_interrupted_pass(outpost, store, NOW)
        assert record_interrupted_pass(outpost, store, NOW) == ""
        (record,) = store.passes()
        assert record.outcome == "failed" and record.relay_operations > 0
        assert operations_of_the_busiest(store.folder) > 0


def test_a_pass_that_was_stored_is_not_cut_short_though_its_receiver_is_still_to_be_put_back(
    tmp_path: Path,
) -> None:
    outpost = station(tmp_path)
    with Store(tmp_path, "Outpost", 8.1) as store:
        mark_in_flight(store, {}, 1, STARTED)
        store.write_pass(PassRecord(1, STARTED, NOW, "done", "", 4, ("receiver",)), ())
        assert record_interrupted_pass(outpost, store, NOW) == ""
        assert [record.outcome for record in store.passes()] == ["done"]
        assert operations_of_the_busiest(store.folder) == 0  # counted when the pass ended


def test_readings_brought_in_meanwhile_may_have_taken_its_number(tmp_path: Path) -> None:
    outpost = station(tmp_path)
    with Store(tmp_path, "Outpost", 8.1) as store:
        mark_in_flight(store, {}, 1, STARTED)
        store.write_pass(PassRecord(1, NOW, NOW, "done", BROUGHT_IN, 0), ())
        assert record_interrupted_pass(outpost, store, NOW).startswith("Pass 2")
        assert [record.outcome for record in store.passes()] == ["done", "failed"]


def test_a_command_that_was_killed_is_no_pass_but_its_moves_count(tmp_path: Path) -> None:
    outpost = station(tmp_path)
    with Store(tmp_path, "Outpost", 8.1) as store:
        mark_in_flight(store, {})
        assert record_interrupted_pass(outpost, store, NOW) == ""
        assert store.passes() == () and operations_of_the_busiest(store.folder) > 0


def test_what_was_let_go_leaves_nothing_to_tell(tmp_path: Path) -> None:
    outpost = station(tmp_path)
    with Store(tmp_path, "Outpost", 8.1) as store:
        mark_in_flight(store, {}, 1, STARTED)
        clear_in_flight(store)
        assert record_interrupted_pass(outpost, store, NOW) == "" and store.passes() == ()
