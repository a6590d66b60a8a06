"""From visits to passes: levels of each path side by side, drift taken out, loads at the time of the antenna.

One row a pass and channel. What is set aside and what carriers say have files of their own; hours and nights do
not belong here.
"""

from typing import Any

import numpy as np
import polars as pl
from numpy.typing import NDArray

from sweeper.analysis.arrays import Floats
from sweeper.analysis.day.carriers import with_carriers
from sweeper.analysis.day.edges import with_edges
from sweeper.analysis.day.occupied import with_occupied
from sweeper.analysis.day.visits import CHANNEL
from sweeper.analysis.facts import StationFacts

SOURCES = ("antenna", "load", "noise")
PATHS = tuple(f"{source}_{route}" for source in SOURCES for route in ("bypass", "stage"))
LOAD_WINDOW = 9
"""Load visits averaged with their neighbours: a load is steady, the receiver's gain drifts slowly."""


def passes_of(visits: pl.DataFrame, facts: StationFacts) -> pl.DataFrame:
    """One row per pass and channel with `<path>` levels in dB and what was seen on the way.

    Antenna levels are means over the visits of the pass (bypass, stage, stage, bypass: linear drift cancels).
    Load and source levels are taken at the time of the pass, between the visits around it. `occupied`, `absent`,
    `floor_*` and `top_*` say what a row is good for. `channel` numbers the channels. Rows go by channel, then time.
    """
    channel = _channels(visits)
    columns, first = _side_by_side(visits, channel)
    table = visits.select("pass", *CHANNEL, "night", "hour_utc", "bandwidth_hz", "scale")[first]
    group = (channel[first] * 1_000_000_000 + table["bandwidth_hz"].to_numpy()) * 10_000 + table[
        "scale"
    ].to_numpy()
    columns |= _steady_sources(columns, columns.pop("seconds"), group)
    table = table.with_columns(
        pl.Series("channel", channel[first]), *[pl.Series(name, values) for name, values in columns.items()]
    ).with_columns(pl.col(pl.Float64).fill_nan(None))
    return with_edges(with_carriers(with_occupied(table, facts)), visits, channel)


def _channels(visits: pl.DataFrame) -> NDArray[np.int64]:
    """The number of each visit's channel: by band, then purpose, then frequency."""
    band = visits["band"].cast(pl.Enum(visits["band"].unique().sort())).to_physical().to_numpy()
    carrier, ratio = ((visits["for"] == purpose).to_numpy() for purpose in ("carrier", "ratio"))
    hz = visits["hz"].to_numpy()
    frequencies = np.unique(hz)
    return _ranks(
        (band.astype(np.int64) * 3 + carrier + 2 * ratio) * len(frequencies)
        + np.searchsorted(frequencies, hz)
    )


def _ranks(numbers: NDArray[np.int64]) -> NDArray[np.int64]:
    """The place of each of some small numbers among those that occur."""
    ranks: NDArray[np.int64] = np.cumsum(np.bincount(numbers) > 0)[numbers] - 1
    return ranks


def _side_by_side(
    visits: pl.DataFrame, channel: NDArray[np.int64]
) -> tuple[dict[str, NDArray[Any]], NDArray[np.int64]]:
    """Columns of the pass table, and for each of its rows the place of its first visit."""
    load, antenna = ((visits["source"] == source).to_numpy() for source in ("load", "antenna"))
    code = np.where(antenna, 0, np.where(load, 2, 4)) + (visits["route"] == "stage").to_numpy()
    passes, nth = np.unique(visits["pass"].to_numpy(), return_inverse=True)
    which = _ranks(channel * len(passes) + nth)
    rows, width = int(which.max()) + 1, len(PATHS)
    first = np.zeros(rows, dtype=np.int64)
    first[which[::-1]] = np.arange(len(which))[::-1]
    flat = which * width + code

    def summed(values: NDArray[Any]) -> Floats:
        if not values.any():
            return np.zeros((rows, width))
        total = np.bincount(flat, values, rows * width)
        return np.asarray(total, dtype=np.float64).reshape(rows, width)

    level, power, reading = (visits[name].to_numpy() for name in ("level_db", "power_db", "reading"))
    bandwidth, bound = visits["bandwidth_hz"].to_numpy(), visits["bound"].to_numpy()
    odd, stale = visits["odd"].to_numpy() & antenna, visits["stale"].to_numpy()
    ms = visits["time"].dt.epoch("ms").to_numpy()
    count = summed(np.ones(len(flat)))
    scatter = visits["scatter"].to_numpy()
    told = np.isfinite(scatter)
    scattered, telling = summed(np.where(told, scatter, 0.0)), summed(told)
    highest, lowest = np.full(rows * width, -np.inf), np.full(rows * width, np.inf)
    np.maximum.at(highest, flat, level)
    np.minimum.at(lowest, flat, level)
    with np.errstate(invalid="ignore", divide="ignore"):
        means, powers, readings = (summed(values) / count for values in (level, power, reading))
        apart = np.where(count > 0, (highest - lowest).reshape(rows, width), np.nan)
    floor, top = summed(bound == -1) > 0, summed(bound == 1) > 0
    columns: dict[str, NDArray[Any]] = {
        "seconds": np.bincount(which, (ms - ms[0]) / 1000.0) / np.bincount(which),
        "mixed_bandwidth": np.bincount(which, bandwidth != bandwidth[first][which]) > 0,
        "meter_reading_bypass": readings[:, 0],
        "odd": np.bincount(which, odd) > 0,
        "stale": np.bincount(which, stale) > 0,
    }
    for at, path in enumerate(PATHS):
        columns |= {path: means[:, at], f"floor_{path}": floor[:, at], f"top_{path}": top[:, at]}
    for at, path in enumerate(PATHS[:4]):
        share = np.divide(scattered[:, at], telling[:, at], out=np.zeros(rows), where=telling[:, at] > 0)
        columns |= {f"scatter_{path}": share, f"scatter_visits_{path}": telling[:, at]}
    for at, path in enumerate(PATHS[:2]):
        columns |= {f"power_{path}": powers[:, at], f"apart_{path}": apart[:, at]}
    return columns, first


