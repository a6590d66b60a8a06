"""From readings to visits: one level for each stay on a channel through one path.

A visit is a run of readings that share pass, channel and path, in order of time. What passes and hours make
of the visits does not belong here.
"""

from functools import lru_cache

import numpy as np
import polars as pl
from numpy.typing import NDArray
from scipy.special import bdtr, gammainc, gammaincinv

from sweeper.analysis.arrays import Floats
from sweeper.analysis.day.noise_level import (
    BURST_SPREADS,
    kept_of,
    mean_power_db,
    nodes_and_weights,
    order_means_db,
    white_level_db,
)
from sweeper.analysis.facts import StationFacts
from sweeper.analysis.meter.scale import levels_of, scales_of
from sweeper.analysis.physics.radiometer import shape_of, spread_db
from sweeper.analysis.thresholds import COARSEST_STEPS, EDGE_RATIO_S, EDGE_S, OCCUPIED_CHANCE

CHANNEL = ("band", "hz", "for")
KEYS = ("pass", *CHANNEL, "bandwidth_hz", "source", "route")
PORTION = 50_000
"""Readings that are worked on at once: few enough to stay in a processor's cache."""
MS_AN_HOUR = 3_600_000
MS_A_DAY = 24 * MS_AN_HOUR
SHAPE_UNKNOWN_MOST = 1e5
RATIOS_APART_S = 0.4
"""Ratios of one stay come each quarter of a second; later ones are of the next."""
FEWEST_READINGS = 4
"""Fewer readings than this tell nothing of their scatter."""


