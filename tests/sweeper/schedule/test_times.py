"""When passes are due: clock and sun, weekdays, blackouts, summer time, and each instant exactly once."""

import importlib
import tempfile
from datetime import UTC, date, datetime, timedelta
from itertools import islice, pairwise
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from apscheduler.triggers.base import BaseTrigger
from hypothesis import given, settings
from hypothesis import strategies as st

from sweeper.schedule import next_times, passes_a_day, times, trigger
from sweeper.schedule.sun import sun_event
from tests.sweeper.schedule.places import station_with

pytestmark = pytest.mark.slow


def utc(text: str) -> datetime:
    return datetime.fromisoformat(text).replace(tzinfo=UTC)


def within(folder: Path, begin: str, end: str, *windows: str, **place: object) -> list[datetime]:
    """The instants from `begin` to before `end`."""
    found = []
    for time in times(station_with(folder, *windows, **place), utc(begin) - timedelta(microseconds=1)):
        if time >= utc(end):
            break
        found.append(time)
    return found


def test_an_interval_between_clock_times_over_midnight(tmp_path: Path) -> None:
    found = within(
        tmp_path, "2026-11-01T12:00", "2026-11-02T12:00", "{every: 2 h, from: '21:00', to: '04:00'}"
    )
    assert found == [utc(f"2026-11-01T{h}:00") for h in ("21", "23")] + [
        utc(f"2026-11-02T0{h}:00") for h in (1, 3)
    ]


def test_an_interval_all_day_begins_anew_at_midnight(tmp_path: Path) -> None:
    found = within(tmp_path, "2026-11-01T00:00", "2026-11-02T01:00", "{every: 7 h}")
    assert [(time.day, time.hour) for time in found] == [(1, 0), (1, 7), (1, 14), (1, 21), (2, 0)]


def test_moments_of_the_day(tmp_path: Path) -> None:
    found = within(tmp_path, "2026-11-01T00:00", "2026-11-02T00:00", "{at: ['06:00', sunset + 30 min, noon]}")
    sunset = sun_event("sunset", date(2026, 11, 1), 56.2, 8.1)
    noon = sun_event("noon", date(2026, 11, 1), 56.2, 8.1)
    assert found == [utc("2026-11-01T06:00"), noon, sunset + timedelta(minutes=30)]


def test_from_before_sunset_to_after_sunrise(tmp_path: Path) -> None:
    window = "{every: 10 min, from: sunset - 1 h, to: sunrise + 1 h}"
    found = within(tmp_path, "2026-11-01T12:00", "2026-11-02T12:00", window)
    assert found[0] == sun_event("sunset", date(2026, 11, 1), 56.2, 8.1) - timedelta(hours=1)
    end = sun_event("sunrise", date(2026, 11, 2), 56.2, 8.1) + timedelta(hours=1)
    assert end - timedelta(minutes=10) <= found[-1] < end
    assert {b - a for a, b in pairwise(found)} == {timedelta(minutes=10)}


@pytest.mark.parametrize("longitude", [-157.0, -74.0, 0.0, 115.0, 174.0])
def test_a_night_by_the_sun_is_the_local_night_wherever_the_station_is(
    tmp_path: Path, longitude: float
) -> None:
    found = within(tmp_path, "2026-11-01T00:00", "2026-11-04T00:00", "{every: 1 h, from: sunset, to: sunrise}",
                   longitude=longitude, latitude=0.0)  # fmt: skip
    solar_hours = {(time + timedelta(hours=longitude / 15)).hour for time in found}
    assert not solar_hours & set(range(7, 17))
    assert len(found) >= 30


def test_several_windows_at_once_and_each_instant_once(tmp_path: Path) -> None:
    found = within(tmp_path, "2026-11-01T00:00", "2026-11-01T02:00",
                   "{every: 30 min}", "{every: 20 min}", "{at: ['00:40']}")  # fmt: skip
    assert [time.hour * 60 + time.minute for time in found] == [0, 20, 30, 40, 60, 80, 90, 100]


