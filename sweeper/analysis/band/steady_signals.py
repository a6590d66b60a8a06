"""Carriers on noise channels, told by readings that scatter less than white noise must: no fellow channel is asked.

Noise of power N makes readings of bandwidth B and time τ scatter by a variance of N²/(Bτ). With a carrier of power C in
it that is (N² + 2NC)/(Bτ) about a mean of N + C (Rice 1945), so relative to the mean (1 + 2c)/(1 + c)² of it, c = C/N:
3/4 for a carrier as strong as the noise, 5/9 for one 3 dB stronger. A bent scale or a slow detector makes scatter
smaller, too, but then for all that stands at that level: so noise of other channels, hours or paths must scatter more
a little below that level, and a little above it.
"""

from collections.abc import Mapping, Sequence

import numpy as np
import polars as pl
from numpy.typing import NDArray

from sweeper.analysis.arrays import Floats
from sweeper.analysis.facts import MeterFacts
from sweeper.analysis.meter.slope import PATHS, VISIT_VARIANCE, measured_noise, noise_spread_db
from sweeper.analysis.thresholds import STEADY_SE, STEADY_SHARE, STEADY_VISITS

BESIDE_DB = 6.0
"""How far below and above a level others tell of the meter there."""
LIKE_NOISE = 0.25
"""Others count whose squared scatter is that of noise within this."""
LEAST_SHARE = 0.4
"""And so much of all that stands there must be like noise: on a bent scale some places look so by chance."""
COARSE_STEPS = 2.0
"""Steps of more than so many standard deviations of a reading leave too little of the scatter to tell."""

Place = tuple[str, int, int]
"""Band, hour (UTC) and frequency in hertz."""
PLACE = ("band", "hour_utc", "hz")
"""Its columns."""


def steady_signals(summaries: pl.DataFrame, meter: MeterFacts) -> dict[Place, float]:
    """Noise channels at hours in which a carrier stands, with its power over it, dB; from all bands' summaries."""
    rows = measured_noise(
        summaries,
        *PLACE,
        "step_db",
        "bandwidth_hz",
        "^(level|scatter|scatter_visits)_(antenna|load)_(bypass|stage)$",
    )
    rows = rows.filter(pl.col("step_db").fill_null(0.0) <= COARSE_STEPS * _spread_db(rows, meter))
    rows = rows.with_columns(pl.struct(PLACE).rank("dense").cast(pl.Int64).alias("place"))
    told = pl.concat([_of_path(rows, path) for path in PATHS]).sort("level")
    if told.is_empty():
        return {}
    told = told.with_columns(_place_mean().alias("mean"))
    # without the averaging time the law of noise is known but for a factor, which most places share
    usual = 1.0 if meter.averaging_s is not None else float(told["mean"].median() or 0.0)  # type: ignore[arg-type]
    like_noise = (pl.col("mean") - usual).abs() <= LIKE_NOISE * usual
    told = told.with_columns((pl.col("visits") * like_noise).alias("like_noise"))
    here = told.with_row_index("row").filter(~pl.col("on_load"))
    here = here.filter(_on_both_sides(told, here))
    of_visit = _variance_of_visits(told)
    found: dict[Place, float] = {}
    scatter = (pl.col("visits") * pl.col("scatter")).sum().alias("scatter")
    places = here.group_by("place", maintain_order=True).agg(pl.col("visits").sum(), scatter)
    places = places.filter(pl.col("visits") >= STEADY_VISITS)
    named = places.join(rows.select("place", *PLACE).unique("place"), on="place", maintain_order="left")
    for band, hour, hz, total, scattered in named.select(*PLACE, "visits", "scatter").iter_rows():
        value = scattered / total / usual
        error = float(np.sqrt(of_visit / total)) * max(value, 0.3)
        if 0.0 < value < STEADY_SHARE and 1.0 - value > STEADY_SE * error:
            found[band, hour, hz] = carrier_over_noise_db(value)
    return found


def carrier_over_noise_db(left: float) -> float:
    """Power of a carrier over the noise, dB, from the share of noise's relative variance that is left: 0 < left < 1."""
    share = float(np.sqrt(1.0 - left))  # (1 + 2c)/(1 + c)² = 1 − (c/(1 + c))²
    return float(10 * np.log10(share / (1.0 - share)))


