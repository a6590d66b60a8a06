"""Passes without their readings, as tables to repeat: which channel, which path, how many seconds after the start."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import polars as pl
from numpy.typing import NDArray

from sweeper.simulation.campaign.course import Course, Floats
from sweeper.words import PURPOSES, ROUTES, SOURCES, Channel

Order = tuple[tuple[str, str], ...]
Visits = list[tuple[int, str, str]]
"""Channel by its number, source and route."""
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


def sequence(course: Course, channels: Sequence[Channel], order: Order, turn: int) -> Visits:
    """Which channel is visited through which source and route, one after another, in the pass number `turn`.

    With edges the antenna's paths go forth and back by turns, from a carrier to the next, so that the route changes on
    it; so many carriers get a change there and back of their own in each bypass path.
    """
    if course.edges is None:
        return [(n, *path) for path in order for n in range(len(channels))]
    heard = [n for n, channel in enumerate(channels) if channel.purpose == "carrier"]
    last = heard[turn % len(heard)] if heard else len(channels) - 1
    along = [(last + 1 + n) % len(channels) for n in range(len(channels))]
    more = {heard[(turn * course.edges + n) % len(heard)] for n in range(min(course.edges, len(heard)))}
    found, antenna, forth = [], False, False
    for source, route in order:
        antenna = antenna != (source == "antenna")
        forth = antenna if source == "antenna" else not forth
        for n in along if forth else along[::-1]:
            found.append((n, source, route))
            if n in more and (source, route) == ("antenna", "bypass"):
                found += [(n, "antenna", "stage"), (n, "antenna", "bypass")]
    return found


def pass_table(course: Course, channels: Sequence[Channel], visits: Visits) -> PassTable:
    """The table of a pass of such visits."""
    count, places = course.readings, len(channels)
    channel = np.repeat([n for n, _, _ in visits], count)
    visit_s = course.settle_s + course.interval_s * (count - 1)
    starts_s = np.repeat(np.arange(len(visits)) * visit_s, count) + course.settle_s
    offset_s = starts_s + np.tile(np.arange(count) * course.interval_s, len(visits))
    one = pl.DataFrame(
        {
            "band": [c.band for c in channels],
            "hz": pl.Series([c.hz for c in channels], dtype=pl.Int64),
            "for": pl.Series([c.purpose for c in channels], dtype=pl.Enum(PURPOSES)),
            "dbm": pl.Series([None] * places, dtype=pl.Float64),
            "bandwidth_hz": pl.Series([c.bandwidth_hz for c in channels], dtype=pl.Int64),
        }
    )
    sources = np.repeat([source for _, source, _ in visits], count)
    routes = np.repeat([route for _, _, route in visits], count)
    frame = one[channel].with_columns(
        pl.Series("source", sources.tolist(), dtype=pl.Enum(SOURCES)),
        pl.Series("route", routes.tolist(), dtype=pl.Enum(ROUTES)),
    )
    return PassTable(frame, offset_s, channel, sources == "load", routes == "stage")
