"""The words: hours joined into spans, local time first, worth with its interval."""

from dataclasses import replace
from datetime import UTC, datetime

from sweeper.analysis.band.cells import Cell
from sweeper.analysis.findings.advice import advice
from sweeper.analysis.findings.claims import reason_of
from sweeper.analysis.results import PeriodFinding
from sweeper.analysis.statistics.estimates import Estimate
from sweeper.analysis.statistics.interval import Interval
from sweeper.analysis.verdict.judge import Judged
from sweeper.analysis.wording import clock_spans, s_units, spans

WINTER = datetime(2026, 1, 10, tzinfo=UTC)
SUMMER = datetime(2026, 7, 10, tzinfo=UTC)


def period(hour, verdict, change=None, rise=None, flags=()):
    return PeriodFinding(
        hour,
        40,
        10,
        Interval(*change) if change else None,
        Interval(rise, rise - 1, rise + 1) if rise else None,
        None,
        verdict,
        flags,
        "",
    )


def test_hours_join_into_spans_across_midnight():
    assert spans([22, 23, 0, 1, 5]) == [(5, 1), (22, 4)]
    assert spans(range(24)) == [(0, 24)]


def test_clocks_show_local_time_first():
    assert clock_spans([18, 19], "Europe/Copenhagen", WINTER) == "19:00–21:00 (18:00–20:00 UTC)"
    assert clock_spans([18, 19], "Europe/Copenhagen", SUMMER) == "20:00–22:00 (18:00–20:00 UTC)"
    assert clock_spans([18, 22], "UTC", WINTER) == "18:00–19:00 and 22:00–23:00 UTC"
    both = clock_spans([14, 15, 16, 23, 0, 1], "Europe/Copenhagen", WINTER)
    assert both == "00:00–03:00 and 15:00–18:00 (23:00–02:00 and 14:00–17:00 UTC)"


def test_s_units_as_the_needle_shows_them():
    # IARU Region 1 technical recommendation R.1 (1990): six decibels an S-unit, S9 at 0 dB over S9.
    assert [s_units(at) for at in (0.0, -36.0, -45.8, -48.0, -60.0, 20.0)] == [
        "S9", "S3", "S1½", "S1", "<S1", "S9+20",
    ]  # fmt: skip


def test_what_to_do_on_the_nights_measured_says_what_is_open_about_others():
    change = Interval(2.6, 2.1, 3.1)
    periods = [
        replace(period(hour, "undecided", (2.9, 0.8, 6.8)), measured_db=change, measured_verdict="stage")
        for hour in (20, 21)
    ]
    assert advice(periods, "UTC", WINTER, next_step="about 20 more nights should settle it") == (
        "Stage in at all hours measured, worth 2.6 dB (2.1 to 3.1), on the 10 nights measured; on nights to come 0.8 "
        "to 6.8 dB: it helps, how much is not settled (about 20 more nights should settle it)."
    )


def test_advice_reads_like_advice():
    text = advice(
        [
            *(period(hour, "stage", (3.1, 2.6, 3.7)) for hour in range(9, 17)),
            period(20, "either", (0.1, -0.1, 0.3), 14),
        ],
        "UTC",
        WINTER,
    )
    assert text == (
        "Stage in 09:00–17:00 UTC, worth 3.1 dB (2.6 to 3.7); no difference 20:00–21:00 UTC: noise from "
        "outside is 14 dB above the receiver's own."
    )


def test_what_is_open_says_what_would_settle_it():
    text = advice([period(20, "undecided")], "UTC", WINTER, next_step="about 3 more nights should settle it")
    assert text == "Not settled yet at all hours measured (about 3 more nights should settle it)."


def test_overload_is_named_and_no_worth_is_told():
    text = advice(
        [period(20, "undecided", flags=("overload", "withheld")), period(21, "stage", (2.0, 1.5, 2.5))],
        "UTC",
        WINTER,
    )
    assert (
        "overload: stage out 20:00–21:00 UTC, because the stage or the receiver behind it overloads" in text
    )


def test_a_small_figure_that_has_just_become_a_verdict_says_what_stopping_does_to_it():
    def said(value, low):
        change = Estimate(value, 0.1, 9.0)
        cell = Cell("40 m", 20, 10, 10, 40, change, change, None, None, None, "", (), 1.0)
        ways = (
            Judged("stage", Interval(value, low, value + 1.0), 0.01),
            Judged("bypass", Interval(-value, -value - 1.0, -low), 0.01),
        )
        told = {"0.3 dB too large" in reason_of(cell, judged, 1.0) for judged in ways}
        assert len(told) == 1  # the same either way
        return told.pop()

    assert said(1.9, 1.1)
    assert not said(1.9, 1.5)
    assert not said(2.8, 1.1)