def test_weekdays_count_by_the_evening_on_which_a_night_begins(tmp_path: Path) -> None:
    # 1 November 2026 is a Sunday.
    found = within(tmp_path, "2026-11-01T12:00", "2026-11-09T00:00",
                   "{every: 4 h, from: '20:00', to: '04:00', weekdays: [fri, sat]}")  # fmt: skip
    assert [(time.strftime("%a"), time.hour) for time in found] == [
        ("Fri", 20),
        ("Sat", 0),
        ("Sat", 20),
        ("Sun", 0),
    ]


def test_a_blackout_silences_and_the_rhythm_stays(tmp_path: Path) -> None:
    found = within(tmp_path, "2026-11-01T00:00", "2026-11-01T06:00", "{every: 25 min, from: '00:00', to: '06:00'}",
                   "{blackout: true, from: '01:00', to: '04:30'}")  # fmt: skip
    minutes = [time.hour * 60 + time.minute for time in found]
    assert minutes == [m for m in range(0, 360, 25) if not 60 <= m < 270]


def test_a_blackout_on_some_weekdays_silences_moments_too(tmp_path: Path) -> None:
    found = within(
        tmp_path,
        "2026-11-01T00:00",
        "2026-11-04T00:00",
        "{at: ['06:00']}",
        "{blackout: true, weekdays: [mon]}",
    )
    assert [time.day for time in found] == [1, 3]


def test_no_schedule_no_instants(tmp_path: Path) -> None:
    assert next_times(station_with(tmp_path), utc("2026-11-01T00:00"), 3) == ()
    only_blackout = station_with(tmp_path, "{blackout: true, from: '01:00', to: '02:00'}")
    assert next_times(only_blackout, utc("2026-11-01T00:00"), 3) == ()


def test_a_schedule_that_is_always_blacked_out_ends_instead_of_searching_for_ever(tmp_path: Path) -> None:
    silent = station_with(tmp_path, "{every: 1 h, from: '20:00', to: '22:00'}", "{blackout: true}")
    assert next_times(silent, utc("2026-11-01T00:00"), 1) == ()


def test_a_scheduler_can_use_the_triggers(tmp_path: Path) -> None:
    fires = trigger(station_with(tmp_path, "{at: ['06:00']}"))
    assert isinstance(fires, BaseTrigger)
    first = fires.get_next_fire_time(None, utc("2026-11-01T06:00"))
    assert first == utc("2026-11-01T06:00")
    assert fires.get_next_fire_time(first, first) == utc("2026-11-02T06:00")


def test_passes_a_day_are_counted_over_a_week(tmp_path: Path) -> None:
    station = station_with(tmp_path, "{at: ['06:00', '18:00'], weekdays: [mon, tue, wed, thu, fri, sat]}")
    assert passes_a_day(station, utc("2026-11-01T00:00")) == pytest.approx(12 / 7)


def test_a_rhythm_of_seconds_is_counted_without_walking_the_week(tmp_path: Path) -> None:
    assert passes_a_day(station_with(tmp_path, "{every: 5 s}"), utc("2026-11-01T00:00")) == pytest.approx(
        17_280
    )


def test_clock_times_need_no_quotes(tmp_path: Path) -> None:
    plain = station_with(tmp_path, "{every: 1 h, from: 20:00, to: 04:00}", "{at: [6:05, 12:00]}")
    assert [(w.begin, w.end, w.at) for w in plain.schedule] == [
        ("20:00", "04:00", None),
        (None, None, ("6:05", "12:00")),
    ]


# Summer time: in Copenhagen it began on 29 March 2026 at 02:00 (01:00 UTC) and ended on 25 October 2026 at 03:00
# (01:00 UTC), by EU directive 2000/84/EC: last Sundays of March and October.


