"""The readings table as a polars frame: its columns, and how readings become rows."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from sweeper.words import ROUTES, SOURCES, Reading

if TYPE_CHECKING:
    import polars as pl

COLUMNS = ("time", "pass", "band", "hz", "for", "source", "route", "reading", "dbm", "bandwidth_hz", "flags")


def schema() -> pl.Schema:
    """Names and types of the readings table, in order. ``time`` in UTC, ms."""
    import polars as pl

    return pl.Schema(
        {
            "time": pl.Datetime("ms", "UTC"),
            "pass": pl.Int64(),
            "band": pl.String(),
            "hz": pl.Int64(),
            "for": pl.Enum(["noise", "carrier"]),
            "source": pl.Enum(SOURCES),
            "route": pl.Enum(ROUTES),
            "reading": pl.Float64(),
            "dbm": pl.Float64(),
            "bandwidth_hz": pl.Int64(),
            "flags": pl.String(),
        }
    )


def empty() -> pl.DataFrame:
    """A readings table without rows."""
    import polars as pl

    return pl.DataFrame(schema=schema())


def frame_of(readings: Sequence[Reading]) -> pl.DataFrame:
    """Readings as rows of the readings table."""
    import polars as pl

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
    import polars as pl

    return readings.filter(~pl.col("pass").is_in(others["pass"].unique().implode()))
