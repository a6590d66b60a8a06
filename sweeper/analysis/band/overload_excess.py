"""By how much noise rises more than gain and load readings foretell, hour by hour: what overload looks like.

From the summaries of one band to a table of hours. Which fault it is, and what to say of it, do not belong here.
"""

from collections.abc import Mapping

import numpy as np
import polars as pl

from sweeper.analysis.arrays import Floats
from sweeper.analysis.band.gain import weighted
from sweeper.analysis.band.gain_methods import TELLING_OF_LOAD, GainEstimate, GainMethods
from sweeper.analysis.physics.friis import outside_with_stage_lin
from sweeper.analysis.thresholds import EXCESS_DB, EXCESS_SE, MOST_OF_A_NIGHT

HOURS = {
    "hour_utc": pl.Int64(),
    "excess_db": pl.Float64(),
    "excess_se_db": pl.Float64(),
    "strongest_db": pl.Float64(),
    "overload": pl.Boolean(),
}
"""What is found of each hour, by column."""
EXCESS = ("difference_se_db", "load_difference_se_db", "resolution_db", "strongest_carrier_db")


def excess_by_hour(methods: GainMethods) -> pl.DataFrame:
    """By how much noise with the stage in stands above what gain and load readings leave to be expected."""
    rows = (
        methods.noise.lazy()
        .filter(pl.col("difference_bound").is_in(["", "at least"]))
        .drop_nulls(["power_rise_db", "stage_power_rise_db", "load_difference_db", "difference_se_db"])
        .select(*TELLING_OF_LOAD, *EXCESS)
        .with_columns(
            ((pl.col("noise_rise_bound") != "") | (pl.col("difference_bound") != "")).alias("floored")
        )
        .filter(~pl.col("floored") | pl.col("floored").all().over("hour_utc"))
        .collect()
    )
    hours = pl.DataFrame(schema=HOURS)
    if rows.is_empty():
        return hours
    suspect: list[int] = []
    for _ in range(3):  # strong signals also press the gain down: look again without the hours found
        clean = pl.col("hour_utc").is_in(suspect).not_()
        steady = GainMethods(methods.summaries.filter(clean)) if suspect else methods
        reference_db, reference_se = _reference(steady, rows.filter(clean) if suspect else rows)
        if not np.isfinite(reference_db):
            return hours
        hours = _hours_of(rows, reference_db, reference_se, methods.offsets_db)
        found = hours.filter(pl.col("overload"))["hour_utc"].to_list()
        if found == suspect:
            break
        suspect = found
    return hours


def _hours_of(
    rows: pl.DataFrame, reference_db: float, reference_se: float, offsets_db: Mapping[int, float]
) -> pl.DataFrame:
    """Each hour's excess over what the reference gain foretells, its error, and whether that is overload.

    Powers of all nights are added, not decibels averaged: products come and go with the carriers that make them, and
    a mean weighted by how steady each night was would believe the nights without them. The error is that of what is
    expected, upward: where antenna and load are alike, its logarithm has no bottom, but its power has.
    """
    gain_db = np.full(rows.height, reference_db)
    if offsets_db:
        gain_db += [offsets_db.get(hz, 0.0) for hz in rows["hz"].to_list()]
    seen, expected, by_gain, error = _powers_of(rows, gain_db)
    at, place = np.unique(rows["hour_utc"].to_numpy(), return_inverse=True)

    def total(of_rows: Floats) -> Floats:
        return np.bincount(place, of_rows).astype(np.float64)

    excess_db = 10 * np.log10(total(seen) / total(expected))
    # products come and go from night to night, so scatter in their hours is no error: that of the quieter half is
    quiet = (excess_db <= np.median(excess_db))[place]
    beyond = ((seen - expected) / error)[quiet]
    honest = max(1.0, float(np.sqrt(np.mean(np.minimum((beyond - np.median(beyond)) ** 2, 9.0)))))
    more = np.hypot(
        EXCESS_SE * honest * np.sqrt(total(error**2)),
        total(by_gain) * (10 ** (EXCESS_SE * reference_se / 10) - 1),
    )
    se_db = 10 * np.log10(1 + more / total(expected)) / EXCESS_SE
    return pl.DataFrame(
        {
            "hour_utc": at,
            "excess_db": excess_db,
            "excess_se_db": se_db,
            "strongest_db": total(rows["strongest_carrier_db"].to_numpy()) / np.bincount(place),
            "overload": (excess_db > EXCESS_DB) & (excess_db > EXCESS_SE * se_db),
        }
    )


def _powers_of(rows: pl.DataFrame, gain_db: Floats) -> tuple[Floats, Floats, Floats, Floats]:
    """Power with the stage in as seen and as expected, the part of the latter that goes with the gain, and its error.

    Over that of the load in the same route (`friis.outside_with_stage_lin`), whatever the noise figures are. Where
    bypass lies on the meter's floor the load may be anything below it, and all that the antenna shows may be outside.
    """
    rise_lin = np.maximum(10 ** (rows["power_rise_db"].to_numpy() / 10), 1.0)
    outside_lin = np.where(rows["floored"].to_numpy(), rise_lin, rise_lin - 1)
    load_difference_db = rows["load_difference_db"].to_numpy()
    by_gain = outside_with_stage_lin(outside_lin, gain_db, load_difference_db)
    at_most = outside_with_stage_lin(rise_lin, gain_db, load_difference_db)
    expected: Floats = 1 + by_gain
    seen: Floats = np.minimum(10 ** (rows["stage_power_rise_db"].to_numpy() / 10), MOST_OF_A_NIGHT * expected)
    measured = [
        rows[name].to_numpy() for name in ("difference_se_db", "load_difference_se_db", "resolution_db")
    ]
    error_db = np.maximum(np.sqrt(np.square(measured).sum(axis=0)), 0.05)
    error: Floats = np.log(10) / 10 * error_db * np.maximum(expected, at_most)
    return seen, expected, by_gain, error


def mean_and_error(value: Floats, error: Floats) -> tuple[float, float]:
    """Mean weighted by 1/error² and the standard error that follows."""
    weight = 1 / np.maximum(error, 0.05) ** 2
    return float(weight @ value / weight.sum()), float(np.sqrt(1 / weight.sum()))


def _reference(methods: GainMethods, rows: pl.DataFrame) -> tuple[float, float]:
    """A gain that intermodulation does not raise, dB, with its standard error; NaN where there is none.

    That of carriers or of the source; that of noise in the hours in which it rises least for what comes in, since
    products only ever add; both where they agree.
    """
    steady = [part for part in (methods.carriers, methods.source) if part is not None]
    known = weighted(tuple(steady)) if steady else None
    quiet = _quietest_hours(rows)
    if quiet is not None and (
        known is None or abs(quiet.gain_db - known.gain_db) < 2.5 * np.hypot(known.se_db, quiet.se_db)
    ):
        steady.append(quiet)
    if not steady:
        return float("nan"), float("nan")
    together = weighted(tuple(steady))
    return together.gain_db, together.se_db


def _quietest_hours(rows: pl.DataFrame) -> GainEstimate | None:
    """Gain by the load in the third of the hours in which it comes out lowest; None with a single hour."""
    level = (
        GainMethods(rows)
        .telling_of_load.group_by("hour_utc", maintain_order=True)
        .agg(((pl.col("load_gain_db") * pl.col("weight")).sum() / pl.col("weight").sum()).alias("gain"))
    )
    if level.height < 2:
        return None
    lowest = level.sort("gain").head(max(level.height // 3, 1))["hour_utc"].to_list()
    return GainMethods(rows.filter(pl.col("hour_utc").is_in(lowest))).load
