"""Noise from outside by night, hour and band: what a fix, a household or a season may have moved.

From nightly rows to levels. The load, heard through the same receiver at the same time, does two things: it takes out
what the meter did by itself, and it lets the receiver's own noise be taken off (ITU-R SM.1753-2, §10.2).
"""

from collections.abc import Iterable

import polars as pl

from sweeper.analysis.band.nightly import SCALES
from sweeper.analysis.thresholds import LIFTED_DB, RISE_FOR_OUTSIDE_NOISE_DB, SMALLEST_OUTSIDE_NOISE_DB


def noise_levels(nights: pl.DataFrame, overloaded: Iterable[tuple[str, int]] = ()) -> pl.DataFrame:
    """Rows (night, hour_utc, band) with `level`, dB above a zero of the band's own, good for differences.

    Where there is a load: external noise alone, through the route (bypass or stage) in which it stands higher above
    the load. Elsewhere: the meter's level in bypass. `controlled`: the load was there. `external`: the receiver's own
    noise is taken off. `drift_db`: the load's level that night against its mean.

    On the meter's floor nothing is read off: bypass does not count where the antenna lay there in it (so that the night
    is out unless the stage lifts noise off it), nor does the load where it lay there itself. `rise_bound` tells which.

    `overloaded` names hours as (band, hour_utc) in which the stage adds products of its own: those are no noise from
    outside, so bypass is taken there, laid on the same zero as the band's other hours; where bypass hears too little,
    the hour is out.

    `bandwidth_hz` and `scale` are those of `nightly` where they matter: without a load (0 with one) noise in another
    bandwidth, or through another calibration, is another level, and says nothing of a change.
    """
    hit = pl.DataFrame(
        list(overloaded), schema={"band": pl.String, "hour_utc": pl.Int64}, orient="row"
    ).unique()
    hit = hit.with_columns(pl.lit(True).alias("hit"))
    nights = nights.join(hit, on=("band", "hour_utc"), how="left", maintain_order="left")
    rows = _by_route(_off_the_floor(nights.filter(pl.col("passes") > 0)))
    usual_rise = pl.col("rise").median().over("band", "hour_utc")
    excess = _excess(pl.col("rise")) + pl.col("zero")
    plain = pl.col("level_antenna_bypass") - pl.col("drift_db").fill_null(0.0)
    heard_in_bypass = (pl.col("hit").is_null() | ~pl.col("staged")) & plain.is_not_null()
    return (
        rows.with_columns(
            (usual_rise >= RISE_FOR_OUTSIDE_NOISE_DB).fill_null(False).alias("external"),
            excess.clip(lower_bound=SMALLEST_OUTSIDE_NOISE_DB).alias("excess"),
        )
        .filter(pl.when("external").then(pl.col("excess").is_not_null()).otherwise(heard_in_bypass))
        .select(
            "night",
            "hour_utc",
            "band",
            pl.when("external").then("excess").otherwise(plain).alias("level"),
            "drift_db",
            pl.col("drift_db").is_not_null().alias("controlled"),
            "external",
            (pl.col("night").dt.weekday() >= 6).alias("weekend"),
            *(pl.when("external").then(0.0).otherwise(pl.col(name)).alias(name) for name in SCALES),
        )
    )


def _off_the_floor(nights: pl.DataFrame) -> pl.DataFrame:
    """Null wherever the meter stood on its floor: antenna and load in bypass, and rises that would rest on them."""
    antenna_floored = pl.col("rise_bound").str.contains("at most|unknown")
    load_floored = pl.col("rise_bound").str.contains("at least|unknown")
    lifted = pl.col("level_load_stage") > pl.col("level_load_bypass") + LIFTED_DB
    return nights.filter(pl.col("level_antenna_bypass").is_not_null()).with_columns(
        pl.when(~antenna_floored).then("level_antenna_bypass"),
        pl.when(~load_floored).then("level_load_bypass"),
        pl.when(pl.col("rise_bound") == "").then("noise_rise_db"),
        pl.when((pl.col("rise_bound") == "") | lifted).then("stage_noise_rise_db"),
    )


def _by_route(rows: pl.DataFrame) -> pl.DataFrame:
    """Rows with `rise` through the better route, `zero` where it is not the band's usual one, and `drift_db`."""
    load, bypass, stage = pl.col("level_load_bypass"), pl.col("noise_rise_db"), pl.col("stage_noise_rise_db")
    clean = pl.col("hit").is_null()
    usual_bypass = bypass.filter(clean).median().fill_null(float("-inf"))
    return rows.with_columns(
        (stage.filter(clean).median() > usual_bypass + 1.0).over("band").fill_null(False).alias("staged"),
        (load - load.mean().over("band", "hour_utc", *SCALES)).alias("moved"),
    ).with_columns(
        pl.when(clean & pl.col("staged")).then(stage).otherwise(bypass).alias("rise"),
        # what a level read through the stage stands higher than the same read in bypass
        pl.when(~clean & pl.col("staged"))
        .then((_excess(stage) - _excess(bypass)).filter(clean).median().over("band"))
        .otherwise(0.0)
        .alias("zero"),
        pl.col("moved").mean().over("night").alias("drift_db"),
    )


def on_one_scale(levels: pl.DataFrame) -> pl.DataFrame:
    """Levels with what differs from one bandwidth or scale to another taken out, along with any change between them."""
    place = ("band", "hour_utc")
    if levels.select("band", *SCALES).unique()["band"].is_unique().all():
        return levels
    level = pl.col("level")
    return levels.with_columns(level - level.mean().over(*place, *SCALES) + level.mean().over(*place))


def _excess(rise: pl.Expr) -> pl.Expr:
    """Noise from outside over that of the load, dB, from how far the antenna stands above the load."""
    return 10.0 * ((10.0 ** (rise / 10.0)) - 1.0).clip(lower_bound=1e-3).log10()
