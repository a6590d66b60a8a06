"""The channels of a band put together: one row for each night, hour and band, which is what verdicts are made from.

From summaries (a row for each channel) to nights. Averages only; no gain, no intervals, no verdicts.
"""

import polars as pl

MEANS = (
    "level_antenna_bypass",
    "level_antenna_stage",
    "level_load_bypass",
    "level_load_stage",
    "difference_db",
    "noise_rise_db",
    "stage_noise_rise_db",
    "load_difference_db",
    "resolution_db",
)
ERRORS = ("level_antenna_bypass_se_db", "difference_se_db", "noise_rise_se_db", "stage_noise_rise_se_db")
TEXTS = {"difference_bound": "bound", "noise_rise_bound": "rise_bound", "flags": "flags"}
SCALES = ("bandwidth_hz", "scale")
"""Means over channels: no bandwidth and no scale, but nights on which they differ were measured differently."""
COUNTS = ("floor_passes", "clipped_passes", "stale_passes", "occupied_passes")


def measured_alike(rows: pl.DataFrame) -> pl.DataFrame:
    """Rows of each band whose levels can be averaged: on the present scale, if any are, and of its usual bandwidth."""
    if all(rows[name].n_unique() <= 1 for name in SCALES):
        return rows
    present = pl.col("scale") == 0
    rows = rows.filter(present | ~present.any().over("band"))
    return rows.filter(pl.col("bandwidth_hz") == pl.col("bandwidth_hz").mode().max().over("band"))


def nightly(summaries: pl.DataFrame) -> pl.DataFrame:
    """Rows (night, hour_utc, band) of the noise channels, those with a usable pair of passes, averaged by passes.

    Columns: `MEANS` and `ERRORS` in dB (errors as of independent channels), `COUNTS` summed, `passes` the most of any
    channel, `bound` ``""``, ``at least`` or ``at most`` for the difference, `flags` all words of all channels.
    """
    usable = pl.col("passes") > 0
    weight = pl.when(usable).then(pl.col("passes")).cast(pl.Float64)

    def mean(name: str) -> pl.Expr:
        there = weight * pl.col(name).is_not_null()
        total = (there * pl.col(name)).sum() / there.sum()
        return pl.when(there.sum() > 0).then(total).alias(name)

    def error(name: str) -> pl.Expr:
        there = weight * pl.col(name).is_not_null()
        total = ((there * pl.col(name)) ** 2).sum().sqrt() / there.sum()
        return pl.when(there.sum() > 0).then(total).alias(name)

    keys = ("night", "hour_utc", "band")
    rows = (
        summaries.lazy()
        .filter(pl.col("for") == "noise")
        .select(*keys, *MEANS, *ERRORS, *COUNTS, *TEXTS, *SCALES, "passes", "passes_seen")
        .collect()
    )
    found = rows.group_by(keys, maintain_order=True).agg(
        *(mean(name) for name in MEANS),
        *(error(name) for name in ERRORS),
        *(pl.col(name).sum() for name in COUNTS),
        pl.col("passes").max(),
        pl.col("passes_seen").max(),
        usable.sum().alias("channels"),
        *(pl.col(name).filter(usable).mean() for name in SCALES),
    )
    for name, alias in TEXTS.items():  # by themselves, since hardly any row says anything
        said = rows.filter((pl.col(name) != "") & (usable if name.endswith("bound") else True))
        words = said.group_by(keys).agg(pl.col(name).unique().sort().str.join(" ").alias(alias))
        found = found.join(words, on=keys, how="left").with_columns(pl.col(alias).fill_null(""))
    return found.sort("band", "hour_utc", "night")
