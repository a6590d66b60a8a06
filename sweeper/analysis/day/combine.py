"""Quantities of an hour that come from several of its means: gains from powers, differences, bounds, resolution."""

import numpy as np
import polars as pl
from numpy.typing import NDArray

from sweeper.analysis.arrays import Floats
from sweeper.analysis.facts import MeterFacts, StationFacts
from sweeper.analysis.physics.friis import gain_from_rises, kept_share_slope
from sweeper.analysis.physics.radiometer import resolution_db, shape_of, spread_db
from sweeper.analysis.thresholds import TOUCHED_SHARE, USELESS_DB

ROUTES = ("bypass", "stage")


def combined(cells: pl.DataFrame, facts: StationFacts) -> pl.DataFrame:
    """The cells (a row per night, hour and channel) with all that `day.columns` names beyond their means."""
    cells = _with_differences(cells)
    array = {
        name: cells[name].to_numpy().astype(np.float64)
        for name in cells.columns
        if cells[name].dtype.is_numeric()
    }
    return cells.with_columns(
        *_gains(array),
        *_resolutions(array, (cells["for"] == "noise").to_numpy(), facts),
        _bound(
            ("floor_antenna_bypass", "top_antenna_stage"), ("floor_antenna_stage", "top_antenna_bypass")
        ).alias("difference_bound"),
        _bound(
            ("floor_load_bypass", "top_antenna_bypass"), ("floor_antenna_bypass", "top_load_bypass")
        ).alias("noise_rise_bound"),
        pl.concat_str(
            pl.when(pl.col("mixed_bandwidth")).then(pl.lit("mixed-bandwidth")).otherwise(pl.lit("")),
            pl.lit("unknown-scale" if _scale_unknown(facts.meter) else ""),
            separator=" ",
        )
        .str.strip_chars()
        .alias("flags"),
        pl.lit(facts.meter.step_db, dtype=pl.Float64).alias("step_db"),
    )


def _with_differences(cells: pl.DataFrame) -> pl.DataFrame:
    def root(*terms: str) -> pl.Expr:
        return pl.sum_horizontal([pl.col(term) ** 2 for term in terms], ignore_nulls=False).sqrt()

    return cells.with_columns(
        (pl.col("level_load_stage") - pl.col("level_load_bypass")).alias("load_difference_db"),
        root("load_bypass_se", "load_stage_se").alias("load_difference_se_db"),
        root("usable_rise_bypass_se", "load_bypass_se").alias("noise_rise_se_db"),
        root("usable_rise_stage_se", "load_stage_se").alias("stage_noise_rise_se_db"),
        (pl.col("level_noise_bypass") - pl.col("level_load_bypass")).alias("source_rise_bypass"),
        (pl.col("level_noise_stage") - pl.col("level_load_stage")).alias("source_rise_stage"),
        pl.col("usable_difference_se").alias("difference_se_db"),
        pl.col("usable_carrier_gain_se").alias("carrier_gain_se_db"),
        pl.col("usable_edge_gain_se").alias("edge_gain_se_db"),
        pl.col("usable_edge_lag_se").alias("edge_lag_se_db"),
        pl.col("usable_antenna_bypass_se").alias("level_antenna_bypass_se_db"),
    )


def _gains(array: dict[str, Floats]) -> list[pl.Series]:
    """Gain by the powers of antenna and load, and by those of noise source and load, with their errors."""
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
    return [
        pl.Series("load_gain_db", load_gain),
        pl.Series("load_gain_se_db", np.where(load_gain_se > USELESS_DB, USELESS_DB, load_gain_se)),
        pl.Series("source_gain_db", source_gain),
        pl.Series("source_gain_se_db", source_gain_se),
    ]


def _resolutions(
    array: dict[str, Floats], of_noise: NDArray[np.bool_], facts: StationFacts
) -> list[pl.Series]:
    """What the meter's step leaves in each quantity; a load stands still, so it stays whatever the number of passes."""
    step = facts.meter.step_db or 0.0
    widths, which = np.unique(array["bandwidth_hz"], return_inverse=True)
    scatter = np.array([_scatter_db(int(width), facts) for width in widths])[which]
    # a steady carrier hides the noise that would carry the level over the meter's steps
    scatter = np.where(of_noise, scatter, 0.0)

    def left_by_step(wander: Floats) -> Floats:
        return resolution_db(step, np.sqrt(np.maximum(wander**2 - step**2 / 12, 0.0) + scatter**2))

    resolution = np.hypot(left_by_step(array["wander_bypass"]), left_by_step(array["wander_stage"]))
    load_left = {route: left_by_step(array[f"load_{route}_wander"]) for route in ROUTES}
    with np.errstate(invalid="ignore"):  # antenna and load on the same floor: infinite slope, no rounding
        slopes = [
            kept_share_slope(array["power_rise_db"]) * load_left["bypass"],
            kept_share_slope(array["stage_power_rise_db"]) * load_left["stage"],
        ]
    of_gain = np.sqrt(resolution**2 + slopes[0] ** 2 + slopes[1] ** 2)
    of_load = np.hypot(load_left["bypass"], load_left["stage"])
    return [
        pl.Series("resolution_db", resolution),
        pl.Series("gain_resolution_db", np.fmin(of_gain, USELESS_DB)),
        pl.Series("load_resolution_db", of_load),
        pl.Series("load_difference_se_db", np.hypot(array["load_difference_se_db"], of_load)),
        pl.Series("noise_rise_se_db", np.hypot(array["noise_rise_se_db"], load_left["bypass"])),
        pl.Series("stage_noise_rise_se_db", np.hypot(array["stage_noise_rise_se_db"], load_left["stage"])),
    ]


def _scale_unknown(meter: MeterFacts) -> bool:
    return meter.unit == "raw" and not meter.calibrated and not meter.linear


def _scatter_db(bandwidth_hz: int, facts: StationFacts) -> float:
    averaging_s = facts.meter.averaging_s
    return spread_db(shape_of(bandwidth_hz, averaging_s)) if averaging_s is not None else 0.0


def _bound(at_least: tuple[str, ...], at_most: tuple[str, ...]) -> pl.Expr:
    """Which way the truth lies when too many passes sat on the meter's floor or top."""
    low = pl.any_horizontal([pl.col(name) > TOUCHED_SHARE for name in at_least])
    high = pl.any_horizontal([pl.col(name) > TOUCHED_SHARE for name in at_most])
    word = pl.when(low & high).then(pl.lit("unknown")).when(low).then(pl.lit("at least"))
    return word.when(high).then(pl.lit("at most")).otherwise(pl.lit(""))