def _steady_sources(
    columns: dict[str, NDArray[Any]], seconds: Floats, group: NDArray[np.int64]
) -> dict[str, NDArray[Any]]:
    """Load and source levels at every pass, their standard errors `<path>_se` and their scatter `<path>_wander`.

    Rows of one `group` (a channel through one bandwidth, on one scale) go together, in order of time.
    """
    groups, group = np.unique(group, return_inverse=True)
    order = np.lexsort((seconds, group))
    found: dict[str, NDArray[Any]] = {}
    for path in PATHS[2:]:
        steady = _steady(columns[path][order], seconds[order], group[order], len(groups))
        edges = {f"{name}_{path}": columns[f"{name}_{path}"] for name in ("floor", "top")}
        seen = np.isfinite(columns[path])
        visits = np.maximum(np.bincount(group, seen), 1)
        found |= {
            name: (np.bincount(group, seen & touched) / visits > 0.2)[group]
            for name, touched in edges.items()
        }
        for name, values in zip((path, f"{path}_se", f"{path}_wander"), steady, strict=True):
            found[name] = np.empty_like(values)
            found[name][order] = values
    return found


def _steady(
    level: Floats, seconds: Floats, group: NDArray[np.int64], groups: int
) -> tuple[Floats, Floats, Floats]:
    """At every row the running mean of `LOAD_WINDOW` visits, its standard error and the scatter of the group.

    Rows go by `group` (0 to `groups` - 1), then time; `level` is NaN where there was no visit. Fewer visits are
    averaged at the ends; between visits lies a straight line, beyond them the nearest value. The error of a visit
    comes from neighbours' differences, so that slow drift does not count as noise.
    """
    seen = np.isfinite(level)
    if not seen.any():
        return (np.full(len(level), np.nan),) * 3
    value, when, mine = level[seen], seconds[seen], group[seen]
    count = np.bincount(mine, minlength=groups)
    end = np.cumsum(count)
    start = end - count
    with np.errstate(invalid="ignore", divide="ignore"):  # a group without visits has no mean
        mean = np.bincount(mine, value, groups) / count
        off = value - mean[mine]
        wander = np.sqrt(np.bincount(mine, off**2, groups) / count)
        step = np.where(mine[1:] == mine[:-1], np.diff(value), 0.0)
        visit = np.sqrt(np.bincount(mine[1:], step**2, groups) / (count - 1) / 2)
        error = np.where(count > 1, visit, 0.3) / np.sqrt(np.minimum(count, LOAD_WINDOW))
    half, at = LOAD_WINDOW // 2, np.arange(len(value))
    first, last = np.maximum(at - half, start[mine]), np.minimum(at + half + 1, end[mine])
    total = np.r_[0.0, np.cumsum(off)]
    smooth = mean[mine] + (total[last] - total[first]) / (last - first)

    until = np.cumsum(seen)
    none = count[group] == 0
    before, after = (
        np.where(none, 0, np.clip(place, start[group], end[group] - 1)) for place in (until - 1, until - seen)
    )
    between = when[after] - when[before]
    share = np.where(between > 0, (seconds - when[before]) / np.where(between > 0, between, 1.0), 0.0)
    at_pass = np.where(none, np.nan, smooth[before] + share * (smooth[after] - smooth[before]))
    return at_pass, np.where(none, np.nan, error[group]), wander[group]
