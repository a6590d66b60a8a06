"""From visits to passes: levels of each path side by side, drift taken out, what does not belong set aside.

One row a pass and channel. Hours and nights do not belong here.
"""

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from sweeper.analysis.facts import StationFacts
from sweeper.analysis.levels import Floats
from sweeper.analysis.levels_of_visits import CHANNEL

if TYPE_CHECKING:
    import polars as pl

PATHS = tuple(f"{source}_{route}" for source in ("antenna", "load", "noise") for route in ("bypass", "stage"))
LOAD_WINDOW = 9
"""Load visits averaged with their neighbours: a load is steady, the receiver's gain drifts slowly."""
CARRIER_CLEAR_DB = 10.0
"""A carrier says something about gain where it stands this far above the noise of both routes together."""


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
    apart = [
        (pl.col("level_db").filter(of(path)).max() - pl.col("level_db").filter(of(path)).min()).alias(
            f"apart_{path}"
        )
        for path in PATHS[:2]
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
            *apart,
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
    for part in table.partition_by(*CHANNEL, "bandwidth_hz", maintain_order=True):
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
    return pl.concat(parts).sort(*CHANNEL, "time") if parts else table


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

    Judged on what both routes show, or on differences in either direction, so that setting aside cannot favour one
    route. What comes and stays for three passes on end is no visitor but the night, or overload, and is kept.
    """
    import polars as pl

    step = facts.meter.step_db or 0.0
    least = 6.0 + step
    noise = pl.col("for") == "noise"
    above = [
        pl.col(name) - pl.col(name).quantile(0.2).over(*CHANNEL)
        for name in ("antenna_bypass", "antenna_stage")
    ]
    table = table.with_columns(
        (pl.col("antenna_stage") - pl.col("antenna_bypass")).alias("difference"),
        pl.min_horizontal(above).alias("above_own"),
        pl.max_horizontal("apart_antenna_bypass", "apart_antenna_stage").alias("apart"),
    )
    table = table.with_columns(
        _off_usual("above_own", 13),
        _off_usual("difference", 5),
        pl.when(noise).then(pl.col("above_own")).min().over("pass", "band").alias("quietest"),
        noise.sum().over("pass", "band").alias("fellows"),
    )
    sudden = pl.col("above_own_off") > least
    beside = (pl.col("fellows") > 1) & (pl.col("above_own") - pl.col("quietest") > least)
    jumped = _beyond("difference_off", 1.0 + step) | _beyond("apart", 1.5 + step)
    occupied = noise & (pl.col("odd") | sudden | beside | jumped).fill_null(False)
    return table.with_columns(occupied.alias("occupied"))


def _off_usual(column: str, passes: int) -> "pl.Expr":
    """How far a pass lies from the median of the `passes` around it on its channel."""
    import polars as pl

    usual = pl.col(column).rolling_median(passes, min_samples=1, center=True).over(*CHANNEL)
    return (pl.col(column) - usual).alias(f"{column}_off")


def _beyond(column: str, least: float) -> "pl.Expr":
    """More than `least`, and than six times what is usual on the channel, in either direction."""
    import polars as pl

    usual = pl.col(column).abs().median().over(*CHANNEL) * 1.4826
    return (pl.col(column).abs() > 6 * usual) & (pl.col(column).abs() > least)


def _with_carriers(table: "pl.DataFrame") -> "pl.DataFrame":
    """On carrier rows: `carrier_gain` of the pass in dB, the carrier's S/N, and whether it was `absent`."""
    import polars as pl

    quiet = (
        table.filter((pl.col("for") == "noise") & ~pl.col("occupied"))
        .group_by("pass", "band", maintain_order=True)
        .agg(
            *[
                (pl.col(f"antenna_{route}") - 10 * pl.col("bandwidth_hz").log10())
                .mean()
                .alias(f"density_{route}")
                for route in ("bypass", "stage")
            ]
        )
    )
    table = table.join(quiet, on=["pass", "band"], how="left", maintain_order="left")
    parts = [_carrier_of(part) for part in table.partition_by(*CHANNEL, maintain_order=True)]
    return pl.concat(parts).drop("density_bypass", "density_stage") if parts else table


def _carrier_of(part: "pl.DataFrame") -> "pl.DataFrame":
    """One channel's passes with the columns `carrier_gain`, `carrier_snr` and `absent`."""
    import polars as pl

    nothing = np.full(len(part), np.nan)
    if part["for"][0] != "carrier":
        return part.with_columns(
            pl.Series("carrier_gain", nothing),
            pl.Series("carrier_snr", nothing),
            pl.lit(False).alias("absent"),
        )
    width_db = 10 * np.log10(part["bandwidth_hz"].to_numpy())
    held = part.select(
        pl.any_horizontal(
            [f"{edge}_antenna_{route}" for edge in ("floor", "top") for route in ("bypass", "stage")]
        )
    ).to_series()
    noise, carrier = {}, {}
    for route in ("bypass", "stage"):
        noise[route] = 10 ** ((part[f"density_{route}"].to_numpy().astype(np.float64) + width_db) / 10)
        carrier[route] = 10 ** (part[f"antenna_{route}"].to_numpy().astype(np.float64) / 10) - noise[route]
    known = np.isfinite(carrier["bypass"] + carrier["stage"]) & ~held.to_numpy()
    gain_db, clear = gain_of_pairs_db(
        carrier["bypass"], carrier["stage"], noise["bypass"], noise["stage"], known
    )
    with np.errstate(divide="ignore", invalid="ignore"):
        over = 10 * np.log10(np.maximum(carrier["bypass"], 0) / noise["bypass"])
    return part.with_columns(
        pl.Series("carrier_gain", gain_db).fill_nan(None),
        pl.Series("carrier_snr", np.where(clear & np.isfinite(over), over, np.nan)).fill_nan(None),
        pl.Series("absent", known & ~clear),
    )


def gain_of_pairs_db(
    bypass: Floats, stage: Floats, noise_bypass: Floats, noise_stage: Floats, known: NDArray[np.bool_]
) -> tuple[Floats, NDArray[np.bool_]]:
    """Gain from pairs of powers of a carrier that fades between them, dB a pair, and which pairs were clear.

    Linear powers, noise taken out, shapes (passes,). Where both powers fade alike (exponentially, say) the best
    estimate solves Σ u = 0, u = (s − g·b)/(s + g·b); what comes back are its pseudo-values, whose mean over any
    passes is the estimate from those passes. A pair counts where s/g + b stands clear of the noise of both: a
    condition that favours neither route, as one on either of them would. NaN where a pair does not count.
    """
    gain, clear = 1.0, known.copy()
    pairs = np.flatnonzero(known & (bypass > 0) & (stage > 0))
    if len(pairs):
        gain = float(np.exp(np.median(np.log(stage[pairs] / bypass[pairs]))))
    u = np.full(len(bypass), np.nan)
    for _ in range(12):
        total = stage / gain + bypass
        floor = (noise_stage / gain + noise_bypass) * 10 ** (CARRIER_CLEAR_DB / 10)
        clear = known & (total > floor)
        if not clear.any():
            break
        u = np.where(clear, (stage / gain - bypass) / np.where(clear, total, 1.0), np.nan)
        slope = float(np.mean((1 - np.minimum(u[clear] ** 2, 1.0)) / 2)) + 1e-3
        gain *= float(np.exp(np.clip(u[clear].mean() / slope, -1.0, 1.0)))
    if not clear.any():
        return np.full(len(bypass), np.nan), clear
    pseudo: Floats = np.where(
        clear, 10 * np.log10(gain) + 10 / np.log(10) * (u - np.nanmean(u)) / slope, np.nan
    )
    return pseudo, clear
