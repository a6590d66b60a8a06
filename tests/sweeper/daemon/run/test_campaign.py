"""A run of passes: each ends in a record that says why, and the station is restored whatever happens."""

from collections.abc import Callable

import pytest

from drivers.errors import LinkLost
from sweeper.daemon.rig.in_flight import mark_in_flight
from sweeper.daemon.run.campaign import run_passes
from tests.sweeper.daemon.conftest import Outpost
from tests.sweeper.engine.bench import EVENING, FOUND


def at_reading(outpost: Outpost, nth: int, deed: Callable[[], object]) -> None:
    """Let `deed` happen at the `nth` reading of the meter."""

    def before(call: str) -> None:
        if call == "read_power" and outpost.dial.calls.count("read_power") == nth:
            deed()

    outpost.dial.before = before


def test_a_pass_is_stored_and_the_station_restored(outpost: Outpost) -> None:
    (record,) = run_passes(outpost.campaign(), [None])
    assert (record.outcome, record.because) == ("done", "")
    assert outpost.store.passes() == (record,)
    assert outpost.dial.tuning_now == FOUND and outpost.board.standing == "antenna-bypass"


def test_a_pause_in_the_middle_of_a_pass_is_recorded_as_a_pause(outpost: Outpost) -> None:
    at_reading(outpost, 9, outpost.orders.pause)
    record = outpost.campaign().attempt()
    assert (record.outcome, record.because) == ("skipped", "paused by hand in the middle of a pass")


def test_a_request_to_stop_is_recorded_as_one_though_a_pause_came_before(outpost: Outpost) -> None:
    def both() -> None:
        outpost.orders.pause()
        outpost.orders.stop()

    at_reading(outpost, 9, both)
    record = outpost.campaign().attempt()
    assert (record.outcome, record.because) == ("skipped", "asked to stop in the middle of a pass")


def test_what_a_killed_run_left_is_restored_and_told_before_the_first_pass(outpost: Outpost) -> None:
    mark_in_flight(outpost.store, outpost.dial.remember(), 1, EVENING)
    outpost.dial.tune(outpost.station.channels()[0].hz)
    outpost.board.standing = "load-stage"
    records = run_passes(outpost.campaign(), [None])
    assert [record.number for record in records] == [2]
    assert [record.outcome for record in outpost.store.passes()] == ["failed", "done"]
    assert outpost.dial.tuning_now == FOUND and outpost.board.standing == "antenna-bypass"


@pytest.mark.parametrize("part", ["relays", "receiver"])
def test_what_a_pass_could_not_restore_is_tried_before_the_next(outpost: Outpost, part: str) -> None:
    campaign = outpost.campaign()
    campaign.settle()

    def gone(call: str) -> None:
        if call == ("select antenna-bypass" if part == "relays" else "restore") and outpost.dial.calls.count(
            "read_power"
        ):
            raise LinkLost(part, "it does not answer.")

    instrument = outpost.board if part == "relays" else outpost.dial
    instrument.before = gone
    record = campaign.attempt()
    assert part in (record.left_over or record.because)
    assert not campaign.settled
    instrument.before = lambda call: None
    assert campaign.attempt().outcome == "done" and campaign.settled
    assert outpost.dial.tuning_now == FOUND and outpost.board.standing == "antenna-bypass"


def test_a_receiver_in_use_leaves_the_pass_out_and_is_left_alone_for_a_while(outpost: Outpost) -> None:
    campaign = outpost.campaign()
    at_reading(outpost, 9, lambda: outpost.dial.tune(3_573_000))
    record = campaign.attempt()
    assert record.outcome == "skipped" and "3573000 Hz" in record.because
    assert campaign.receiver_idle.quiet
    assert outpost.dial.tuning_now.hz == 3_573_000  # theirs
