"""When there is something to tell: once in the morning, and at once for what needs a hand, each only once a night."""

from datetime import UTC, date, datetime, timedelta

import pytest

from sweeper.clock import JumpingClock
from sweeper.daemon.run.states import Doing
from sweeper.notify import Message, Watch
from sweeper.words import Hand, PassRecord

EVENING = datetime(2026, 11, 1, 16, tzinfo=UTC)
NIGHT = date(2026, 11, 1)
STUCK = "relay board: relay 0 was told to be on and reads off."


class Station:
    """Passes every ten minutes on a clock that jumps."""

    def __init__(self, **terms: object) -> None:
        self.clock = JumpingClock(EVENING)
        self.sent: list[Message] = []
        self.watch = Watch(self.clock, 8.1, self.sent.append, **terms)  # type: ignore[arg-type]
        self.number = 0

    def a_pass(
        self, outcome: str = "done", because: str = "", left_over: tuple[str, ...] = (), hand: Hand = ""
    ) -> None:
        self.number += 1
        began = self.clock.now()
        self.clock.sleep(60)
        now = self.clock.now()
        record = PassRecord(self.number, began, now, outcome, because, 4, left_over, hand=hand)  # type: ignore[arg-type]
        self.watch.finished(record, ())

    def waits(self, hours: float = 0.15) -> None:
        self.watch.doing("waiting", "", self.clock.now() + timedelta(hours=hours))
        for _ in range(int(hours * 60)):
            self.clock.sleep(60)
            self.watch.alive()

    def night(self) -> None:
        for _ in range(3):
            self.a_pass()
            self.waits()
        self.waits(10)

    @property
    def at_once(self) -> list[str]:
        return [each.sentence for each in self.sent if each.kind == "at once"]


def test_a_night_that_is_over_is_told_once() -> None:
    station = Station()
    station.a_pass()
    station.waits()
    assert station.sent == []
    station.a_pass()
    station.waits(10)
    station.waits(5)
    assert station.sent == [Message("morning", "", NIGHT)]
    station.clock.sleep(10 * 3600)
    station.night()
    assert [each.night for each in station.sent] == [NIGHT, NIGHT + timedelta(days=1)]


def test_a_night_that_was_told_before_a_restart_is_not_told_again() -> None:
    kept: list[date] = []
    first = Station(tells=kept.append)
    first.night()
    assert kept == [NIGHT]
    again = Station(told_last=kept[-1])
    again.night()
    assert again.sent == []


def test_a_station_that_measures_without_a_break_is_told_of_each_night_at_noon() -> None:
    station = Station()
    for _ in range(60):
        station.a_pass()
        station.clock.sleep(3600)
    assert [each.night for each in station.sent] == [NIGHT, NIGHT + timedelta(days=1)]


def test_nothing_is_told_of_a_night_without_a_pass() -> None:
    station = Station()
    station.waits(12)
    assert station.sent == []


@pytest.mark.parametrize(
    ("terms", "told"), [({"morning": False}, ["at once"]), ({"at_once": False}, ["morning"])]
)
def test_each_kind_can_be_left_out(terms: dict[str, bool], told: list[str]) -> None:
    station = Station(**terms)
    station.a_pass("failed", STUCK, hand="relay")
    station.night()
    assert [each.kind for each in station.sent] == told


@pytest.mark.parametrize(("because", "hand"), [(STUCK, "relay"), ("it takes nothing", "disk")])
def test_a_relay_that_sticks_and_a_disk_that_is_full_are_told_at_once_and_once(
    because: str, hand: Hand
) -> None:
    station = Station()
    for _ in range(4):
        station.a_pass("failed", because, hand=hand)
        station.waits()
    assert station.at_once == [f"Pass 1 failed: {because}"]


def test_relays_that_could_not_be_put_to_rest_are_told() -> None:
    station = Station()
    station.a_pass("failed", "no answer", left_over=("relays",))
    assert station.at_once == ["The relays could not be put to rest."]


def test_troubles_that_need_no_hand_are_not_told() -> None:
    station = Station()
    station.watch.trouble("The clock was stepped by +3 s; the schedule goes by the new time.")
    station.watch.trouble("A disk, a relay and what was told to be are only words in a name of a band.")
    station.watch.trouble("Finished days stay in the database for now.", "disk")
    assert station.at_once == ["Finished days stay in the database for now."]


