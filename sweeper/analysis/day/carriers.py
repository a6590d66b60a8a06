"""What carriers say of gain, pass by pass: noise taken out, fading borne, nothing said where none stands."""

import numpy as np
import polars as pl
from numpy.typing import NDArray

from sweeper.analysis.arrays import Floats
from sweeper.analysis.thresholds import CARRIER_CLEAR_DB

ROUTES = ("bypass", "stage")
LEAST_SLOPE = 0.1
"""Mean of (1 − u²)/2 below which pairs tell no gain: it is 1/2 where both powers share the fade and 1/3 where they fade
apart (Rayleigh), and about nothing where now one and now the other power is a crash of static and no carrier at all."""


def with_carriers(table: pl.DataFrame) -> pl.DataFrame:
    """The pass table with `carrier_gain` in dB, the carrier's S/N `carrier_snr`, and whether it was `absent`;
    `under_bypass` and `under_stage` are the noise under it, as powers.

    The noise under a carrier is that of the noise channels of its band in the same pass; that under a ratio is 1 by
    what it is. A carrier gains alike all night, a ratio changes by the hour: each hour is solved by itself (`alike`).
    """
    by_hour = pl.when(pl.col("for") == "ratio")
    table = table.with_columns(
        pl.struct("channel", by_hour.then("night").alias("night"), by_hour.then("hour_utc").alias("hour"))
        .rle_id()
        .alias("alike")
    )
    width_db = 10 * pl.col("bandwidth_hz").log10()
    quiet = (
        table.filter((pl.col("for") == "noise") & ~pl.col("occupied"))
        .group_by("pass", "band", maintain_order=True)
        .agg(*[(pl.col(f"antenna_{route}") - width_db).mean().alias(f"density_{route}") for route in ROUTES])
    )
    carriers = table.filter(pl.col("for") != "noise").join(
        quiet, on=["pass", "band"], how="left", maintain_order="left"
    )
    gain_db, snr_db = np.full(len(table), np.nan), np.full(len(table), np.nan)
    absent = np.zeros(len(table), dtype=bool)
    under = np.full((2, len(table)), np.nan)
    rows = np.flatnonzero((table["for"] != "noise").to_numpy())
    if len(rows):
        held = [pl.col(f"{edge}_antenna_{route}") for edge in ("floor", "top") for route in ROUTES]
        off = carriers.select(pl.any_horizontal(held)).to_series().to_numpy()
        width = 10 * np.log10(carriers["bandwidth_hz"].to_numpy())
        ratio = (carriers["for"] == "ratio").to_numpy()
        noise = [
            np.where(ratio, 1.0, 10 ** ((carriers[f"density_{route}"].to_numpy() + width) / 10))
            for route in ROUTES
        ]
        under[:, rows] = noise
        own = [
            10 ** (carriers[f"antenna_{route}"].to_numpy() / 10) - power
            for route, power in zip(ROUTES, noise, strict=True)
        ]
        alike = carriers["alike"].to_numpy().astype(np.int64)
        for mine in np.split(np.arange(len(rows)), np.flatnonzero(np.diff(alike)) + 1):
            known = np.isfinite(own[0][mine] + own[1][mine]) & ~off[mine]
            gain_db[rows[mine]], clear = gain_of_pairs_db(
                own[0][mine], own[1][mine], noise[0][mine], noise[1][mine], known
            )
            with np.errstate(divide="ignore", invalid="ignore"):
                over = 10 * np.log10(np.maximum(own[0][mine], 0) / noise[0][mine])
            snr_db[rows[mine]] = np.where(clear & np.isfinite(over), over, np.nan)
            absent[rows[mine]] = known & ~clear
    return table.with_columns(
        pl.Series("carrier_gain", gain_db).fill_nan(None),
        pl.Series("carrier_snr", snr_db).fill_nan(None),
        pl.Series("absent", absent),
        *[pl.Series(f"under_{route}", under[n]) for n, route in enumerate(ROUTES)],
    )


def gain_of_pairs_db(
    bypass: Floats, stage: Floats, noise_bypass: Floats, noise_stage: Floats, known: NDArray[np.bool_]
) -> tuple[Floats, NDArray[np.bool_]]:
    """Gain from pairs of powers of a carrier that fades between them, dB a pair, and which pairs were clear.

    Linear powers, noise taken out, shapes (passes,). Where both powers fade alike (exponentially, say) the best
    estimate solves Σ u = 0, u = (s − g·b)/(s + g·b); what comes back are its pseudo-values, whose mean over any
    passes is the estimate from those passes. A pair counts where s/g + b stands clear of the noise of both: a
    condition that favours neither route, as one on either of them would. NaN where a pair does not count, and for all
    of them where they contradict each other (`LEAST_SLOPE`).
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
        told = float(np.mean((1 - np.minimum(u[clear] ** 2, 1.0)) / 2))
        slope = told + 1e-3
        gain *= float(np.exp(np.clip(u[clear].mean() / slope, -1.0, 1.0)))
    if not clear.any() or told < LEAST_SLOPE:
        return np.full(len(bypass), np.nan), clear
    pseudo: Floats = np.where(
        clear, 10 * np.log10(gain) + 10 / np.log(10) * (u - np.nanmean(u)) / slope, np.nan
    )
    return pseudo, clear
