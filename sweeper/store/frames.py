"""The readings table as a polars frame: its columns, and how readings become rows."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime
from functools import cache

from sweeper.tables import pl
from sweeper.words import PURPOSES, ROUTES, SOURCES, Reading

COLUMNS = ("time", "pass", "band", "hz", "for", "source", "route", "reading", "dbm", "bandwidth_hz", "flags")


@cache
def schema() -> pl.Schema:
    """Names and types of the readings table, in order. ``time`` in UTC, ms."""
    return pl.Schema(
        {
            "time": pl.Datetime("ms", "UTC"),
            "pass": pl.Int64(),
            "band": pl.String(),
            "hz": pl.Int64(),
            "for": pl.Enum(PURPOSES),
            "source": pl.Enum(SOURCES),
            "route": pl.Enum(ROUTES),
            "reading": pl.Float64(),
            "dbm": pl.Float64(),
            "bandwidth_hz": pl.Int64(),
            "flags": pl.String(),
        }
    )


MOST_ROWS = 50_000_000
LONGEST_WORD = 1000
MOST_VALUE = 1e6
"""Decibels, or steps of a meter, that no instrument gives; powers of them would be no numbers any more."""


def problem_of(readings: pl.LazyFrame) -> str:
    """What no such table as we store has, in words: values missing or out of all bounds. Empty if it is sound."""
    rows = readings.select(pl.len()).collect().item()
    if rows > MOST_ROWS:
        return f"it has {rows} rows"
    since, until = datetime(1970, 1, 1, tzinfo=UTC), datetime(2200, 12, 31, tzinfo=UTC)
    numbers = ("pass", "hz", "bandwidth_hz")
    levels = ("reading", "dbm")
    words = ("band", "flags")
    checks = {
        "values are missing": pl.any_horizontal(
            pl.col(name).has_nulls() for name in COLUMNS if name != "dbm"
        ),
        "a time is not in 1970 to 2200": ~pl.col("time").is_between(since, until).all(),
        "a number is not above 0": pl.any_horizontal(
            ~pl.col(name).is_between(1, 2**53).all() for name in numbers
        ),
        "a level is none": pl.any_horizontal(
            ~pl.col(name).is_between(-MOST_VALUE, MOST_VALUE).all() for name in levels
        ),
        "a word is too long": pl.any_horizontal(
            pl.col(name).str.len_bytes().max().fill_null(0) > LONGEST_WORD for name in words
        ),
    }
    found = readings.select(**checks).collect().row(0)
    return next((what for what, wrong in zip(checks, found, strict=True) if wrong), "")


def empty() -> pl.DataFrame:
    """A readings table without rows."""
    return pl.DataFrame(schema=schema())


def frame_of(readings: Sequence[Reading]) -> pl.DataFrame:
    """Readings as rows of the readings table."""
    return pl.DataFrame(
        {
            "time": [reading.time for reading in readings],
            "pass": [reading.pass_number for reading in readings],
            "band": [reading.channel.band for reading in readings],
            "hz": [reading.channel.hz for reading in readings],
            "for": [reading.channel.purpose for reading in readings],
            "source": [reading.path.source for reading in readings],
            "route": [reading.path.route for reading in readings],
            "reading": [reading.reading for reading in readings],
            "dbm": [reading.dbm for reading in readings],
            "bandwidth_hz": [reading.channel.bandwidth_hz for reading in readings],
            "flags": [reading.flags for reading in readings],
        },
        schema=schema(),
    )


def without_passes_of(readings: pl.DataFrame, others: pl.DataFrame) -> pl.DataFrame:
    """The readings whose pass has none among the others."""
    return readings.filter(~pl.col("pass").is_in(others["pass"].unique().implode()))