def test_a_clock_time_that_summer_time_skips_comes_once_and_later(tmp_path: Path) -> None:
    found = within(
        tmp_path, "2026-03-28T00:00", "2026-03-31T00:00", "{at: ['02:30']}", zone="Europe/Copenhagen"
    )
    assert found == [utc("2026-03-28T01:30"), utc("2026-03-29T01:30"), utc("2026-03-30T00:30")]


def test_a_clock_time_that_comes_twice_counts_once(tmp_path: Path) -> None:
    found = within(
        tmp_path, "2026-10-24T00:00", "2026-10-27T00:00", "{at: ['02:30']}", zone="Europe/Copenhagen"
    )
    assert found == [utc("2026-10-24T00:30"), utc("2026-10-25T00:30"), utc("2026-10-26T01:30")]


@pytest.mark.parametrize(
    ("day", "hours"), [("2026-03-28T20:00", 7), ("2026-10-24T19:00", 9), ("2026-11-07T20:00", 8)]
)
def test_an_interval_runs_through_a_change_of_summer_time_without_gap_or_double(
    tmp_path: Path, day: str, hours: int
) -> None:
    end = utc(day) + timedelta(hours=12)
    window = "{every: 15 min, from: '22:00', to: '06:00'}"
    found = within(tmp_path, day, end.isoformat()[:16], window, zone="Europe/Copenhagen")
    assert {b - a for a, b in pairwise(found)} == {timedelta(minutes=15)}
    assert len(found) == hours * 4
    assert found[0].astimezone(ZoneInfo("Europe/Copenhagen")).hour == 22


def test_a_window_by_the_sun_does_not_know_of_summer_time(tmp_path: Path) -> None:
    window = "{every: 10 min, from: sunset, to: sunrise}"
    inland = station_with(tmp_path, window, zone="Europe/Copenhagen")
    plain = station_with(tmp_path, window)
    after = utc("2026-10-24T12:00")
    assert next_times(inland, after, 200) == next_times(plain, after, 200)


# Polar summer and winter at Tromsø (69.65° N, 18.96° E).


def test_in_polar_summer_there_is_no_night_to_measure_and_in_winter_it_is_always_night(
    tmp_path: Path,
) -> None:
    window = "{every: 30 min, from: sunset, to: sunrise}"
    place = {"latitude": 69.65, "longitude": 18.96}
    assert (
        len(within(tmp_path, "2026-06-18T00:00", "2026-06-25T00:00", window, **place)) <= 7
    )  # a moment at midnight
    dark = within(tmp_path, "2026-12-18T00:00", "2026-12-20T00:00", window, **place)
    assert len(dark) in (96, 97, 98)
    assert max(b - a for a, b in pairwise(dark)) <= timedelta(minutes=30)


@pytest.mark.parametrize("latitude", [-89.0, -70.0, 70.0, 89.0])
def test_the_year_round_nights_at_high_latitude_grow_and_shrink_without_a_gap(
    tmp_path: Path, latitude: float
) -> None:
    station = station_with(
        tmp_path, "{every: 3 h, from: sunset - 1 h, to: sunrise + 1 h}", latitude=latitude, longitude=0.0
    )
    found = list(islice(times(station, utc("2026-01-01T00:00")), 400))
    assert max(b - a for a, b in pairwise(found)) < timedelta(hours=26)  # at least one pass a day, all year


PLACES = st.fixed_dictionaries(
    {"latitude": st.integers(-85, 85), "longitude": st.integers(-180, 180),
     "zone": st.sampled_from(["UTC", "Europe/Copenhagen", "America/New_York", "Australia/Lord_Howe", "Pacific/Apia"])}
)  # fmt: skip
WINDOWS = st.lists(
    st.sampled_from(
        ["{every: 10 min, from: sunset - 1 h, to: sunrise + 1 h}", "{every: 47 min}", "{at: ['02:30', '01:15', noon]}",
         "{every: 1 h, from: '22:00', to: '04:00'}", "{every: 20 min, from: civil dusk, to: '23:30'}",
         "{every: 35 min, from: '01:00', to: dawn, weekdays: [sat, sun]}", "{at: [sunrise - 3 h], weekdays: [mon]}"]),
    min_size=1, max_size=3, unique=True,
)  # fmt: skip
BLACKOUTS = st.lists(
    st.sampled_from(["{blackout: true, from: '02:00', to: '02:45'}", "{blackout: true, from: noon, to: sunset}"]),
    max_size=2, unique=True,
)  # fmt: skip
MOMENTS = st.integers(0, 730 * 86_400).map(lambda s: datetime(2026, 1, 1, tzinfo=UTC) + timedelta(seconds=s))


