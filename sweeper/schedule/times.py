"""The instants at which passes are due, as APScheduler triggers."""

from bisect import bisect_right
from collections.abc import Iterator, Sequence
from datetime import UTC, date, datetime, timedelta
from heapq import heapify, heappop, heapreplace
from itertools import islice

from apscheduler.triggers.base import BaseTrigger
from apscheduler.triggers.combining import OrTrigger

from sweeper.schedule.windows import DAY, Place, Span, instant, length_of, on_weekday, place_of, spans
from sweeper.station import Station, Window
from sweeper.station.moments import parse_moment

LOOK_AHEAD_DAYS = 400
"""A window that has not come for more than a year does not come."""

_TICK = timedelta(microseconds=1)


class _Blackouts:
    """The blackouts as spans without gaps or overlaps, worked out once for each date around which one asks."""

    def __init__(self, windows: Sequence[Window], place: Place) -> None:
        self._windows = windows
        self._place = place
        self._of_day: dict[date, list[Span]] = {}

    def until(self, time: datetime) -> datetime | None:
        """When the blackout that `time` falls into ends; None outside of all."""
        if not self._windows:
            return None
        day = time.astimezone(self._place.zone).date()
        if day not in self._of_day:
            if len(self._of_day) > 8:
                self._of_day.clear()
            self._of_day[day] = self._around(time)
        around = self._of_day[day]
        nth = bisect_right(around, time, key=lambda span: span.begin) - 1
        return around[nth].end if nth >= 0 and time < around[nth].end else None

    def _around(self, time: datetime) -> list[Span]:
        found = [span for window in self._windows for span in spans(window, self._place, time, 2)]
        merged: list[Span] = []
        for span in sorted(found, key=lambda span: span.begin):
            if merged and span.begin <= merged[-1].end:
                merged[-1] = Span(merged[-1].begin, max(merged[-1].end, span.end))
            else:
                merged.append(span)
        return merged


class _InWindow(BaseTrigger):  # type: ignore[misc]  # APScheduler 3 has no types.
    """When passes of one window of the schedule are due, at the station's place and outside its blackouts."""

    def __init__(self, window: Window, blackouts: _Blackouts, place: Place) -> None:
        self._window = window
        self._blackouts = blackouts
        self._place = place


class _Within(_InWindow):
    """Every so often within a window, beginning with it."""

    def get_next_fire_time(self, previous_fire_time: datetime | None, now: datetime) -> datetime | None:
        earliest = previous_fire_time + _TICK if previous_fire_time is not None else now
        every = length_of(self._window)
        best: datetime | None = None
        for span in spans(self._window, self._place, earliest, LOOK_AHEAD_DAYS):
            if best is not None and span.begin >= best:
                break
            steps = max(0, -((span.begin - earliest) // every))
            time: datetime | None = span.begin + steps * every
            while time is not None and time < span.end:
                until = self._blackouts.until(time)
                if until is None:
                    best = time if best is None else min(best, time)
                    break
                time = span.begin - ((span.begin - until) // every) * every
        return best


class _At(_InWindow):
    """At moments of the day."""

    def get_next_fire_time(self, previous_fire_time: datetime | None, now: datetime) -> datetime | None:
        earliest = previous_fire_time + _TICK if previous_fire_time is not None else now
        moments = [parse_moment(text) for text in self._window.at or ()]
        today = earliest.astimezone(self._place.zone).date()
        found: list[datetime] = []
        for number in range(-2, LOOK_AHEAD_DAYS):
            for moment in moments:
                time = instant(moment, today + number * DAY, self._place)
                if (
                    time >= earliest
                    and on_weekday(time, self._window, self._place)
                    and self._blackouts.until(time) is None
                ):
                    found.append(time)
            # Offsets can shift a moment by up to a day and sun times into the next date: look that much further.
            if found and min(found) < instant(_LATE, today + (number - 2) * DAY, self._place):
                break
        return min(found, default=None)


_LATE = parse_moment("00:00")


def trigger(station: Station) -> OrTrigger:
    """An APScheduler trigger that fires, in UTC, whenever a pass is due."""
    place = place_of(station)
    blackouts = _Blackouts([window for window in station.schedule if window.blackout], place)
    triggers = [
        (_Within if window.every is not None else _At)(window, blackouts, place)
        for window in station.schedule
        if not window.blackout
    ]
    return OrTrigger(triggers)


def times(station: Station, after: datetime) -> Iterator[datetime]:
    """The instants (UTC) after `after` at which passes are due, in order, each once."""
    previous = after.astimezone(UTC)
    triggers = trigger(station).triggers
    # Only the window whose turn it was is asked again: a schedule of hundreds is not gone through for each instant.
    due = [
        (time, nth)
        for nth, each in enumerate(triggers)
        if (time := each.get_next_fire_time(previous, previous)) is not None
    ]
    heapify(due)
    while due:
        time, nth = due[0]
        if time > previous:
            yield time
            previous = time
        following = triggers[nth].get_next_fire_time(time, time)
        if following is None:
            heappop(due)
        else:
            heapreplace(due, (following, nth))


def next_times(station: Station, after: datetime, count: int) -> tuple[datetime, ...]:
    """The next `count` instants (UTC) after `after` at which passes are due; fewer when no more come."""
    return tuple(islice(times(station, after), count))


def passes_a_day(station: Station, after: datetime) -> float | None:
    """Passes a day, as the mean over the week after `after`; None without a schedule."""
    if not station.schedule:
        return None
    count = 0
    for time in times(station, after):
        if time > after + 7 * DAY:
            break
        count += 1
        if count == _ENOUGH:  # Of so many instants the rest of the week is no different.
            return count / ((time - after) / DAY)
    return count / 7


_ENOUGH = 5000
