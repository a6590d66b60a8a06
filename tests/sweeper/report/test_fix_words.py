"""What is told of a fix: sizes without signs where the way is told, and how sure the date is."""

from dataclasses import replace
from datetime import UTC, date, datetime

from sweeper.analysis import Change, Interval
from sweeper.report.pictures.fix import fix, fix_lines
from tests.sweeper.report import sample

TOLD = sample.comparison(sample.findings("40 m"))
FOUND = replace(TOLD, changes=(Change(date(2026, 11, 5), Interval(-3.6, -4.8, -2.4), ("40 m",), 0.002),))


def test_a_fall_is_told_without_signs() -> None:
    nights = fix(TOLD, "UTC")[1]
    assert nights.title == "Night by night, noise fell by 3.0 dB (2.0 to 4.0) on 40 m"


def test_what_may_be_neither_keeps_its_signs() -> None:
    unsure = replace(TOLD, bands=(replace(TOLD.bands[0], change_db=Interval(-0.5, -2.0, 1.0)),))
    assert fix(unsure, "UTC")[1].title == "Night by night, noise changed by −0.5 (−2.0 to +1.0) dB on 40 m"


def test_a_date_that_was_looked_for_is_not_told_as_if_it_were_known() -> None:
    lines = " ".join(fix_lines(FOUND, "UTC"))
    assert "about 5 November 2026, which may be some nights off" in lines
    assert "the intervals do not allow for that" in lines
    assert (
        "From about the night of 5 November 2026 on, noise fell by 3.6 dB (2.4 to 4.8), clearly on 40 m;"
        in lines
    )
    assert "elsewhere" not in lines
    assert fix(FOUND, "UTC")[0].title == "Since about 5 November 2026 it is quieter on 40 m"
    assert fix_lines(TOLD, "UTC") == ("Before and after Thursday 5 November 2026, 12:00.",)


def test_the_night_of_the_fix_is_told_to_be_left_out() -> None:
    amid = replace(TOLD, fix=datetime(2026, 11, 5, 20, tzinfo=UTC), left_out=date(2026, 11, 5))
    assert (
        "The night of 5 November 2026, in which the fix was made, belongs to neither side"
        in fix_lines(amid, "UTC")[1]
    )