def test_an_hour_without_a_reading_is_told_with_the_reason() -> None:
    station = Station()
    station.a_pass()
    for _ in range(6):
        station.waits()
        station.a_pass("failed", "receiver: no answer within 2 s.")
    assert station.at_once == []
    station.waits()
    station.a_pass("failed", "receiver: no answer within 2 s.")
    assert station.at_once == ["No reading for an hour. receiver: no answer within 2 s."]
    for _ in range(20):
        station.waits()
        station.a_pass("failed", "receiver: no answer within 2 s.")
    assert len(station.at_once) == 1


def test_a_pass_in_between_begins_the_hour_anew() -> None:
    station = Station()
    for nth in range(20):
        station.a_pass("done" if nth % 4 == 0 else "failed", "" if nth % 4 == 0 else "no answer")
        station.waits()
    assert station.at_once == []


def test_no_reading_is_missed_while_a_person_uses_the_receiver_paused_it_or_no_pass_is_due() -> None:
    for rest in ("paused", "yielding"):
        station = Station()
        station.a_pass("failed", "no answer")
        station.watch.doing(rest, "paused by you", None)  # type: ignore[arg-type]
        station.clock.sleep(7200)
        station.watch.alive()
        assert station.at_once == []
    station = Station()
    station.a_pass("failed", "no answer")
    station.waits(10)
    assert station.at_once == []


def test_a_fault_that_changes_its_words_does_not_fill_a_phone() -> None:
    station = Station()
    for nth in range(40):
        station.a_pass("failed", f"relay {'x' * nth} was told to be on and reads off.", hand="relay")
    assert len(station.at_once) == 5


@pytest.mark.parametrize(("hours", "told"), [(1.9, False), (2.1, True)])
def test_a_night_is_over_when_the_next_pass_is_more_than_two_hours_away(hours: float, told: bool) -> None:
    station = Station()
    station.a_pass()
    station.watch.doing("waiting", "", station.clock.now() + timedelta(hours=hours))
    assert bool(station.sent) == told


def test_a_night_is_over_when_the_next_pass_is_one_of_the_next() -> None:
    """Solar noon at 8.1 degrees east is 32.4 minutes before that of Greenwich."""
    for minutes, told in ((26, False), (29, True)):
        station = Station()
        station.clock.sleep(19 * 3600)  # 11 o'clock UTC
        station.a_pass()  # takes a minute
        station.watch.doing("waiting", "", station.clock.now() + timedelta(minutes=minutes - 1))
        assert [each.night for each in station.sent] == ([NIGHT] if told else [])


@pytest.mark.parametrize("doing", ["measuring", "paused", "yielding"])
def test_only_whoever_waits_for_a_pass_is_through_with_a_night(doing: Doing) -> None:
    station = Station()
    station.a_pass()
    station.watch.doing(doing, "", station.clock.now() + timedelta(hours=10))
    station.watch.doing("waiting", "", None)
    assert station.sent == []
    station.waits(3)
    assert [each.kind for each in station.sent] == ["morning"]


def test_the_next_night_is_told_anew_of_what_still_needs_a_hand() -> None:
    station = Station(morning=False)
    for _ in range(2):
        for _ in range(2):
            station.a_pass("failed", STUCK, hand="relay")
        station.clock.sleep(24 * 3600)
    told = [each for each in station.at_once if each.startswith("Pass")]
    assert told == [f"Pass 1 failed: {STUCK}", f"Pass 3 failed: {STUCK}"]


def test_an_hour_without_a_reading_counts_from_the_beginning_of_the_first_pass_that_failed() -> None:
    for seconds, told in ((3600 - 60 - 1, False), (3600 - 60, True)):
        station = Station()
        station.a_pass("failed", "no answer")  # takes a minute
        station.clock.sleep(seconds)
        station.watch.alive()
        assert bool(station.at_once) == told
    station = Station()
    for nth in range(12):
        station.a_pass("failed", f"reason {'x' * nth}")
        station.clock.sleep(1140)
    assert len(station.at_once) == 1 and station.at_once[0].startswith("No reading for an hour. reason x")


def test_a_pass_that_is_skipped_neither_begins_nor_ends_an_hour_without_a_reading() -> None:
    station = Station()
    station.a_pass("skipped", "transmitting")
    station.clock.sleep(7200)
    station.watch.alive()
    assert station.at_once == []
    station.a_pass("failed", "no answer")
    station.clock.sleep(3000)
    station.a_pass("skipped", "transmitting")
    station.clock.sleep(600)
    station.watch.alive()
    assert station.at_once == ["No reading for an hour. no answer"]


def test_a_receiver_that_could_not_be_restored_needs_no_hand_at_once() -> None:
    station = Station()
    station.a_pass("failed", "no answer", left_over=("receiver",))
    assert station.at_once == []
