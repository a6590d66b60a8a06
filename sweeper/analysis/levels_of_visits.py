"""From readings to visits: one level for each stay on a channel through one path.

A visit is a run of readings that share pass, channel and path, in order of time. What passes and hours make
of the visits does not belong here.
"""

from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from sweeper.analysis.facts import StationFacts
from sweeper.analysis.levels import (
    Floats,
    kept_of,
    mean_power_db,
    order_means_db,
    shape_of,
    white_level_db,
)

if TYPE_CHECKING:
    import polars as pl

CHANNEL = ("band", "hz", "for")
SHAPE_UNKNOWN_MOST = 1e5
OCCUPIED_CHANCE = 1e-4
"""How often pure noise may be taken for an occupied channel, a visit."""


def visits_of(readings: "pl.DataFrame", facts: StationFacts) -> "pl.DataFrame":
    """One row a visit: its keys, `time`, `night`, `hour_utc`, `level_db`, `power_db`, `bound`, `odd`, `flags`.

    `level_db` is the white-noise level on noise channels and the mean power on carriers; `bound` is ``floor``,
    ``top`` or empty; `odd` is true where a noise channel follows no noise statistics. Readings that are no
    numbers, or were not renewed, are left out and named in `flags`.
    """
    import polars as pl

    frame = readings.sort("time", maintain_order=True) if not readings["time"].is_sorted() else readings
    level = _level_column(frame, facts)
    said = (frame["flags"].fill_null("") != "").any()
    flags = pl.col("flags").fill_null("") if said else pl.lit("")
    frame = frame.with_columns(
        level.alias("value"),
        _at_floor(facts, flags).alias("floor"),
        _at_top(facts, flags).alias("top"),
        flags.str.contains("stale", literal=True).alias("stale"),
        pl.struct("pass", *CHANNEL, "bandwidth_hz", "source", "route").rle_id().alias("visit"),
    )
    bad = pl.col("value").is_null() | ~pl.col("value").is_finite()
    if not (facts.meter.step_db or 0.0) >= 1.0:
        bad |= pl.col("stale")  # a coarse meter repeats itself from visit to visit without being stuck
    frame = frame.with_columns(bad.fill_null(True).alias("bad"))
    keys = _keys(frame)
    good = frame.filter(~pl.col("bad"))
    estimated = _estimates(good, keys, facts)
    return _dated(keys.join(estimated, on="visit", how="inner"), frame, facts)


