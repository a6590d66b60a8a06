"""From visits to passes: levels of each path side by side, drift taken out, what does not belong set aside.

One row a pass and channel. Hours and nights do not belong here.
"""

from typing import TYPE_CHECKING

import numpy as np

from sweeper.analysis.facts import StationFacts
from sweeper.analysis.levels import Floats
from sweeper.analysis.levels_of_visits import CHANNEL

if TYPE_CHECKING:
    import polars as pl

PATHS = tuple(f"{source}_{route}" for source in ("antenna", "load", "noise") for route in ("bypass", "stage"))
LOAD_WINDOW = 9
"""Load visits averaged with their neighbours: a load is steady, the receiver's gain drifts slowly."""
CARRIER_CLEAR_DB = 10.0
"""A carrier says something about gain where it stands this far above the noise, mean of both routes."""


def passes_of(visits: "pl.DataFrame", facts: StationFacts) -> "pl.DataFrame":
    """One row per pass and channel with `<path>` levels in dB and what was seen on the way.

    Antenna levels are means over the visits of the pass (bypass, stage, stage, bypass: linear drift cancels).
    Load and source levels are taken at the time of the pass, between the visits around it. Columns `usable`,
    `occupied`, `absent`, `floor_*`, `top_*` say what a row is good for.
    """
    import polars as pl

    def of(path: str) -> "pl.Expr":
        source, route = path.split("_")
        return (pl.col("source") == source) & (pl.col("route") == route)

    means = [pl.col("level_db").filter(of(path)).mean().alias(path) for path in PATHS]
    powers = [
        pl.col("power_db").filter(of(path)).mean().alias(f"power_{path}")
        for path in ("antenna_bypass", "antenna_stage")
    ]
    bounds = [
        ((pl.col("bound") == sign) & of(path)).any().alias(f"{name}_{path}")
        for name, sign in (("floor", -1), ("top", 1))
        for path in PATHS
    ]
    table = (
        visits.group_by("pass", *CHANNEL, maintain_order=True)
        .agg(
            pl.col("night", "hour_utc", "bandwidth_hz").first(),
            (pl.col("bandwidth_hz").n_unique() > 1).alias("mixed_bandwidth"),
            pl.col("time").mean(),
            pl.col("reading").filter(of("antenna_bypass")).mean().alias("meter_reading_bypass"),
            (pl.col("odd") & (pl.col("source") == "antenna")).any().alias("odd"),
            pl.col("stale").any(),
            *means,
            *powers,
            *bounds,
        )
        .sort(*CHANNEL, "time")
    )
    table = _with_steady_sources(table)
    table = _with_occupied(table, facts)
    return _with_carriers(table)


def _with_steady_sources(table: "pl.DataFrame") -> "pl.DataFrame":
    """Load and source levels at every pass, their standard errors `<path>_se` and their scatter `<path>_wander`."""
    import polars as pl

    parts = []
    for part in table.partition_by(*CHANNEL, maintain_order=True):
        seconds = part["time"].dt.epoch("ms").to_numpy() / 1000.0
        columns = []
        for path in PATHS[2:]:
            level = part[path].to_numpy().astype(np.float64)
            seen = np.isfinite(level)
            if not seen.any():
                columns += [pl.Series(path, [None] * len(part), dtype=pl.Float64)]
                columns += [pl.Series(f"{path}_se", [None] * len(part), dtype=pl.Float64)]
                columns += [pl.Series(f"{path}_wander", [None] * len(part), dtype=pl.Float64)]
                continue
            smooth, error = _smoothed(level[seen])
            columns += [pl.Series(path, np.interp(seconds, seconds[seen], smooth))]
            columns += [pl.Series(f"{path}_se", np.full(len(part), error))]
            columns += [pl.Series(f"{path}_wander", np.full(len(part), float(np.std(level[seen]))))]
            for name in ("floor", "top"):
                touched = part[f"{name}_{path}"].to_numpy()
                share = touched[seen].mean()
                columns += [pl.Series(f"{name}_{path}", np.full(len(part), share > 0.2))]
        parts.append(part.with_columns(columns))
    return pl.concat(parts) if parts else table


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


