"""The schedule under clocks that are stepped: no instant lost, none measured twice."""

import itertools
from collections.abc import Callable
from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sweeper.clock import JumpingClock
from sweeper.daemon.run.schedule_cursor import ScheduleCursor, after_of

START = datetime(2026, 11, 1, 16, 3, tzinfo=UTC)
MINUTE = timedelta(minutes=1)


def every(minutes: float) -> Callable[[datetime], datetime]:
    """Instants on the round multiples of so many minutes."""
    step = timedelta(minutes=minutes)
    origin = datetime(2026, 1, 1, tzinfo=UTC)
    return lambda after: origin + ((after - origin) // step + 1) * step


def waited(cursor: ScheduleCursor, clock: JumpingClock, look_s: float = 30.0) -> datetime:
    """Wait for the next instant as the daemon does; when it came, by the wall clock."""
    while True:
        instant = cursor.upcoming()
        assert instant is not None
        remaining_s = (instant - clock.now()).total_seconds()
        if remaining_s <= 0:
            cursor.took(instant)
            return instant
        clock.sleep(min(remaining_s, look_s))
        cursor.stepped()


def test_instants_come_in_order_each_once_and_on_time() -> None:
    clock = JumpingClock(START)
    cursor = ScheduleCursor(every(10), clock)
    came = [waited(cursor, clock) for _ in range(6)]
    assert came == [START.replace(minute=10) + n * 10 * MINUTE for n in range(6)]
    assert clock.now() == came[-1]


@pytest.mark.parametrize("step_s", [-1.5, -20.0, -280.0])
def test_a_clock_set_back_by_moments_measures_no_instant_twice(step_s: float) -> None:
    clock = JumpingClock(START)
    cursor = ScheduleCursor(every(10), clock)
    first = waited(cursor, clock)
    clock.sleep(2.0)
    clock.step(step_s)
    assert cursor.stepped() == pytest.approx(step_s)
    assert waited(cursor, clock) == first + 10 * MINUTE


def test_a_clock_set_back_by_hours_goes_on_with_the_instants_of_the_right_time() -> None:
    clock = JumpingClock(START)
    cursor = ScheduleCursor(every(10), clock)
    first = waited(cursor, clock)
    clock.sleep(2.0)
    clock.step(-3 * 3600.0)
    began_s = clock.monotonic()
    assert waited(cursor, clock) == first - timedelta(hours=3) + 10 * MINUTE
    assert clock.monotonic() - began_s <= 600.0


def test_a_clock_set_ahead_over_an_awaited_instant_measures_it_now_and_those_that_never_were_not() -> None:
    clock = JumpingClock(START)
    cursor = ScheduleCursor(every(10), clock)
    first = waited(cursor, clock)
    clock.sleep(60.0)
    clock.step(2 * 3600.0)
    cursor.stepped()
    began_s = clock.monotonic()
    assert waited(cursor, clock) == first + 10 * MINUTE
    assert clock.monotonic() == began_s
    following = waited(cursor, clock)
    assert following > clock.now() - MINUTE
    assert following - (first + timedelta(hours=2)) <= 20 * MINUTE


def test_a_pass_that_overran_is_followed_by_the_latest_instant_at_once_and_the_others_are_named() -> None:
    clock = JumpingClock(START)
    cursor = ScheduleCursor(every(10), clock)
    first = waited(cursor, clock)
    clock.sleep(35 * 60.0)
    assert cursor.missed() == (first + 10 * MINUTE, first + 20 * MINUTE)
    assert waited(cursor, clock) == first + 30 * MINUTE
    assert waited(cursor, clock) == first + 40 * MINUTE


def test_a_step_ahead_in_the_middle_of_a_pass_is_no_overrun() -> None:
    clock = JumpingClock(START)
    cursor = ScheduleCursor(every(10), clock)
    waited(cursor, clock)
    clock.sleep(60.0)
    clock.step(5 * 3600.0)
    assert cursor.missed() == ()


def test_sparing_the_relays_takes_each_third_instant_evenly() -> None:
    clock = JumpingClock(START)
    cursor = ScheduleCursor(every(10), clock, every=3)
    came = [waited(cursor, clock) for _ in range(4)]
    assert {b - a for a, b in itertools.pairwise(came)} == {30 * MINUTE}


def test_a_schedule_that_ends_says_so() -> None:
    last = START + 5 * MINUTE
    cursor = ScheduleCursor(lambda after: last if after < last else None, JumpingClock(START))
    assert cursor.upcoming() == last
    cursor.took(last)
    assert cursor.upcoming() is None


@given(
    minutes=st.sampled_from([1.0, 5.0, 10.0, 60.0]),
    steps=st.lists(st.tuples(st.floats(0, 7200), st.floats(-14_400, 14_400)), max_size=8),
)
def test_whatever_the_clock_does_passes_are_never_crowded_and_never_stay_away(
    minutes: float, steps: list[tuple[float, float]]
) -> None:
    """In true time: no two passes closer than half an interval but for one due at once after a step ahead, and
    none further apart than an interval and one more for each step of the clock in between."""
    clock = JumpingClock(START)
    cursor = ScheduleCursor(every(minutes), clock)
    interval_s = minutes * 60
    pending = list(steps)
    next_step_s = pending[0][0] if pending else float("inf")
    came_s: list[float] = []
    stepped_at: list[float] = []
    ahead_after: list[float] = []
    while len(came_s) < 30:
        instant = cursor.upcoming()
        assert instant is not None
        remaining_s = (instant - clock.now()).total_seconds()
        if remaining_s <= 0:
            cursor.took(instant)
            came_s.append(clock.monotonic())
            continue
        clock.sleep(min(remaining_s, 30.0))
        if clock.monotonic() >= next_step_s:
            _, size_s = pending.pop(0)
            clock.step(size_s)
            stepped_at.append(clock.monotonic())
            if size_s > 0:
                ahead_after.append(clock.monotonic())
            next_step_s = clock.monotonic() + pending[0][0] if pending else float("inf")
        cursor.stepped()
    for before, after in itertools.pairwise(came_s):
        steps_between = sum(before <= moment <= after for moment in stepped_at)
        assert after - before <= (interval_s + 30.0) * (1 + steps_between)
        if not any(before <= moment <= after for moment in ahead_after):
            crowded = after - before < interval_s / 2 - 1e-6
            # The instant after one that a step made due at once keeps the schedule's own time.
            assert not crowded or any(0 <= before - moment < 1e-6 for moment in ahead_after)


def test_a_schedule_is_asked_for_many_instants_at_a_time() -> None:
    asked = []

    def times(after: datetime, count: int) -> tuple[datetime, ...]:
        asked.append(after)
        following = every(10)
        found = [following(after)]
        while len(found) < count:
            found.append(following(found[-1]))
        return tuple(found)

    next_after = after_of(times)
    instant, walked = START, []
    for _ in range(40):
        found = next_after(instant)
        assert found is not None
        walked.append(found)
        instant = found
    assert walked == [START.replace(minute=10) + n * 10 * MINUTE for n in range(40)]
    assert len(asked) <= 4
    assert next_after(START) == walked[0]  # and backwards, after a step back
