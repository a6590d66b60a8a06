"""From visits to passes: levels of each path side by side, drift taken out, loads at the time of the antenna.

One row a pass and channel. What is set aside and what carriers say have files of their own; hours and nights do
not belong here.
"""

from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from sweeper.analysis.facts import StationFacts
from sweeper.analysis.levels import Floats
from sweeper.analysis.levels_of_carriers import with_carriers
from sweeper.analysis.levels_of_visits import CHANNEL
from sweeper.analysis.levels_set_aside import with_occupied

if TYPE_CHECKING:
    import polars as pl

SOURCES = ("antenna", "load", "noise")
PATHS = tuple(f"{source}_{route}" for source in SOURCES for route in ("bypass", "stage"))
LOAD_WINDOW = 9
"""Load visits averaged with their neighbours: a load is steady, the receiver's gain drifts slowly."""


def passes_of(visits: "pl.DataFrame", facts: StationFacts) -> "pl.DataFrame":
    """One row per pass and channel with `<path>` levels in dB and what was seen on the way.

    Antenna levels are means over the visits of the pass (bypass, stage, stage, bypass: linear drift cancels).
    Load and source levels are taken at the time of the pass, between the visits around it. `occupied`, `absent`,
    `floor_*` and `top_*` say what a row is good for. `channel` numbers the channels. Rows go by channel, then time.
    """
    import polars as pl

    channels = visits.select(*CHANNEL).unique().sort(*CHANNEL).with_row_index("channel")
    visits = visits.join(channels, on=list(CHANNEL), how="left", maintain_order="left")
    columns, first = _side_by_side(visits)
    table = visits.select("pass", *CHANNEL, "channel", "night", "hour_utc", "bandwidth_hz")[first]
    seconds = columns.pop("seconds")
    group = table["channel"].to_numpy().astype(np.int64) * 1_000_000_000 + table["bandwidth_hz"].to_numpy()
    columns |= _steady_sources(columns, seconds, group)
    start = visits["time"].dt.epoch("ms").to_numpy()[0]
    table = table.with_columns(
        pl.Series("time", start + np.rint(seconds * 1000).astype(np.int64)).cast(pl.Datetime("ms", "UTC")),
        *[pl.Series(name, values) for name, values in columns.items()],
    )
    table = table.with_columns(pl.col(pl.Float64).fill_nan(None))
    return with_carriers(with_occupied(table, facts))


def _side_by_side(visits: "pl.DataFrame") -> tuple[dict[str, NDArray[Any]], NDArray[np.int64]]:
    """Columns of the pass table, and for each of its rows the place of its first visit."""
    source = visits["source"].to_numpy()
    code = 2 * np.select([source == "antenna", source == "load"], [0, 1], 2)
    code = code + (visits["route"].to_numpy() == "stage")
    passes, nth = np.unique(visits["pass"].to_numpy(), return_inverse=True)
    place = visits["channel"].to_numpy().astype(np.int64) * len(passes) + nth
    _, first, which = np.unique(place, return_index=True, return_inverse=True)
    rows, width = len(first), len(PATHS)
    flat = which * width + code

    def summed(values: NDArray[Any]) -> Floats:
        total = np.bincount(flat, values.astype(np.float64), rows * width)
        return np.asarray(total, dtype=np.float64).reshape(rows, width)

    level, power = visits["level_db"].to_numpy(), visits["power_db"].to_numpy()
    reading, bound = visits["reading"].to_numpy(), visits["bound"].to_numpy()
    ms = visits["time"].dt.epoch("ms").to_numpy()
    count = summed(np.ones(len(flat)))
    highest, lowest = np.full(rows * width, -np.inf), np.full(rows * width, np.inf)
    np.maximum.at(highest, flat, level)
    np.minimum.at(lowest, flat, level)
    widest, narrowest = np.zeros(rows, np.int64), np.full(rows, 2**62)
    np.maximum.at(widest, which, visits["bandwidth_hz"].to_numpy())
    np.minimum.at(narrowest, which, visits["bandwidth_hz"].to_numpy())
    with np.errstate(invalid="ignore", divide="ignore"):
        means, powers, readings = (summed(values) / count for values in (level, power, reading))
        apart = np.where(count > 0, (highest - lowest).reshape(rows, width), np.nan)
    floor, top = summed(bound == -1) > 0, summed(bound == 1) > 0
    columns: dict[str, NDArray[Any]] = {
        "seconds": np.bincount(which, (ms - ms[0]) / 1000.0) / np.bincount(which),
        "mixed_bandwidth": widest != narrowest,
        "meter_reading_bypass": readings[:, 0],
        "odd": np.bincount(which, visits["odd"].to_numpy() & (code < 2)) > 0,
        "stale": np.bincount(which, visits["stale"].to_numpy()) > 0,
    }
    for at, path in enumerate(PATHS):
        columns |= {path: means[:, at], f"floor_{path}": floor[:, at], f"top_{path}": top[:, at]}
    for at, path in enumerate(PATHS[:2]):
        columns |= {f"power_{path}": powers[:, at], f"apart_{path}": apart[:, at]}
    return columns, first


def _steady_sources(
    columns: dict[str, NDArray[Any]], seconds: NDArray[Any], group: NDArray[np.int64]
) -> dict[str, NDArray[Any]]:
    """Load and source levels at every pass, their standard errors `<path>_se` and their scatter `<path>_wander`.

    Rows of one `group` (a channel through one bandwidth) go together.
    """
    rows = len(group)
    found: dict[str, NDArray[Any]] = {}
    order = np.argsort(group, kind="stable")
    groups = np.split(order, np.flatnonzero(np.diff(group[order])) + 1)
    for path in PATHS[2:]:
        level = np.asarray(columns[path], dtype=np.float64)
        at_pass, error, wander = (np.full(rows, np.nan) for _ in range(3))
        edges = {name: np.asarray(columns[f"{name}_{path}"]).copy() for name in ("floor", "top")}
        seen = np.isfinite(level)
        for mine in groups:
            known = mine[seen[mine]]
            if not len(known):
                continue
            smooth, se = _smoothed(level[known])
            at_pass[mine] = np.interp(seconds[mine], seconds[known], smooth)
            error[mine], wander[mine] = se, np.std(level[known])
            for touched in edges.values():
                touched[mine] = touched[known].mean() > 0.2
        found |= {path: at_pass, f"{path}_se": error, f"{path}_wander": wander}
        found |= {f"{name}_{path}": touched for name, touched in edges.items()}
    return found


def _smoothed(level: Floats) -> tuple[Floats, float]:
    """Running mean of `LOAD_WINDOW` visits (fewer at the ends), and the standard error of one value of it.

    The error of a visit comes from neighbours' differences, so that slow drift does not count as noise.
    """
    half = LOAD_WINDOW // 2
    total = np.r_[0.0, np.cumsum(level)]
    at = np.arange(len(level))
    first, last = np.maximum(at - half, 0), np.minimum(at + half + 1, len(level))
    smooth: Floats = (total[last] - total[first]) / (last - first)
    visit = np.sqrt(np.mean(np.diff(level) ** 2) / 2) if len(level) > 1 else 0.3
    return smooth, float(visit / np.sqrt(min(len(level), LOAD_WINDOW)))
