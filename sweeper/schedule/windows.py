"""Windows of time: from a moment of the day to another, day after day."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from sweeper.schedule.sun import sun_event
from sweeper.station import Station, Window
from sweeper.station.moments import Moment, parse_duration, parse_moment

DAY = timedelta(days=1)
MIDNIGHT = Moment(time(0, 0))
_WEEKDAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
_USUAL_HOUR = {
    "astronomical dawn": 4.5,
    "nautical dawn": 5.0,
    "dawn": 5.5,
    "civil dawn": 5.5,
    "sunrise": 6.0,
    "noon": 12.0,
    "sunset": 18.0,
    "dusk": 18.5,
    "civil dusk": 18.5,
    "nautical dusk": 19.0,
    "astronomical dusk": 19.5,
}


@dataclass(frozen=True)
class Place:
    """What turns a moment of the day into an instant: degrees north and east, and the zone of clock times."""

    latitude: float
    longitude: float
    zone: ZoneInfo


@dataclass(frozen=True)
class Span:
    """From `begin` to before `end` (UTC)."""

    begin: datetime
    end: datetime


def place_of(station: Station) -> Place:
    return Place(station.station.latitude, station.station.longitude, ZoneInfo(station.station.timezone))


def instant(moment: Moment, day: date, place: Place) -> datetime:
    """The UTC instant of a moment on a date.

    A clock time that is skipped when summer time begins comes as much later as the clock jumps; one that
    comes twice when it ends counts the first time.
    """
    if isinstance(moment.event, time):
        local = datetime.combine(day, moment.event, tzinfo=place.zone)
        return local.astimezone(UTC) + moment.offset
    return sun_event(moment.event, day, place.latitude, place.longitude) + moment.offset


def on_weekday(time: datetime, window: Window, place: Place) -> bool:
    """Whether an instant falls on one of the window's weekdays, in the station's zone."""
    return window.weekdays is None or _WEEKDAYS[time.astimezone(place.zone).weekday()] in window.weekdays


def spans(window: Window, place: Place, after: datetime, days: int) -> Iterator[Span]:
    """The window's spans that may reach beyond `after`, in order, for so many days; on its weekdays, by their begin.

    A span ends at the first end that usually follows its begin; on days when it does not follow (sunset after
    23:00, say), there is no span.
    """
    begin = parse_moment(window.begin) if window.begin else MIDNIGHT
    end = parse_moment(window.end) if window.end else MIDNIGHT
    today = after.astimezone(place.zone).date()
    for number in range(-3, days):
        day = today + number * DAY
        later = next(n for n in range(-2, 5) if _usual(end, day + n * DAY, place) > _usual(begin, day, place))
        span = Span(instant(begin, day, place), instant(end, day + later * DAY, place))
        if span.begin < span.end and on_weekday(span.begin, window, place):
            yield span


def length_of(window: Window) -> timedelta:
    """The interval of a window with `every`."""
    return parse_duration(window.every or "24 h")


def _usual(moment: Moment, day: date, place: Place) -> datetime:
    """When a moment usually is, so that what follows what does not depend on the season."""
    if isinstance(moment.event, time):
        return instant(moment, day, place)
    solar_midnight = datetime(day.year, day.month, day.day, tzinfo=UTC) - timedelta(
        hours=place.longitude / 15
    )
    return solar_midnight + timedelta(hours=_USUAL_HOUR[moment.event]) + moment.offset
