"""A run: every instant of the schedule ends in a record that says why, and each state is said as it is entered."""

from collections.abc import Callable
from datetime import datetime, timedelta
from itertools import pairwise

import pytest

from drivers.errors import LinkLost
from sweeper.clock import JumpingClock
from sweeper.daemon.run.loop import keep_measuring, keep_schedule
from sweeper.daemon.run.observers import Observer
from sweeper.daemon.run.states import Doing
from sweeper.words import PassRecord
from tests.sweeper.daemon.conftest import Outpost
from tests.sweeper.engine.bench import EVENING, FOUND

MINUTE = timedelta(minutes=1)
Deed = tuple[timedelta, Callable[[], object]]


class At(Observer):
    """Does something at moments of the run, and writes down what it was told."""

    def __init__(self, clock: JumpingClock, *deeds: Deed) -> None:
        self._clock = clock
        self._deeds = sorted(deeds, key=lambda deed: deed[0])
        self.said: list[tuple[Doing, str]] = []
        self.troubles: list[str] = []

    def alive(self) -> None:
        while self._deeds and EVENING + self._deeds[0][0] <= self._clock.now():
            self._deeds.pop(0)[1]()

    def doing(self, doing: Doing, because: str, next_pass: datetime | None) -> None:
        if not self.said or self.said[-1] != (doing, because):
            self.said.append((doing, because))

    def trouble(self, sentence: str, hand: str = "") -> None:
        self.troubles.append(sentence)

    @property
    def states(self) -> list[Doing]:
        return [doing for doing, _ in self.said]


def tens(after: datetime) -> datetime | None:
    """A pass every ten minutes, from ten minutes past the hour to the hour after."""
    following = after.replace(second=0, microsecond=0) + (10 - after.minute % 10) * MINUTE
    return following if following <= EVENING + 60 * MINUTE else None


def scheduled(outpost: Outpost, *deeds: Deed) -> tuple[tuple[PassRecord, ...], At]:
    at = At(outpost.clock, *deeds)
    keep_schedule(outpost.campaign(at), tens)
    return outpost.store.passes(), at


def test_every_instant_is_measured_and_each_state_said(outpost: Outpost) -> None:
    records, at = scheduled(outpost)
    assert [record.outcome for record in records] == ["done"] * 6
    assert [record.started.minute for record in records] == [10, 20, 30, 40, 50, 0]
    assert at.states == ["starting", *["waiting", "measuring"] * 6, "waiting", "stopping"]
    assert outpost.dial.tuning_now == FOUND and outpost.board.standing == "antenna-bypass"


def test_what_is_due_while_paused_is_left_out_because_it_is_paused(outpost: Outpost) -> None:
    records, at = scheduled(
        outpost, (15 * MINUTE, outpost.orders.pause), (35 * MINUTE, outpost.orders.resume)
    )
    assert [(record.outcome, record.because) for record in records] == [
        ("done", ""),
        ("skipped", "paused by hand"),
        ("skipped", "paused by hand"),
        ("done", ""),
        ("done", ""),
        ("done", ""),
    ]
    assert ("paused", "paused by hand") in at.said
    assert outpost.store.recall("paused") is False


def test_a_pause_outlives_the_run(outpost: Outpost) -> None:
    scheduled(outpost, (15 * MINUTE, outpost.orders.pause), (25 * MINUTE, outpost.orders.stop))
    assert outpost.store.recall("paused") is True
    outpost.orders = type(outpost.orders)()
    records, at = scheduled(outpost, (45 * MINUTE, outpost.orders.stop))
    assert {record.because for record in records[1:]} == {"paused by hand"}
    assert "measuring" not in at.states


def test_a_listener_puts_a_pass_off_until_they_have_been_quiet(outpost: Outpost) -> None:
    records, at = scheduled(outpost, (12 * MINUTE, lambda: outpost.dial.tune(3_573_000)))
    assert [record.outcome for record in records] == ["done"] * 6
    quiet = timedelta(seconds=outpost.station.receiver.quiet_time_s)
    assert records[1].started >= EVENING + 20 * MINUTE + quiet
    assert any(doing == "yielding" and "3573000 Hz" in because for doing, because in at.said)
    assert outpost.dial.tuning_now.hz == 3_573_000


def test_a_listener_who_keeps_tuning_is_left_alone_and_the_record_says_so(outpost: Outpost) -> None:
    deeds = [(n * MINUTE, lambda n=n: outpost.dial.tune(3_500_000 + n * 1000)) for n in range(11, 36)]
    records, _ = scheduled(outpost, *deeds)
    assert [record.outcome for record in records] == ["done", "skipped", "skipped", "done", "done", "done"]
    assert all("somebody" in record.because for record in records[1:3])


def test_a_pass_that_takes_longer_than_its_interval_costs_the_next_ones_with_a_reason(
    outpost: Outpost,
) -> None:
    def slow(call: str) -> None:
        if call == "read_power" and outpost.dial.calls.count("read_power") == 5:
            outpost.clock.sleep(25 * 60.0)

    outpost.dial.before = slow
    records, at = scheduled(outpost)
    assert [record.outcome for record in records] == ["done", "skipped", "done", "done", "done", "done"]
    assert at.states == ["starting", *["waiting", "measuring"] * 5, "waiting", "stopping"]
    assert records[1].because == "at 16:20 UTC the pass before was still under way"


def test_what_could_not_be_restored_is_tried_again_between_passes(outpost: Outpost) -> None:
    def pulled(call: str) -> None:
        if call == "restore" and outpost.clock.now() < EVENING + 13 * MINUTE:
            raise LinkLost("receiver", "it does not answer.")

    outpost.dial.before = pulled
    records, _ = scheduled(outpost, (19 * MINUTE, outpost.orders.stop))
    assert [record.left_over for record in records] == [("receiver",)]
    assert outpost.dial.tuning_now == FOUND


def test_a_stop_while_waiting_ends_the_run(outpost: Outpost) -> None:
    records, at = scheduled(outpost, (15 * MINUTE, outpost.orders.stop))
    assert len(records) == 1 and at.states[-1] == "stopping"


def test_so_many_passes_at_once_also_while_paused(outpost: Outpost) -> None:
    outpost.store.remember("paused", True)
    at = At(outpost.clock)
    keep_measuring(outpost.campaign(at), passes=3)
    assert [record.outcome for record in outpost.store.passes()] == ["done"] * 3
    assert at.states == ["starting", "measuring", "stopping"]


def test_without_a_schedule_a_failed_pass_is_tried_again_later_and_later(outpost: Outpost) -> None:
    def gone(call: str) -> None:
        raise LinkLost("receiver", "it does not answer.")

    outpost.dial.before = gone
    at = At(outpost.clock)
    keep_measuring(outpost.campaign(at), until=EVENING + 10 * MINUTE)
    starts = [record.started for record in outpost.store.passes()]
    waits = [(b - a).total_seconds() for a, b in pairwise(starts)]
    assert waits[:3] == pytest.approx([2, 4, 8], abs=0.5) and max(waits) <= 121
    assert any(doing == "waiting" and "does not answer" in because for doing, because in at.said)


def test_without_a_schedule_a_pause_is_waited_out(outpost: Outpost) -> None:
    at = At(outpost.clock, (timedelta(0), outpost.orders.pause), (5 * MINUTE, outpost.orders.resume))
    keep_measuring(outpost.campaign(at), until=EVENING + 6 * MINUTE)
    assert outpost.store.passes()[0].started >= EVENING + 5 * MINUTE
    assert at.states[:3] == ["starting", "paused", "measuring"]
