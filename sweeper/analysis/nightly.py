"""The channels of a band put together: one row for each night, hour and band, which is what verdicts are made from.

From summaries (a row for each channel) to nights. Averages only; no gain, no intervals, no verdicts.
"""

from typing import TYPE_CHECKING

if TYPE_CHECKING:
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
COUNTS = ("floor_passes", "clipped_passes", "stale_passes", "occupied_passes")


def nightly(summaries: "pl.DataFrame") -> "pl.DataFrame":
    """Rows (night, hour_utc, band) of the noise channels, those with a usable pair of passes, averaged by passes.

    Columns: `MEANS` and `ERRORS` in dB (errors as of independent channels), `COUNTS` summed, `passes` the most of any
    channel, `bound` ``""``, ``at least`` or ``at most`` for the difference, `flags` all words of all channels.
    """
    import polars as pl

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

    def words(expression: pl.Expr) -> pl.Expr:
        return expression.filter(expression != "").unique().sort().str.join(" ")

    return (
        summaries.filter(pl.col("for") == "noise")
        .group_by("night", "hour_utc", "band", maintain_order=True)
        .agg(
            *(mean(name) for name in MEANS),
            *(error(name) for name in ERRORS),
            *(pl.col(name).sum() for name in COUNTS),
            pl.col("passes").max(),
            pl.col("passes_seen").max(),
            usable.sum().alias("channels"),
            words(pl.col("difference_bound").filter(usable)).alias("bound"),
            words(pl.col("noise_rise_bound").filter(usable)).alias("rise_bound"),
            words(pl.col("flags")).alias("flags"),
        )
        .sort("band", "hour_utc", "night")
    )