def _with_occupied(table: "pl.DataFrame", facts: StationFacts) -> "pl.DataFrame":
    """Set aside passes of a noise channel in which a signal sat there: odd statistics, or far above its like.

    Judged on the mean of both routes, so that setting aside cannot favour one of them.
    """
    import polars as pl

    step = facts.meter.step_db or 0.0
    least = 6.0 + step
    middle = (pl.col("antenna_bypass") + pl.col("antenna_stage")) / 2
    own = middle - middle.quantile(0.2).over(*CHANNEL)
    noise = pl.col("for") == "noise"
    table = table.with_columns(own.alias("above_own"), noise.alias("is_noise"))
    table = table.with_columns(
        pl.col("above_own").rolling_median(13, min_samples=1, center=True).over(*CHANNEL).alias("usual"),
        pl.when(noise).then(pl.col("above_own")).min().over("pass", "band").alias("quietest"),
        noise.sum().over("pass", "band").alias("fellows"),
    )
    sudden = pl.col("above_own") - pl.col("usual") > least
    beside = (pl.col("fellows") > 1) & (pl.col("above_own") - pl.col("quietest") > least)
    difference = pl.col("antenna_stage") - pl.col("antenna_bypass")
    table = table.with_columns(difference.alias("difference"))
    astray = (
        pl.col("difference")
        - pl.col("difference").rolling_median(13, min_samples=1, center=True).over(*CHANNEL)
    ).alias("astray")
    table = table.with_columns(astray)
    scatter = (pl.col("astray").abs().median().over(*CHANNEL) * 1.4826).clip(lower_bound=0.2)
    jumped = (pl.col("astray").abs() > 6 * scatter) & (pl.col("astray").abs() > 2.0 + 2 * step)
    occupied = noise & (pl.col("odd") | sudden | beside | jumped).fill_null(False)
    return table.with_columns(occupied.alias("occupied")).drop(
        "above_own", "usual", "quietest", "fellows", "astray"
    )


def _with_carriers(table: "pl.DataFrame") -> "pl.DataFrame":
    """On carrier rows: the carrier's own level of each route (noise taken out), its S/N, and whether it stood."""
    import polars as pl

    quiet = (
        table.filter((pl.col("for") == "noise") & ~pl.col("occupied"))
        .group_by("pass", "band")
        .agg(
            (pl.col("antenna_bypass") - 10 * pl.col("bandwidth_hz").log10()).mean().alias("density_bypass"),
            (pl.col("antenna_stage") - 10 * pl.col("bandwidth_hz").log10()).mean().alias("density_stage"),
        )
    )
    table = table.join(quiet, on=["pass", "band"], how="left", maintain_order="left")
    carrier = pl.col("for") == "carrier"
    over = {}
    for route in ("bypass", "stage"):
        noise = pl.col(f"density_{route}") + 10 * pl.col("bandwidth_hz").log10()
        over[route] = pl.col(f"antenna_{route}") - noise
    clear = (over["bypass"] + over["stage"]) / 2 >= CARRIER_CLEAR_DB
    own = {
        route: pl.col(f"antenna_{route}") + 10 * (1 - 10 ** (-over[route].clip(lower_bound=0.2) / 10)).log10()
        for route in ("bypass", "stage")
    }
    held = pl.any_horizontal(
        [pl.col(f"{edge}_antenna_{route}") for edge in ("floor", "top") for route in ("bypass", "stage")]
    )
    stands = carrier & clear.fill_null(False) & ~held
    return table.with_columns(
        pl.when(stands).then(own["stage"] - own["bypass"]).alias("carrier_gain"),
        pl.when(stands).then(over["bypass"]).alias("carrier_snr"),
        (carrier & ~clear.fill_null(True)).alias("absent"),
    ).drop("density_bypass", "density_stage")
