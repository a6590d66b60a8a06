"""Results of A/B tests that were kept with the station's data, as a table of the report. Apart from the nights."""

from collections.abc import Sequence
from datetime import datetime
from typing import Any, get_args

from sweeper.analysis import Interval, Verdict, words_of
from sweeper.outside import json_of
from sweeper.report import wording
from sweeper.report.pictures.picture import Numbers

HEADINGS = ("When", "Frequency, kHz", "S/N change, dB", "Answer", "Switchings")
MOST = 1e12
"""Hertz, decibels and switchings of a test are far below."""
APART = "Tests of minutes, each on one frequency while somebody attended; nothing of them is in the figures above."


def kept_tests(texts: Sequence[str], zone: str) -> Numbers | None:
    """The tests, the latest first; None where there are none. What is no result of a test is left out."""
    rows = []
    for text in reversed(texts):
        try:
            rows.append(_row(json_of(text), zone))
        except (ValueError, KeyError, TypeError, AttributeError, OverflowError):
            continue
    return Numbers(HEADINGS, tuple(rows)) if rows else None


def _row(told: Any, zone: str) -> tuple[str, ...]:
    if told["format"] != "sweeper-ab-1" or told["verdict"] not in get_args(Verdict):
        raise ValueError("no result of a test")
    at = datetime.fromisoformat(told["at"])
    if at.tzinfo is None or not 1970 <= at.year <= 2200:
        raise ValueError("no time of a test")
    change = told["snr_change_db"]
    it = None if change is None else Interval(*(_number(change[end]) for end in ("value", "low", "high")))
    hz = told["hz"]
    return (
        wording.local_time(at, zone),
        "–" if hz is None else f"{_number(hz) / 1e3:.10g}",
        wording.interval(it),
        "overload: stage out" if "overload" in told["flags"] else words_of(told["verdict"]),
        str(round(_number(told["edges"]))),
    )


def _number(value: Any) -> float:
    """ValueError for what is none; an end that is not known is null, and reads as far away."""
    if isinstance(value, bool) or not isinstance(value, (int, float)) or not -MOST < value < MOST:
        raise ValueError("no number")
    return float(value)
