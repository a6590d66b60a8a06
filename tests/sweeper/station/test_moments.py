"""The words of a schedule."""

from datetime import time, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sweeper.station.moments import SUN_EVENTS, Moment, MomentError, parse_duration, parse_moment


@pytest.mark.parametrize(
    ("text", "length"),
    [("10 min", timedelta(minutes=10)), ("1 h 30 min", timedelta(minutes=90)), ("45s", timedelta(seconds=45)),
     ("1.5 h", timedelta(minutes=90)), ("24 h", timedelta(days=1))],
)  # fmt: skip
def test_lengths_of_time(text: str, length: timedelta) -> None:
    assert parse_duration(text) == length


@pytest.mark.parametrize(
    "text", ["", "10", "min", "10 minutes", "-5 min", "0 s", "25 h", "10 min later", "1e9 h", "٣ h x"]
)
def test_what_is_no_length_of_time(text: str) -> None:
    with pytest.raises(MomentError) as refused:
        parse_duration(text)
    assert refused.value.mend


@pytest.mark.parametrize(
    ("text", "moment"),
    [("18:30", Moment(time(18, 30))), ("6:05", Moment(time(6, 5))), ("sunset", Moment("sunset")),
     ("sunset - 1 h", Moment("sunset", timedelta(hours=-1))),
     ("Civil  dawn+20 min", Moment("civil dawn", timedelta(minutes=20))),
     ("23:59:30 + 1 min", Moment(time(23, 59, 30), timedelta(minutes=1)))],
)  # fmt: skip
def test_moments_of_the_day(text: str, moment: Moment) -> None:
    assert parse_moment(text) == moment


@pytest.mark.parametrize(
    "text",
    ["", "24:00", "12:60", "sunset -", "sunset + soon", "moonrise", "1 h", "18.30", "sunset - 1 h - 1 h"],
)
def test_what_is_no_moment(text: str) -> None:
    with pytest.raises(MomentError) as refused:
        parse_moment(text)
    assert refused.value.mend


@given(st.text(max_size=40))
def test_any_text_is_a_moment_or_is_refused(text: str) -> None:
    try:
        assert isinstance(parse_moment(text), Moment)
    except MomentError as error:
        assert error.mend


def test_every_sun_event_is_a_moment() -> None:
    assert [parse_moment(event).event for event in SUN_EVENTS] == list(SUN_EVENTS)
