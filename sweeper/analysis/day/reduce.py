"""A day of readings becomes a small table: one row per night, hour and channel.

The rows have the columns of `day.columns`. Findings, verdicts and what several nights share do not belong
here, nor do levels of single visits and passes, which have their own files.
"""

import numpy as np
import polars as pl

from sweeper.analysis.arrays import Floats
from sweeper.analysis.day.columns import KEYS, NAMES, schema
from sweeper.analysis.day.passes import passes_of
from sweeper.analysis.day.visits import visits_of
from sweeper.analysis.facts import StationFacts
from sweeper.analysis.meter.scale import with_step
from sweeper.analysis.physics.friis import gain_from_rises, kept_share_slope
from sweeper.analysis.physics.radiometer import resolution_db, shape_of, spread_db

ROUTES = ("bypass", "stage")
MIXED_SCALE = 2000
"""The scale of an hour whose passes have several, or several bandwidths: comparable with no other."""
USELESS_DB = 60.0
"""An uncertainty no larger than this need be told apart."""
UNTOLD_SCATTER_DB = {"d": 0.5, "c": 5.6, "y_bypass": 1.0, "y_stage": 1.0, "a_bypass": 3.0}
"""Scatter from pass to pass where a night has too few passes to tell: of differences, of carriers that fade as
Rayleigh says (5.6 dB), of noise rise in either route, of the level itself."""


def summarise_day(readings: pl.DataFrame, facts: StationFacts) -> pl.DataFrame:
    """Summaries of a day (or of any span) of readings.

    `readings` has the columns of the readings table. The result has those of `day.columns`, sorted by key;
    no readings give no rows.
    """
    if readings.is_empty():
        return pl.DataFrame(schema=schema())
    facts = with_step(facts, readings)
    visits = visits_of(readings, facts)
    if visits.is_empty():
        return pl.DataFrame(schema=schema())
    table = _with_quantities(passes_of(visits, facts))
    cells = _cells(table, facts)
    return (
        cells.with_columns(pl.col(pl.Float64).fill_nan(None))
        .select([pl.col(name).cast(kind) for name, kind in schema().items()])
        .sort(*KEYS)
        .select(NAMES)
    )


def _with_quantities(table: pl.DataFrame) -> pl.DataFrame:
    """Per pass: what is averaged over the hour, null where the pass is set aside."""
    noise = pl.col("for") == "noise"
    whole = ~pl.col("occupied") & pl.col("difference").is_not_null()
    usable = pl.when(noise).then(whole).otherwise(pl.col("carrier_gain").is_not_null())
    usable &= ~pl.col("mixed_bandwidth")  # noise through two bandwidths differs for no reason of the stage
    table = table.with_columns(usable.fill_null(False).alias("usable"))
    good = pl.col("usable") & noise
    quantities = {
        "d": pl.when(good).then(pl.col("difference")),
        "c": pl.when(pl.col("usable")).then(pl.col("carrier_gain")),
        "y_bypass": pl.when(good).then(pl.col("antenna_bypass") - pl.col("load_bypass")),
        "y_stage": pl.when(good).then(pl.col("antenna_stage") - pl.col("load_stage")),
        "a_bypass": pl.when(good | ~noise).then(pl.col("antenna_bypass")),
        "a_stage": pl.when(good | ~noise).then(pl.col("antenna_stage")),
        "i_bypass": pl.when(good).then(pl.col("power_antenna_bypass") - pl.col("antenna_bypass")),
        "i_stage": pl.when(good).then(pl.col("power_antenna_stage") - pl.col("antenna_stage")),
    }
    return table.with_columns(
        *[expression.alias(name) for name, expression in quantities.items()],
        pl.col("antenna_bypass").max().over("pass").alias("strongest"),
    )


