"""Passes without their readings, as tables to repeat: which channel, which path, how many seconds after the start."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import polars as pl
from numpy.typing import NDArray

from sweeper.simulation.campaign.course import Course, Floats
from sweeper.words import ROUTES, SOURCES, Channel

Order = tuple[tuple[str, str], ...]
ANTENNA_ORDER: Order = (
    ("antenna", "bypass"),
    ("antenna", "stage"),
    ("antenna", "stage"),
    ("antenna", "bypass"),
)
LOAD_ORDER: Order = (
    ("antenna", "bypass"),
    ("load", "bypass"),
    ("load", "stage"),
    ("antenna", "stage"),
    ("antenna", "stage"),
    ("antenna", "bypass"),
)
"""Relays move once between neighbours; every other time a load pass runs backwards."""


@dataclass(frozen=True)
class PassTable:
    """One pass without its readings."""

    frame: pl.DataFrame
    offset_s: Floats
    channel: NDArray[np.int64]
    loaded: NDArray[np.bool_]
    staged: NDArray[np.bool_]


def pass_table(course: Course, channels: Sequence[Channel], order: Order) -> PassTable:
    """The table of a pass through the paths in `order`."""
    count, places = course.readings, len(channels)
    channel = np.tile(np.repeat(np.arange(places), count), len(order))
    visit_s = course.settle_s + course.interval_s * (count - 1)
    starts_s = np.repeat(np.arange(places * len(order)) * visit_s, count) + course.settle_s
    offset_s = starts_s + np.tile(np.arange(count) * course.interval_s, places * len(order))
    rows = places * count
    one = pl.DataFrame(
        {
            "band": [c.band for c in channels],
            "hz": pl.Series([c.hz for c in channels], dtype=pl.Int64),
            "for": pl.Series([c.purpose for c in channels], dtype=pl.Enum(["noise", "carrier"])),
            "dbm": pl.Series([None] * places, dtype=pl.Float64),
            "bandwidth_hz": pl.Series([c.bandwidth_hz for c in channels], dtype=pl.Int64),
        }
    )
    frame = one[channel].with_columns(
        pl.Series("source", [source for source, _ in order for _ in range(rows)], dtype=pl.Enum(SOURCES)),
        pl.Series("route", [route for _, route in order for _ in range(rows)], dtype=pl.Enum(ROUTES)),
    )
    return PassTable(
        frame=frame,
        offset_s=offset_s,
        channel=channel,
        loaded=np.repeat(np.array([source == "load" for source, _ in order]), rows),
        staged=np.repeat(np.array([route == "stage" for _, route in order]), rows),
    )