def _keys(frame: "pl.DataFrame") -> "pl.DataFrame":
    """The keys of each visit, its mean time and mean reading, and whether any reading was stale or bad."""
    import polars as pl

    visit = frame["visit"].to_numpy()
    starts = np.flatnonzero(np.r_[True, visit[1:] != visit[:-1]])
    count = np.diff(np.r_[starts, len(visit)])
    ms = frame["time"].dt.epoch("ms").to_numpy()
    reading = frame["reading"].cast(pl.Float64).fill_null(float("nan")).to_numpy()
    keys = frame.select("visit", "pass", *CHANNEL, "bandwidth_hz", "source", "route", "time")[starts]
    return keys.with_columns(
        pl.Series(
            "time", (ms[starts] + np.add.reduceat(ms - ms[np.repeat(starts, count)], starts) // count)
        ).cast(pl.Datetime("ms", "UTC")),
        pl.Series("reading", np.add.reduceat(reading, starts) / count),
        *[
            pl.Series(name, np.logical_or.reduceat(frame[name].to_numpy(), starts))
            for name in ("stale", "bad")
        ],
    )


def _level_column(frame: "pl.DataFrame", facts: StationFacts) -> "pl.Expr":
    import polars as pl

    if facts.meter.calibrated and frame["dbm"].null_count() < frame.height:
        return pl.col("dbm").cast(pl.Float64)
    return pl.col("reading").cast(pl.Float64)


def _at_floor(facts: StationFacts, flags: "pl.Expr") -> "pl.Expr":
    import polars as pl

    said = flags.str.contains("floor", literal=True)
    return said if facts.meter.floor is None else said | (pl.col("reading") <= facts.meter.floor)


def _at_top(facts: StationFacts, flags: "pl.Expr") -> "pl.Expr":
    import polars as pl

    said = flags.str.contains("clipped", literal=True)
    return said if facts.meter.top is None else said | (pl.col("reading") >= facts.meter.top)


def _dated(visits: "pl.DataFrame", frame: "pl.DataFrame", facts: StationFacts) -> "pl.DataFrame":
    """Give each visit the night and the hour in which its pass began."""
    import polars as pl

    began = frame.group_by("pass").agg(pl.col("time").min().alias("began"))
    solar = pl.col("began") + pl.duration(seconds=round(facts.longitude * 240 - 12 * 3600))
    return (
        visits.join(began, on="pass", how="left")
        .with_columns(
            solar.dt.date().alias("night"),
            pl.col("began").dt.hour().cast(pl.Int64).alias("hour_utc"),
        )
        .sort("visit")
    )


def _estimates(good: "pl.DataFrame", keys: "pl.DataFrame", facts: StationFacts) -> "pl.DataFrame":
    import polars as pl

    visit = good["visit"].to_numpy()
    values = good["value"].to_numpy()
    floor, top = good["floor"].to_numpy(), good["top"].to_numpy()
    starts = (
        np.flatnonzero(np.r_[True, visit[1:] != visit[:-1]]) if len(visit) else np.zeros(0, dtype=np.int64)
    )
    counts = np.diff(np.r_[starts, len(visit)])
    row_of = np.searchsorted(keys["visit"].to_numpy(), visit[starts])
    purpose_noise = (keys["for"] == "noise").to_numpy()[row_of]
    bandwidth = keys["bandwidth_hz"].to_numpy()[row_of]
    on_load = (keys["source"] == "load").to_numpy()[row_of]
    step_db = facts.meter.step_db or 0.0

    level = np.full(len(starts), np.nan)
    power = np.full(len(starts), np.nan)
    bound = np.zeros(len(starts), dtype=np.int8)
    odd = np.zeros(len(starts), dtype=bool)
    for bandwidth_hz in np.unique(bandwidth):
        shape = _shape(facts, int(bandwidth_hz), values, starts, counts, (bandwidth == bandwidth_hz), on_load)
        for count in np.unique(counts[bandwidth == bandwidth_hz]):
            rows = np.flatnonzero((bandwidth == bandwidth_hz) & (counts == count))
            at = starts[rows][:, None] + np.arange(count)
            block = values[at]
            power[rows] = mean_power_db(block)
            noise = purpose_noise[rows]
            level[rows] = power[rows]
            if noise.any():
                level[rows[noise]] = white_level_db(block[noise], shape, step_db)
                odd[rows[noise]] = _spread(block[noise]) > _widest(int(count), shape) + step_db
            spare = count - kept_of(int(count))
            bound[rows] = np.where(floor[at].mean(axis=1) > 0.2, -1, 0)
            bound[rows] = np.where(top[at].sum(axis=1) > np.where(noise, spare, 0), 1, bound[rows])
    return pl.DataFrame(
        {
            "visit": visit[starts],
            "readings": counts,
            "level_db": level,
            "power_db": power,
            "bound": bound,
            "odd": odd,
        },
        schema_overrides={"visit": keys["visit"].dtype},
    )


def _spread(block: Floats) -> Floats:
    ordered = np.sort(block, axis=1)
    spread: Floats = ordered[:, kept_of(block.shape[1]) - 1] - ordered[:, 0]
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
    spread = _spread(values[starts[rows][:, None] + np.arange(count)])
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
    from scipy.special import gammainc, gammaincinv
    from scipy.stats import binom

    kept = kept_of(count)
    if kept < 2:
        return float("inf")
    nodes, weights = np.polynomial.legendre.leggauss(200)
    # the lowest of `count` lies at the share 1 − u^(1/count) with u uniform
    lowest = 1 - ((nodes + 1) / 2) ** (1 / count)
    power = gammaincinv(shape, lowest)

    def chance(spread: float) -> float:
        within = (gammainc(shape, power * 10 ** (spread / 10)) - lowest) / (1 - lowest)
        return float((weights / 2 * binom.cdf(kept - 2, count - 1, np.clip(within, 0, 1))).sum())

    low, high = 0.0, 60.0
    for _ in range(40):
        middle = (low + high) / 2
        low, high = (middle, high) if chance(middle) > OCCUPIED_CHANCE else (low, middle)
    return high
