"""Sun times against printed timetables."""

from datetime import UTC, date, datetime, timedelta
from itertools import pairwise

import pytest

from sweeper.schedule.sun import sun_event

LONDON = (51.507, -0.128)


@pytest.mark.parametrize(
    ("day", "sunrise", "sunset"),
    [
        (date(2024, 6, 21), "03:43", "20:21"),
        (date(2024, 12, 21), "08:04", "15:53"),
        (date(2024, 3, 20), "06:03", "18:14"),
    ],
)
def test_london_rises_and_sets_by_the_timetable(day: date, sunrise: str, sunset: str) -> None:
    # As the London timetables print them, to the minute and in UTC (from memory).
    for event, printed in (("sunrise", sunrise), ("sunset", sunset)):
        wanted = datetime.fromisoformat(f"{day}T{printed}").replace(tzinfo=UTC)
        assert abs(sun_event(event, day, *LONDON) - wanted) <= timedelta(minutes=1, seconds=30)


@pytest.mark.parametrize(
    ("day", "early_s"), [(date(2024, 11, 3), 16 * 60 + 26), (date(2024, 2, 11), -(14 * 60 + 13))]
)
def test_solar_noon_runs_early_and_late_by_the_equation_of_time(day: date, early_s: float) -> None:
    # Extremes of the equation of time in almanacs: 16 min 26 s early on 3 November, 14 min 13 s late on 11 February
    # (from memory).
    mean_noon = datetime(day.year, day.month, day.day, 12, tzinfo=UTC)
    early = (mean_noon - sun_event("noon", day, 51.0, 0.0)).total_seconds()
    assert early == pytest.approx(early_s, abs=10)


def test_civil_nautical_and_astronomical_dusk_follow_each_other_as_at_the_equator() -> None:
    # At the equator at an equinox the sun sinks 15 degrees an hour: 6 degrees take 24 minutes (common knowledge).
    dusks = [
        sun_event(f"{kind} dusk", date(2024, 3, 20), 0.0, 0.0)
        for kind in ("civil", "nautical", "astronomical")
    ]
    for before, after in pairwise(dusks):
        assert abs(after - before - timedelta(minutes=24)) < timedelta(seconds=15)
