"""By how much noise rises more than gain and load readings foretell, hour by hour: what overload looks like.

From the summaries of one band to a table of hours. Which fault it is, and what to say of it, do not belong here.
"""

from collections.abc import Mapping
from typing import TYPE_CHECKING

import numpy as np

from sweeper.analysis.gain import weighted
from sweeper.analysis.gain_ways import TELLING_OF_LOAD, GainPart, Ways
from sweeper.analysis.levels import Floats

if TYPE_CHECKING:
    import polars as pl

EXCESS_DB = 0.7
"""Noise that rises this much more than carriers do matters; less would not change a verdict of 1 dB."""
SURE = 3.3
"""Standard errors by which it must do so (one in 2000 by chance, for one of some twenty hours)."""


EXCESS = ("difference_se_db", "load_difference_se_db", "resolution_db", "strongest_carrier_db")


def excess_by_hour(ways: Ways) -> "pl.DataFrame":
    """By how much noise with the stage in stands above what gain and load readings leave to be expected."""
    import polars as pl

    columns = {
        "hour_utc": pl.Int64,
        "excess_db": pl.Float64,
        "excess_se_db": pl.Float64,
        "strongest_db": pl.Float64,
        "overload": pl.Boolean,
    }
    rows = (
        ways.noise.lazy()
        .filter((pl.col("noise_rise_bound") == "") & (pl.col("difference_bound") == ""))
        .drop_nulls(["power_rise_db", "stage_power_rise_db", "load_difference_db", "difference_se_db"])
        .select(*TELLING_OF_LOAD, *EXCESS)
        .collect()
    )
    hours = pl.DataFrame(schema=columns)
    if rows.is_empty():
        return hours
    suspect: list[int] = []
    for _ in range(3):  # strong signals also press the gain down: look again without the hours found
        clean = pl.col("hour_utc").is_in(suspect).not_()
        steady = Ways(ways.summaries.filter(clean)) if suspect else ways
        reference_db, reference_se = _reference(steady, rows.filter(clean) if suspect else rows)
        if not np.isfinite(reference_db):
            return hours
        hours = _hours_of(rows, reference_db, reference_se, ways.offsets_db)
        found = hours.filter(pl.col("overload"))["hour_utc"].to_list()
        if found == suspect:
            break
        suspect = found
    return hours


def _hours_of(
    rows: "pl.DataFrame", reference_db: float, reference_se: float, offsets_db: Mapping[int, float]
) -> "pl.DataFrame":
    """Each hour's excess over what the reference gain foretells, its error, and whether that is overload."""
    import polars as pl

    gain_db = np.full(rows.height, reference_db)
    if offsets_db:
        gain_db += [offsets_db.get(hz, 0.0) for hz in rows["hz"].to_list()]
    excess, error, share = _excess_of(rows, gain_db)
    hour, strongest = rows["hour_utc"].to_numpy(), rows["strongest_carrier_db"].to_numpy()
    at = np.unique(hour)
    mean = np.array([mean_and_error(excess[hour == h], error[hour == h]) for h in at])
    # products come and go from night to night, so scatter in their hours is no error: that of the quieter half is
    quiet = np.isin(hour, at[mean[:, 0] <= np.median(mean[:, 0])])
    beyond = (excess[quiet] - np.median(excess[quiet])) / error[quiet]
    honest = max(1.0, float(np.sqrt(np.mean(np.minimum(beyond**2, 9.0)))))
    se = np.hypot(honest * mean[:, 1], np.array([share[hour == h].mean() for h in at]) * reference_se)
    return pl.DataFrame(
        {
            "hour_utc": at,
            "excess_db": mean[:, 0],
            "excess_se_db": se,
            "strongest_db": np.array([strongest[hour == h].mean() for h in at]),
            "overload": (mean[:, 0] > EXCESS_DB) & (mean[:, 0] > SURE * se),
        }
    )


def _excess_of(rows: "pl.DataFrame", gain_db: Floats) -> tuple[Floats, Floats, Floats]:
    """Excess of each row in dB, its standard error, and how much of it an error of the gain would make.

    With the gain g and the load difference d, antenna noise y in bypass (load = 1) comes to 1 + (y − 1)·g/d
    with the stage in, whatever the noise figures are.
    """
    seen = rows["stage_power_rise_db"].to_numpy()
    over = np.maximum(10 ** (rows["power_rise_db"].to_numpy() / 10) - 1, 0.0)
    lifted = 10 ** ((gain_db - rows["load_difference_db"].to_numpy()) / 10)
    expected = 1 + lifted * over
    slope = lifted * (1 + over) / expected
    load_se = rows["load_difference_se_db"].to_numpy()
    coarse = rows["resolution_db"].to_numpy()
    error: Floats = np.sqrt(
        (np.maximum(1.0, slope) * rows["difference_se_db"].to_numpy()) ** 2
        + (np.maximum(1.0, slope) * load_se) ** 2
        + (np.maximum(1.0, slope) * coarse) ** 2
    )
    excess: Floats = seen - 10 * np.log10(expected)
    return excess, error, lifted * over / expected


def mean_and_error(value: Floats, error: Floats) -> tuple[float, float]:
    """Mean weighted by 1/error² and the standard error that follows."""
    weight = 1 / np.maximum(error, 0.05) ** 2
    return float(weight @ value / weight.sum()), float(np.sqrt(1 / weight.sum()))


def _reference(ways: Ways, rows: "pl.DataFrame") -> tuple[float, float]:
    """A gain that intermodulation does not raise, dB, with its standard error; NaN where there is none.

    That of carriers or of the source; that of noise in the hours in which it rises least for what comes in, since
    products only ever add; both where they agree.
    """
    steady = [part for part in (ways.carriers, ways.source) if part is not None]
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


def _quietest_hours(rows: "pl.DataFrame") -> GainPart | None:
    """Gain by the load in the third of the hours in which it comes out lowest; None with a single hour."""
    import polars as pl

    level = (
        Ways(rows)
        .telling_of_load.group_by("hour_utc", maintain_order=True)
        .agg(((pl.col("load_gain_db") * pl.col("weight")).sum() / pl.col("weight").sum()).alias("gain"))
    )
    if level.height < 2:
        return None
    lowest = level.sort("gain").head(max(level.height // 3, 1))["hour_utc"].to_list()
    return Ways(rows.filter(pl.col("hour_utc").is_in(lowest))).load