def of_band(found: Mapping[Place, float], band: str) -> dict[tuple[int, int], float]:
    """Those of one band: hour and frequency in hertz."""
    return {(hour, hz): over_db for (of, hour, hz), over_db in found.items() if of == band}


def without_steady(summaries: pl.DataFrame, found: Mapping[Place, float]) -> pl.DataFrame:
    """The summaries less the noise channels at those hours."""
    return summaries.filter(~(_at(list(found)) & (pl.col("for") == "noise"))) if found else summaries


def _at(places: list[Place]) -> pl.Expr:
    return pl.struct(PLACE).is_in([dict(zip(PLACE, place, strict=True)) for place in places])


def _place_mean() -> pl.Expr:
    """Squared scatter of a place through one path, by visits."""
    same = ("place", "path")
    return (pl.col("visits") * pl.col("scatter")).sum().over(same) / pl.col("visits").sum().over(same)


def _variance_of_visits(told: pl.DataFrame) -> float:
    """Variance of a visit's squared scatter over the square of its mean, from nights of the same place and path.

    Of readings that hang together, or of noise that crackles, a visit tells less than of white noise.
    """
    count = pl.len().over("place", "path")
    off = (
        pl.col("visits")
        * (pl.col("scatter") - pl.col("mean")) ** 2
        / pl.col("mean").clip(lower_bound=0.1) ** 2
    )
    seen = told.with_columns(count.alias("count")).filter(pl.col("count") > 1)
    if seen.is_empty():
        return VISIT_VARIANCE
    each = seen.select(off * pl.col("count") / (pl.col("count") - 1)).to_series().to_numpy()
    return max(VISIT_VARIANCE, float(each.mean()))


def _on_both_sides(told: pl.DataFrame, here: pl.DataFrame) -> pl.Series:
    """Whether other places are like noise a little below and a little above the level of each row of `here`.

    `here` are rows of `told`, which rises in level: what a place says itself is taken off what all say.
    """
    level, at = told["level"].to_numpy(), here["level"].to_numpy()
    ends = [np.searchsorted(level, at + away) for away in (-BESIDE_DB, 0.0, BESIDE_DB)]
    by_place = here.sort("place", "row")
    stride = told.height + 1
    row_of_place = (by_place["place"] * stride + by_place["row"]).to_numpy()
    own_ends = [np.searchsorted(row_of_place, here["place"].to_numpy() * stride + end) for end in ends]
    below_and_above = {
        of: np.diff(_sums_to(told[of], ends), axis=0) - np.diff(_sums_to(by_place[of], own_ends), axis=0)
        for of in ("like_noise", "visits")
    }
    like_noise = below_and_above["like_noise"]
    enough = (like_noise >= STEADY_VISITS) & (like_noise >= LEAST_SHARE * below_and_above["visits"])
    return pl.Series(enough.all(axis=0))


def _sums_to(visits: pl.Series, ends: Sequence[NDArray[np.intp]]) -> Floats:
    """The sum of `visits` before each of the `ends`, one row of the result for each of them."""
    running = np.r_[0.0, visits.cum_sum().to_numpy()]
    return np.stack([running[end] for end in ends])


def _of_path(rows: pl.DataFrame, path: str) -> pl.DataFrame:
    return rows.select(
        "place",
        pl.col(f"level_{path}").alias("level"),
        pl.col(f"scatter_{path}").alias("scatter"),
        pl.col(f"scatter_visits_{path}").cast(pl.Float64).alias("visits"),
        pl.lit(path).alias("path"),
        pl.lit(path.startswith("load")).alias("on_load"),
    ).filter((pl.col("visits") > 0) & pl.col("level").is_not_null() & pl.col("scatter").is_not_null())


def _spread_db(rows: pl.DataFrame, meter: MeterFacts) -> pl.Series:
    """Scatter of noise at each row's bandwidth, dB."""
    widths = rows["bandwidth_hz"].to_list()
    of_width = {width: noise_spread_db(float(width), meter) for width in set(widths)}
    return pl.Series([of_width[width] for width in widths], dtype=pl.Float64)