def visits_of(readings: pl.DataFrame, facts: StationFacts) -> pl.DataFrame:
    """One row a visit: keys, `time`, `night`, `hour_utc`, `reading`, `level_db`, `power_db`, `bound`, `odd`, `stale`,
    `scale`, `scatter`; `since_ms` and `until_ms`, its first and last reading, `first_db` and `last_db`, the power of a
    carrier in the first and the last `EDGE_S`.

    `reading` is the mean of what the meter showed, `level_db` the white-noise level on noise channels and the mean
    power on carriers; `bound` is -1 on the meter's floor, 1 on its top, else 0; `odd` is true where a noise channel
    follows no noise statistics; `scatter` is the variance of its readings over that of white noise, NaN where it tells
    nothing. Readings that are no numbers, or were not renewed, are left out; `stale` says so.
    """
    frame = readings.sort("time", maintain_order=True) if not readings["time"].is_sorted() else readings
    starts = _starts(frame)
    ms = frame["time"].dt.epoch("ms").to_numpy()
    shown = _numbers(frame["reading"])
    dbm = _numbers(frame["dbm"]) if frame["dbm"].count() else None
    value = levels_of(shown, dbm, facts.meter)
    stale, floor, top = _flagged(frame, "stale", "floor", "clipped")
    if facts.meter.floor is not None:
        floor = floor | (shown <= facts.meter.floor)
    if facts.meter.top is not None:
        top = top | (shown >= facts.meter.top)
    good = np.isfinite(value)
    if not (facts.meter.step_db or 0.0) >= 1.0:
        good &= ~stale  # a coarse meter repeats itself from visit to visit without being stuck

    all_counts = np.diff(np.r_[starts, frame.height])
    counts = np.add.reduceat(good, starts, dtype=np.int64)
    visits = frame.select(KEYS)[starts]
    visits = visits.with_columns(
        pl.Series("time", np.add.reduceat(ms, starts) // all_counts).cast(pl.Datetime("ms", "UTC")),
        pl.Series("reading", np.add.reduceat(shown, starts) / all_counts),
        pl.Series("stale", np.logical_or.reduceat(stale, starts)),
        pl.Series("scale", scales_of(shown, dbm, starts, facts.meter)),
        *_dates(visits["pass"].to_numpy(), ms[starts], facts),
    )
    if not good.all():
        visits, counts = visits.filter(counts > 0), counts[counts > 0]
        value, floor, top, ms = value[good], floor[good], top[good], ms[good]
    visits = visits.with_columns(_estimates(visits, value, floor, top, counts, facts))
    return visits.with_columns(_ends(visits, value, ms, counts))


def _ends(
    visits: pl.DataFrame, values: Floats, ms: NDArray[np.int64], counts: NDArray[np.int64]
) -> list[pl.Series]:
    """When each visit began and ended, and the power next to its ends; few visits are longer than an end."""
    starts = np.cumsum(counts) - counts
    since, until = ms[starts], ms[starts + counts - 1]
    first, last = visits["power_db"].to_numpy().copy(), visits["power_db"].to_numpy().copy()
    end_ms = np.where((visits["for"] == "ratio").to_numpy(), 1000 * EDGE_RATIO_S, 1000 * EDGE_S)
    long = (visits["for"] != "noise").to_numpy() & (until - since > end_ms)
    for at in np.flatnonzero(long):
        mine = slice(starts[at], starts[at] + counts[at])
        first[at] = mean_power_db(values[mine][None, ms[mine] - since[at] <= end_ms[at]])[0]
        last[at] = mean_power_db(values[mine][None, until[at] - ms[mine] <= end_ms[at]])[0]
    named = {"since_ms": since, "until_ms": until, "first_db": first, "last_db": last}
    return [pl.Series(name, value) for name, value in named.items()]


def _starts(frame: pl.DataFrame) -> NDArray[np.int64]:
    """The rows at which a visit begins: those that differ from the one before in pass, channel or path, or in time."""
    new = np.zeros(frame.height, dtype=bool)
    new[0] = True
    for name in KEYS:
        column = frame[name]
        if column.dtype == pl.String:  # in portions, or text would be copied whole
            for at in range(1, frame.height, PORTION):
                here = column[at : at + PORTION]
                new[at : at + PORTION] |= (here != column[at - 1 : at - 1 + len(here)]).to_numpy()
        else:
            values = column.to_physical().to_numpy()
            new[1:] |= values[1:] != values[:-1]
    of_ratios = (frame["for"] == "ratio").to_numpy()
    if of_ratios.any():  # nothing else is stored between two of their visits that follow one another
        apart = np.diff(frame["time"].dt.epoch("ms").to_numpy()) > 1000 * RATIOS_APART_S
        new[1:] |= of_ratios[1:] & apart
    return np.flatnonzero(new)


def _numbers(column: pl.Series) -> Floats:
    return column.cast(pl.Float64).fill_null(float("nan")).to_numpy()


def _flagged(frame: pl.DataFrame, *words: str) -> tuple[NDArray[np.bool_], ...]:
    """For each word the readings whose flags contain it."""
    flags = frame["flags"]
    if not flags.str.len_bytes().max():
        return (np.zeros(frame.height, dtype=bool),) * len(words)
    return tuple(flags.str.contains(word, literal=True).fill_null(False).to_numpy() for word in words)


def _dates(
    pass_of_visit: NDArray[np.int64], ms: NDArray[np.int64], facts: StationFacts
) -> tuple[pl.Series, pl.Series]:
    """The `night` and the `hour_utc` in which the pass of each visit began; visits go by time."""
    _, first, which = np.unique(pass_of_visit, return_index=True, return_inverse=True)
    began = ms[first]
    night = (began + 1000 * round(facts.longitude * 240 - 12 * 3600)) // MS_A_DAY
    hour = began // MS_AN_HOUR % 24
    return pl.Series("night", night[which].astype(np.int32)).cast(pl.Date), pl.Series("hour_utc", hour[which])


def _estimates(
    visits: pl.DataFrame,
    values: Floats,
    floor: NDArray[np.bool_],
    top: NDArray[np.bool_],
    counts: NDArray[np.int64],
    facts: StationFacts,
) -> pl.DataFrame:
    """Level, power, bound and oddity of each visit, whose readings lie one visit after the other, `counts` of each."""
    starts = np.cumsum(counts) - counts
    purpose_noise = (visits["for"] == "noise").to_numpy()
    bandwidth = visits["bandwidth_hz"].to_numpy()
    on_load = (visits["source"] == "load").to_numpy()
    step_db = facts.meter.step_db or 0.0

    level = np.full(len(starts), np.nan)
    power = np.full(len(starts), np.nan)
    bound = np.zeros(len(starts), dtype=np.int8)
    odd = np.zeros(len(starts), dtype=bool)
    scatter = np.full(len(starts), np.nan)
    for bandwidth_hz in np.unique(bandwidth):
        mine = bandwidth == bandwidth_hz
        shape = _shape(facts, int(bandwidth_hz), values, starts, counts, mine, on_load)
        for count in np.unique(counts[mine]):
            alike = np.flatnonzero(mine & (counts == count))
            for rows in np.array_split(alike, 1 + len(alike) * int(count) // PORTION):
                at = starts[rows][:, None] + np.arange(count)
                block = values[at]
                power[rows] = level[rows] = mean_power_db(block)
                noise = purpose_noise[rows]
                if noise.any():
                    ordered = np.sort(block[noise], axis=1)
                    level[rows[noise]] = white_level_db(ordered, shape, step_db)
                    odd[rows[noise]] = _spread(ordered) > _widest(int(count), shape) + step_db
                    if count >= FEWEST_READINGS and step_db <= COARSEST_STEPS * spread_db(shape):
                        scatter[rows[noise]] = _squared_slope(ordered, shape, step_db)
                if floor.any():
                    bound[rows] = np.where(floor[at].mean(axis=1) > 0.2, -1, 0)
                if top.any():
                    spare = np.where(noise, count - kept_of(int(count)), 0)
                    bound[rows] = np.where(top[at].sum(axis=1) > spare, 1, bound[rows])
    scatter[odd | (bound != 0)] = np.nan
    return pl.DataFrame(
        {"level_db": level, "power_db": power, "bound": bound, "odd": odd, "scatter": scatter}
    )


def _squared_slope(ordered: Floats, shape: float, step_db: float) -> Floats:
    """Variance of each visit's readings less that of rounding (Sheppard), over that of noise; NaN with a burst."""
    noise_db = spread_db(shape)
    burst = ordered[:, -1] - ordered[:, 0] > 2 * BURST_SPREADS * noise_db + step_db
    squared: Floats = (ordered.var(axis=1, ddof=1) - step_db**2 / 12) / noise_db**2
    return np.where(burst, np.nan, squared)


def _spread(ordered: Floats) -> Floats:
    spread: Floats = ordered[:, kept_of(ordered.shape[1]) - 1] - ordered[:, 0]
    return spread


def _shape(
    facts: StationFacts,
    bandwidth_hz: int,
    values: Floats,
    starts: NDArray[np.int64],
    counts: NDArray[np.int64],
    mine: NDArray[np.bool_],
    on_load: NDArray[np.bool_],
) -> float:
    """The gamma shape of a reading: from the facts, or else from how far the readings of a visit scatter."""
    if facts.meter.averaging_s is not None:
        return shape_of(bandwidth_hz, facts.meter.averaging_s)
    chosen = mine & on_load if (mine & on_load).sum() >= 20 else mine
    count = int(np.bincount(counts[chosen]).argmax())
    if count < 4:
        return shape_of(bandwidth_hz, 0.05)
    rows = np.flatnonzero(chosen & (counts == count))
    spread = _spread(np.sort(values[starts[rows][:, None] + np.arange(count)], axis=1))
    seen = float(np.minimum(spread, 3 * np.median(spread)).mean())
    return _shape_of_spread(count, round(seen, 3))


@lru_cache(maxsize=256)
def _shape_of_spread(count: int, spread: float) -> float:
    low, high = 0.0, float(np.log(SHAPE_UNKNOWN_MOST))
    for _ in range(30):
        middle = (low + high) / 2
        means = order_means_db(count, float(np.exp(middle)))
        if means[kept_of(count) - 1] - means[0] > spread:
            low = middle
        else:
            high = middle
    return float(np.exp(low))


@lru_cache(maxsize=256)
def _widest(count: int, shape: float) -> float:
    """Spread of the kept readings of a visit that pure noise exceeds with `OCCUPIED_CHANCE`, dB."""
    kept = kept_of(count)
    if kept < 2:
        return float("inf")
    at, mass = nodes_and_weights()
    # the lowest of `count` lies at the share 1 − u^(1/count) with u uniform
    lowest = 1 - at ** (1 / count)
    power = gammaincinv(shape, lowest)

    def chance(spread: float) -> float:
        within = (gammainc(shape, power * 10 ** (spread / 10)) - lowest) / (1 - lowest)
        return float((mass * bdtr(kept - 2, count - 1, np.clip(within, 0, 1))).sum())

    low, high = 0.0, 60.0
    for _ in range(40):
        middle = (low + high) / 2
        low, high = (middle, high) if chance(middle) > OCCUPIED_CHANCE else (low, middle)
    return high