@pytest.mark.slow
@settings(max_examples=25, deadline=None)
@given(MOMENTS, WINDOWS, BLACKOUTS, PLACES)
def test_walking_and_jumping_see_the_same_instants(
    start: datetime, windows: list[str], blackouts: list[str], place: dict[str, object]
) -> None:
    """Asking from any moment gives what walking there gives: so no clock step can lose an instant or make one up."""
    with tempfile.TemporaryDirectory() as folder:
        station = station_with(Path(folder), *windows, *blackouts, **place)
        walked = list(islice(times(station, start), 40))
        assert all(a < b for a, b in pairwise(walked))
        assert all(time > start for time in walked)
        for position in range(0, len(walked) - 1, 7):
            just_before = walked[position] - timedelta(microseconds=1)
            in_between = walked[position] + (walked[position + 1] - walked[position]) / 2
            assert next_times(station, just_before, 1) == (walked[position],)
            assert next_times(station, walked[position], 1) == (walked[position + 1],)
            assert next_times(station, in_between, 1) == (walked[position + 1],)


@settings(max_examples=40, deadline=None)
@given(st.sampled_from([("Europe/Copenhagen", "2026-03-28"), ("Europe/Copenhagen", "2026-10-24"),
                        ("America/New_York", "2026-03-07"), ("Australia/Lord_Howe", "2026-04-04")]),
       st.integers(0, 23), st.integers(0, 59))  # fmt: skip
def test_a_daily_moment_comes_once_a_day_over_every_change_of_summer_time(
    where: tuple[str, str], hour: int, minute: int
) -> None:
    zone, begin = where
    with tempfile.TemporaryDirectory() as folder:
        station = station_with(Path(folder), f"{{at: ['{hour:02}:{minute:02}']}}", zone=zone)
        local = ZoneInfo(zone)
        start = datetime.fromisoformat(begin).replace(tzinfo=local) - timedelta(seconds=1)
        days = [time.astimezone(local).date() for time in next_times(station, start, 4)]
        assert days == [date.fromisoformat(begin) + timedelta(days=n) for n in range(4)]


def test_a_schedule_of_hundreds_of_windows_and_blackouts_is_not_gone_through_for_each_instant(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    module = importlib.import_module("sweeper.schedule.times")  # its function of that name hides it

    asked = []
    real = module.spans
    monkeypatch.setattr(module, "spans", lambda *given: asked.append(given) or real(*given))
    windows = [
        f"{{every: 10 s, from: '{nth // 4:02}:{nth % 4 * 15:02}', to: '{nth // 4:02}:{nth % 4 * 15 + 1:02}'}}"
        for nth in range(96)
    ]
    dark = [f"{{blackout: true, from: '{hour:02}:14', to: '{hour:02}:15'}}" for hour in range(24)]
    station = station_with(tmp_path, *windows, *dark)
    asked.clear()
    found = next_times(station, utc("2026-03-01T00:00:00"), 500)
    assert len(found) == len(set(found)) == 500 and list(found) == sorted(found)
    assert len(asked) < 96 + 500 + 30 * len(dark)


def test_more_windows_than_anybody_writes_are_refused_in_words(tmp_path: Path) -> None:
    from sweeper.station import StationFileError

    with pytest.raises(StationFileError, match="it has 201 entries, and at most 200 are read"):
        station_with(tmp_path, *["{every: 1 s, from: '10:00', to: '10:01'}"] * 201)
