"""Sun times against an almanac's worked year and against astral's own, and through polar day and night."""

from datetime import UTC, date, datetime, timedelta, timezone

import astral
import astral.sun
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sweeper.schedule.sun import is_morning, sun_event
from sweeper.station.moments import SUN_EVENTS, SunEvent

pytestmark = pytest.mark.slow

DAYS = st.dates(date(2020, 1, 1), date(2035, 12, 31))


@pytest.mark.parametrize("longitude", [-170.0, -105.0, 0.0, 8.1, 151.2, 179.0])
@pytest.mark.parametrize("latitude", [-45.0, 0.0, 40.0, 56.2])
@pytest.mark.parametrize("day", [date(2026, 3, 20), date(2026, 6, 21), date(2026, 12, 21)])
def test_sunrise_and_sunset_agree_with_astral_where_there_are_some(
    latitude: float, longitude: float, day: date
) -> None:
    # astral adds the sun's radius and refraction in its own way; half a minute apart at 56 degrees.
    observer = astral.Observer(latitude, longitude)
    zone = timezone(timedelta(seconds=round(longitude * 240)))
    for event, theirs in (("sunrise", astral.sun.sunrise), ("sunset", astral.sun.sunset)):
        assert abs(sun_event(event, day, latitude, longitude) - theirs(observer, day, zone)) < timedelta(
            minutes=1
        )


@given(DAYS, st.floats(-180, 180))
def test_at_the_equator_day_and_night_are_alike_all_year(day: date, longitude: float) -> None:
    # Common knowledge: 12 h 7 min, refraction and radius included.
    light = sun_event("sunset", day, 0.0, longitude) - sun_event("sunrise", day, 0.0, longitude)
    assert timedelta(hours=12, minutes=5) < light < timedelta(hours=12, minutes=9)


@given(DAYS, st.floats(-90, 90), st.floats(-180, 180))
def test_the_events_of_a_day_come_in_their_order_everywhere(
    day: date, latitude: float, longitude: float
) -> None:
    order = ["astronomical dawn", "nautical dawn", "civil dawn", "sunrise", "noon",
             "sunset", "civil dusk", "nautical dusk", "astronomical dusk"]  # fmt: skip
    times = [sun_event(event, day, latitude, longitude) for event in order]
    assert times == sorted(times)
    assert times[-1] - times[0] <= timedelta(hours=24)


@given(DAYS, st.floats(-90, 90), st.floats(-180, 180))
def test_solar_noon_lies_within_the_equation_of_time_of_mean_noon(
    day: date, latitude: float, longitude: float
) -> None:
    # The equation of time never exceeds 16 min 33 s.
    mean_noon = datetime(day.year, day.month, day.day, 12, tzinfo=UTC) - timedelta(hours=longitude / 15)
    assert abs(sun_event("noon", day, latitude, longitude) - mean_noon) < timedelta(minutes=17)


def test_in_polar_day_sunset_and_the_next_sunrise_meet_at_midnight() -> None:
    # Tromsø, 69.65° N: midnight sun from about 18 May to 26 July (common knowledge).
    evening = sun_event("sunset", date(2026, 6, 21), 69.65, 18.96)
    morning = sun_event("sunrise", date(2026, 6, 22), 69.65, 18.96)
    assert abs(morning - evening) < timedelta(minutes=1)
    assert evening - sun_event("noon", date(2026, 6, 21), 69.65, 18.96) == timedelta(hours=12)


def test_in_polar_night_sunrise_and_sunset_meet_at_noon() -> None:
    # Tromsø: polar night from about 27 November to 15 January (common knowledge).
    place = (date(2026, 12, 21), 69.65, 18.96)
    assert sun_event("sunrise", *place) == sun_event("noon", *place) == sun_event("sunset", *place)
    assert sun_event("civil dusk", *place) > sun_event("noon", *place)  # there is twilight


@given(DAYS, st.sampled_from([event for event in SUN_EVENTS if event != "noon"]), st.floats(-89, 89))
def test_night_length_does_not_jump_where_polar_day_or_night_begins(
    day: date, event: SunEvent, latitude: float
) -> None:
    here, a_metre_north = (sun_event(event, day, each, 0.0) for each in (latitude, latitude + 1e-5))
    # The hour angle goes with the square root of the distance from the edge: minutes for a metre, never hours.
    assert abs(here - a_metre_north) < timedelta(minutes=5)
    noon = sun_event("noon", day, latitude, 0.0)
    assert here <= noon if is_morning(event) else here >= noon