def _cells(table: pl.DataFrame, facts: StationFacts) -> pl.DataFrame:
    table = table.with_columns(pl.struct("night", "channel").rle_id().cast(pl.Int64).alias("evening"))
    table = table.with_columns((pl.col("evening") * 24 + pl.col("hour_utc")).alias("cell"))
    errors = _standard_errors(table)
    touched = {
        edge: pl.any_horizontal([pl.col(f"{edge}_{path}") for path in _EDGED]) for edge in ("floor", "top")
    }
    cells = table.group_by("cell", maintain_order=True).agg(
        pl.col(*KEYS).first(),
        pl.col("bandwidth_hz").last(),
        pl.when(_alike("bandwidth_hz") & _alike("scale"))
        .then(pl.col("scale").last())
        .otherwise(MIXED_SCALE)
        .alias("scale"),
        pl.col("mixed_bandwidth").any(),
        pl.col("pass").n_unique().alias("passes_seen"),
        pl.col("usable").sum().alias("passes"),
        pl.col("a_bypass").mean().alias("level_antenna_bypass"),
        pl.col("a_stage").mean().alias("level_antenna_stage"),
        *[
            pl.col(f"{source}_{route}").mean().alias(f"level_{source}_{route}")
            for source in ("load", "noise")
            for route in ROUTES
        ],
        *[pl.col(f"load_{route}_wander").mean() for route in ROUTES],
        *[pl.col(f"{source}_{route}_se").mean() for source in ("load", "noise") for route in ROUTES],
        pl.col("meter_reading_bypass").filter(pl.col("a_bypass").is_not_null()).mean(),
        pl.col("d").mean().alias("difference_db"),
        pl.col("y_bypass").mean().alias("noise_rise_db"),
        pl.col("y_stage").mean().alias("stage_noise_rise_db"),
        _power_mean("y_bypass").alias("power_rise_db"),
        _power_mean("y_stage").alias("stage_power_rise_db"),
        pl.col("c").mean().alias("carrier_gain_db"),
        pl.col("c").count().alias("carrier_passes"),
        pl.col("carrier_snr").mean().alias("carrier_snr_db"),
        pl.col("strongest").mean().alias("strongest_carrier_db"),
        pl.col("i_bypass").mean().alias("impulsiveness_db"),
        pl.col("i_stage").mean().alias("stage_impulsiveness_db"),
        *[pl.col(f"a_{route}").std().fill_null(0.0).alias(f"wander_{route}") for route in ROUTES],
        pl.col(
            "floor_antenna_bypass",
            "floor_antenna_stage",
            "floor_load_bypass",
            "top_antenna_bypass",
            "top_antenna_stage",
            "top_load_bypass",
        ).mean(),
        touched["floor"].sum().alias("floor_passes"),
        touched["top"].sum().alias("clipped_passes"),
        pl.col("stale").sum().alias("stale_passes"),
        pl.col("occupied").sum().alias("occupied_passes"),
        pl.col("absent").sum().alias("absent_passes"),
    )
    cells = cells.join(errors, on="cell", how="left", maintain_order="left")
    return _combined(cells, facts)


def _alike(column: str) -> pl.Expr:
    return pl.col(column).min() == pl.col(column).max()


_EDGED = ("antenna_bypass", "antenna_stage", "load_bypass", "load_stage")


def _power_mean(column: str) -> pl.Expr:
    return 10 * (10 ** (pl.col(column) / 10)).mean().log10()


