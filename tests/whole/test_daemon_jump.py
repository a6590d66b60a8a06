"""Days of the daemon under a clock that jumps, on real wires: chores, people and clocks that are set."""

import contextlib
import itertools
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from sweeper.clock import JumpingClock
from sweeper.daemon.run.campaign import Campaign
from sweeper.daemon.run.loop import keep_schedule
from sweeper.daemon.run.observers import Observer
from sweeper.daemon.run.orders import Orders
from sweeper.daemon.run.schedule_cursor import after_of
from sweeper.daemon.run.states import Doing
from sweeper.schedule import next_times
from sweeper.simulation import saltmarsh, serve
from sweeper.simulation.serve import Served
from sweeper.station import load
from sweeper.store import Store
from sweeper.words import PassRecord
from tests.whole.unattended import STATION

MONDAY = datetime(2026, 10, 19, 6, tzinfo=UTC)


class At(Observer):
    """Does something at simulated moments."""

    def __init__(self, clock: JumpingClock, *deeds: tuple[timedelta, Callable[[], None]]) -> None:
        self._clock = clock
        self._deeds = [(clock.monotonic() + after.total_seconds(), deed) for after, deed in deeds]
        self.said: list[tuple[str, str]] = []

    def alive(self) -> None:
        while self._deeds and self._deeds[0][0] <= self._clock.monotonic():
            self._deeds.pop(0)[1]()

    def doing(self, doing: Doing, because: str, next_pass: datetime | None) -> None:
        if not self.said or self.said[-1] != (doing, because):
            self.said.append((doing, because))


@dataclass
class Jumping:
    """A station under a jumping clock."""

    served: Served
    clock: JumpingClock
    file: Path
    data: Path

    def days(
        self, days: float, *deeds: tuple[timedelta, Callable[[], None]]
    ) -> tuple[tuple[PassRecord, ...], At]:
        """Let so many days pass; the records, and what was said meanwhile."""
        station = load(self.file)
        orders = Orders()
        observer = At(self.clock, *deeds, (timedelta(days=days), orders.stop))
        with Store(self.data, "Outpost", 8.1) as store:
            campaign = Campaign(station, store, self.clock, orders, (observer,))
            keep_schedule(campaign, after_of(lambda after, count: next_times(station, after, count)))
            return store.passes(), observer


@contextlib.contextmanager
def jumping(folder: Path, schedule: str, more: str = "", quiet_s: float = 300) -> Iterator[Jumping]:
    clock = JumpingClock(MONDAY)
    with serve(saltmarsh(seed=1), clock) as served:
        served.receiver.turn_dial(6_155_000, "AM")
        file = folder / "outpost.yaml"
        file.write_text(
            STATION.format(
                receiver=served.receiver_link, switch=served.switch_link, settle_s=0.15, readings=2,
                quiet_s=quiet_s, rated=100_000, more=f"schedule: {schedule}\n{more}",
            ),
            encoding="utf-8",
        )  # fmt: skip
        yield Jumping(served, clock, file, folder / "data")


def test_contacts_that_stand_idle_are_moved_once_a_day_and_never_under_a_transmitter(tmp_path: Path) -> None:
    with jumping(tmp_path, "[{at: ['09:00'], weekdays: [sun]}, {at: ['06:30'], weekdays: [mon]}]") as station:
        records, _ = station.days(1.0)
        assert [record.outcome for record in records] == ["done"]
        moved = station.served.board.relay_operations
        station.days(3.2)
        # On four days from half past six on: stage in; out and load in; stage in; both out.
        assert station.served.board.relay_operations - moved == 4 * (1 + 2 + 1 + 2)
        station.served.receiver.transmitting = True
        moved = station.served.board.relay_operations
        station.days(1.5)
        assert station.served.board.relay_operations == moved
        assert not any(station.served.board.coils) and not station.served.forbidden
        assert station.served.receiver.hz == 6_155_000


def test_a_receiver_that_could_not_be_put_back_is_tried_again_until_its_cable_is_in(tmp_path: Path) -> None:
    with jumping(tmp_path, "[{every: 1 h}]") as station:
        receiver, wire = station.served.receiver, station.served.faults.receiver
        seen: list[int] = []
        deeds = [
            (timedelta(minutes=60, seconds=1), wire.unplug),
            (timedelta(minutes=80), lambda: seen.append(receiver.hz)),
            (timedelta(minutes=80), wire.plug),
            (timedelta(minutes=86), lambda: seen.append(receiver.hz)),
        ]
        records, observer = station.days(0.065, *deeds)
        assert [record.outcome for record in records] == ["failed"] and records[0].left_over == ("receiver",)
        # Away from its listener for as long as nobody could reach it; then back within five minutes.
        assert seen[0] != 6_155_000 and seen[1] == 6_155_000
        assert not any(station.served.board.coils) and observer.said[-1][0] == "stopping"