def _standard_errors(table: pl.DataFrame) -> pl.DataFrame:
    """Standard error of the mean of each column over the passes of a cell, correlation allowed for.

    Variance within the hour is drawn toward that of the whole night (as if four more passes told of it), and
    widened by (1 + ρ)/(1 − ρ), ρ the lag-one correlation of the night's residuals, freed of the bias −1/n
    that taking out the hour's mean gives it.
    """
    cells, cell = np.unique(table["cell"].to_numpy(), return_inverse=True)
    order = np.argsort(cell, kind="stable")
    cell = cell[order]
    follows = cell[1:] == cell[:-1]
    _, evening = np.unique(cells // 24, return_inverse=True)

    def of_cells(values: Floats) -> Floats:
        return np.bincount(cell, values, len(cells)).astype(np.float64)

    def of_evening(values: Floats) -> Floats:
        return np.bincount(evening, values)[evening].astype(np.float64)

    errors = {}
    for name, untold_db in UNTOLD_SCATTER_DB.items():
        value = table[name].fill_null(float("nan")).to_numpy()[order]
        known = np.isfinite(value)
        n = of_cells(known.astype(np.float64))
        mean = of_cells(np.where(known, value, 0.0)) / np.maximum(n, 1)
        residual = np.where(known, value - mean[cell], 0.0)
        ss = of_cells(residual**2)
        lagged = of_cells(np.r_[0.0, np.where(follows, residual[1:] * residual[:-1], 0.0)])
        dof = np.maximum(n - 1, 0)
        told = of_evening(dof)
        guessed = np.maximum(1 - told / 10, 0)
        pooled = (of_evening(ss) + guessed * untold_db**2) / (told + guessed)
        variance = (ss + 4 * pooled) / (dof + 4)
        several = (n > 1).astype(np.float64)
        with np.errstate(
            invalid="ignore", divide="ignore"
        ):  # an evening that tells of no correlation has none
            rho = of_evening(lagged) / of_evening(ss) + of_evening(several) / of_evening(several * n)
            rho = np.where(np.isfinite(rho), np.clip(rho, 0, 0.9), 0.0)
            errors[f"{name}_se"] = np.sqrt(variance * np.minimum((1 + rho) / (1 - rho), n) / n)
    return pl.DataFrame({"cell": cells, **errors}).with_columns(pl.col(pl.Float64).fill_nan(None))


def _combined(cells: pl.DataFrame, facts: StationFacts) -> pl.DataFrame:
    """Quantities of a cell that come from several means: gains from powers, differences, bounds, resolution."""

    def root(*terms: pl.Expr) -> pl.Expr:
        return pl.sum_horizontal([term**2 for term in terms], ignore_nulls=False).sqrt()

    load_se = root(pl.col("load_bypass_se"), pl.col("load_stage_se"))
    cells = cells.with_columns(
        (pl.col("level_load_stage") - pl.col("level_load_bypass")).alias("load_difference_db"),
        load_se.alias("load_difference_se_db"),
        root(pl.col("y_bypass_se"), pl.col("load_bypass_se")).alias("noise_rise_se_db"),
        root(pl.col("y_stage_se"), pl.col("load_stage_se")).alias("stage_noise_rise_se_db"),
        (pl.col("level_noise_bypass") - pl.col("level_load_bypass")).alias("source_rise_bypass"),
        (pl.col("level_noise_stage") - pl.col("level_load_stage")).alias("source_rise_stage"),
        pl.col("d_se").alias("difference_se_db"),
        pl.col("c_se").alias("carrier_gain_se_db"),
        pl.col("a_bypass_se").alias("level_antenna_bypass_se_db"),
    )
    array = {
        name: cells[name].to_numpy().astype(np.float64)
        for name in cells.columns
        if cells[name].dtype.is_numeric()
    }
    load_gain, load_gain_se = gain_from_rises(
        array["load_difference_db"],
        array["power_rise_db"],
        array["stage_power_rise_db"],
        array["difference_se_db"],
        array["load_bypass_se"],
        array["load_stage_se"],
    )
    source_gain, source_gain_se = gain_from_rises(
        array["load_difference_db"],
        array["source_rise_bypass"],
        array["source_rise_stage"],
        np.hypot(array["noise_bypass_se"], array["noise_stage_se"]),
        array["load_bypass_se"],
        array["load_stage_se"],
    )
    step = facts.meter.step_db or 0.0
    widths, which = np.unique(array["bandwidth_hz"], return_inverse=True)
    scatter = np.array([_scatter_db(int(width), facts) for width in widths])[which]
    # a steady carrier hides the noise that would carry the level over the meter's steps
    scatter = np.where((cells["for"] == "noise").to_numpy(), scatter, 0.0)

    def left_by_step(wander: Floats) -> Floats:
        return resolution_db(step, np.sqrt(np.maximum(wander**2 - step**2 / 12, 0.0) + scatter**2))

    resolution = np.hypot(left_by_step(array["wander_bypass"]), left_by_step(array["wander_stage"]))
    load_left = {route: left_by_step(array[f"load_{route}_wander"]) for route in ROUTES}
    with np.errstate(invalid="ignore"):  # antenna and load on the same floor: infinite slope, no rounding
        slopes = [
            kept_share_slope(array["power_rise_db"]) * load_left["bypass"],
            kept_share_slope(array["stage_power_rise_db"]) * load_left["stage"],
        ]
    return cells.with_columns(
        pl.Series("load_gain_db", load_gain),
        pl.Series("load_gain_se_db", np.where(load_gain_se > USELESS_DB, USELESS_DB, load_gain_se)),
        pl.Series("source_gain_db", source_gain),
        pl.Series("source_gain_se_db", source_gain_se),
        pl.Series("resolution_db", resolution),
        pl.Series("load_resolution_db", np.hypot(load_left["bypass"], load_left["stage"])),
        pl.Series(
            "gain_resolution_db",
            np.fmin(np.sqrt(resolution**2 + slopes[0] ** 2 + slopes[1] ** 2), USELESS_DB),
        ),
        # a load stands still, so its rounding stays whatever the number of passes
        pl.Series(
            "load_difference_se_db",
            np.sqrt(array["load_difference_se_db"] ** 2 + load_left["bypass"] ** 2 + load_left["stage"] ** 2),
        ),
        pl.Series("noise_rise_se_db", np.hypot(array["noise_rise_se_db"], load_left["bypass"])),
        pl.Series("stage_noise_rise_se_db", np.hypot(array["stage_noise_rise_se_db"], load_left["stage"])),
        _bound(
            ("floor_antenna_bypass", "top_antenna_stage"), ("floor_antenna_stage", "top_antenna_bypass")
        ).alias("difference_bound"),
        _bound(
            ("floor_load_bypass", "top_antenna_bypass"), ("floor_antenna_bypass", "top_load_bypass")
        ).alias("noise_rise_bound"),
        pl.concat_str(
            pl.when(pl.col("mixed_bandwidth")).then(pl.lit("mixed-bandwidth")).otherwise(pl.lit("")),
            pl.lit("unknown-scale" if facts.meter.unit == "raw" and not facts.meter.calibrated else ""),
            separator=" ",
        )
        .str.strip_chars()
        .alias("flags"),
        pl.lit(facts.meter.step_db, dtype=pl.Float64).alias("step_db"),
    )


def _scatter_db(bandwidth_hz: int, facts: StationFacts) -> float:
    averaging_s = facts.meter.averaging_s
    return spread_db(shape_of(bandwidth_hz, averaging_s)) if averaging_s is not None else 0.0


def _bound(at_least: tuple[str, ...], at_most: tuple[str, ...]) -> pl.Expr:
    """Which way the truth lies when more than a tenth of the passes sat on the meter's floor or top."""
    low = pl.any_horizontal([pl.col(name) > 0.1 for name in at_least])
    high = pl.any_horizontal([pl.col(name) > 0.1 for name in at_most])
    word = pl.when(low & high).then(pl.lit("unknown")).when(low).then(pl.lit("at least"))
    return word.when(high).then(pl.lit("at most")).otherwise(pl.lit(""))