def test_exercise_can_be_declined(tmp_path: Path) -> None:
    with jumping(tmp_path, "[{at: ['09:00'], weekdays: [sun]}]") as station:
        text = station.file.read_text().replace("rated_operations:", "exercise: false\n  rated_operations:")
        station.file.write_text(text)
        station.days(3.0)
        assert station.served.board.relay_operations == 0


def test_somebody_who_tuned_between_passes_puts_the_next_one_off_by_the_quiet_time_and_loses_it_nothing(
    tmp_path: Path,
) -> None:
    with jumping(tmp_path, "[{every: 30 min}]", quiet_s=600) as station:
        receiver = station.served.receiver
        hour = timedelta(hours=1)
        records, observer = station.days(0.13, (hour * 1.2, lambda: receiver.turn_dial(3_573_000, "LSB")))
        assert [record.outcome for record in records] == ["done"] * len(records) and len(records) >= 5
        late = [record.started for record in records if record.started.minute % 30 >= 9]
        assert len(late) == 1 and 600 <= (late[0] - MONDAY - 1.5 * hour).total_seconds() <= 640
        assert any(doing == "yielding" and "3573000" in because for doing, because in observer.said)
        assert (receiver.hz, receiver.mode) == (3_573_000, "LSB")


def test_somebody_who_keeps_tuning_is_left_alone_and_each_pass_says_why(tmp_path: Path) -> None:
    with jumping(tmp_path, "[{every: 30 min}]", quiet_s=600) as station:
        receiver = station.served.receiver
        busy = [
            (timedelta(minutes=40 + 5 * n), lambda n=n: receiver.turn_dial(3_500_000 + 1000 * n, "LSB"))
            for n in range(16)
        ]
        records, _ = station.days(0.13, *busy)
        assert [record.outcome for record in records][:5] == ["done", "skipped", "skipped", "done", "done"]
        assert all("receiver" in record.because for record in records if record.outcome == "skipped")


@pytest.mark.parametrize("step_h", [-3.0, 3.0])
def test_a_clock_set_by_hours_goes_on_at_once_by_the_right_time(tmp_path: Path, step_h: float) -> None:
    with jumping(tmp_path, "[{every: 20 min}]") as station:
        clock = station.clock
        true_starts: list[float] = []
        began = clock.now()

        class Starts(Observer):
            def begins(self, number: int, visits: int) -> None:
                true_starts.append(clock.monotonic())

        station_model = load(station.file)
        with Store(station.data, "Outpost", 8.1) as store:
            stepping = At(clock, (timedelta(minutes=130), lambda: clock.step(step_h * 3600)))
            campaign = Campaign(station_model, store, clock, Orders(), (stepping, Starts()))
            schedule = after_of(lambda after, count: next_times(station_model, after, count))
            keep_schedule(campaign, schedule, began + timedelta(hours=5 + step_h))
            records = store.passes()
        assert all(record.outcome == "done" for record in records)
        gaps = [b - a for a, b in itertools.pairwise(true_starts)]
        assert max(gaps) <= 20 * 60 + 31 and sum(gap < 9 * 60 for gap in gaps) <= 1
        # All that the clock says is by its own right time: on the twenties, before and after.
        on_time = [record for record in records if (record.started.minute % 20) == 0]
        assert len(on_time) >= len(records) - 1


def test_the_change_to_winter_time_neither_loses_nor_doubles_a_pass(tmp_path: Path) -> None:
    """25 October 2026, 01:00 UTC: Copenhagen's clocks go from 03:00 back to 02:00 (EU directive 2000/84/EC)."""
    with jumping(tmp_path, "[{every: 30 min, from: '23:00', to: '06:00'}]") as station:
        text = station.file.read_text().replace(
            "environment: rural", "environment: rural, timezone: Europe/Copenhagen"
        )
        station.file.write_text(text)
        station.clock.sleep((datetime(2026, 10, 24, 20, tzinfo=UTC) - MONDAY).total_seconds())
        records, _ = station.days(0.5)
        starts = [record.started.replace(second=0, microsecond=0) for record in records]
        # From 21:00 UTC (23:00 summer time) to 05:00 UTC (06:00 winter time): eight hours, not seven.
        assert starts == [
            datetime(2026, 10, 24, 21, tzinfo=UTC) + n * timedelta(minutes=30) for n in range(16)
        ]
