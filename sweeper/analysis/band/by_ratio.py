"""Nights of which only the S/N change is known: the receiver's gain control moved all levels, and no ratio.

The gain of a ratio is the S/N change itself. So such a night has the row that `nightly` makes of noise channels, with
a difference that is the S/N change turned round, and its band a gain of nothing: what hours and nights come to is then
computed as ever. Gain and change of noise themselves are not known.
"""

import polars as pl

from sweeper.analysis.band.gain import Gain
from sweeper.analysis.band.gain_methods import heard, told
from sweeper.analysis.band.noise_figure import NoiseFigures
from sweeper.analysis.band.overload import Diagnosis
from sweeper.analysis.band.overload_excess import HOURS
from sweeper.analysis.day.columns import BESIDE_LEVELS

NOT_HELD = "gain-not-held"
"""The flag of a band that goes by ratio."""
SENTENCE = (
    "The receiver's gain control was not known to be off, so this rests on signals against the noise beside them, and "
    "neither the stage's gain nor the noise itself is told."
)
BY_RATIO = Gain(0.0, 1e-6, 1e6, "ratio", (), (NOT_HELD,), (SENTENCE,))
"""What stands for the gain of such a band; it is shown to nobody."""
UNDIAGNOSED = Diagnosis(pl.DataFrame(schema=HOURS), (), ())
NO_FIGURES = NoiseFigures(None, None, None, float("nan"), "")
"""Without levels neither faults of the chain nor noise figures can be told."""


def bands_by_ratio(summaries: pl.DataFrame) -> frozenset[str]:
    """The bands of which ratios alone tell more nights than levels do."""
    alone = _has_ratio() & (pl.col("flags") != BESIDE_LEVELS)
    telling = ((pl.col("for") == "noise") & (pl.col("passes") > 0)) | alone
    nights = (
        summaries.lazy()
        .filter(telling)
        .select("band", "for", "night")
        .collect()
        .group_by("band", pl.col("for") == "ratio")
        .agg(pl.col("night").n_unique().alias("nights"))
        .sort("nights", "for")
        .group_by("band", maintain_order=True)
        .agg(pl.col("for").last())
    )
    return frozenset(nights.filter("for")["band"].to_list())


def as_noise(summaries: pl.DataFrame, bands: frozenset[str]) -> pl.DataFrame:
    """The ratios of these bands as if they were noise channels; by edges or by visits, whichever tell a band more."""
    parts = [_as_noise(summaries.filter((pl.col("band") == band) & _has_ratio())) for band in sorted(bands)]
    return pl.concat([summaries.clear(), *parts], how="diagonal")


def _as_noise(rows: pl.DataFrame) -> pl.DataFrame:
    ways = {by: heard(rows, by, "ratio") for by in ("edge", "carrier")}
    by = max(ways, key=lambda way: told(ways[way], way))
    return ways[by].select(
        "night", "hour_utc", "band", "hz", "bandwidth_hz", "scale", "passes_seen", "clipped_passes", "stale_passes",
        pl.lit("noise").alias("for"),
        pl.col(f"{by}_passes").alias("passes"),
        (-pl.col(f"{by}_gain_db")).alias("difference_db"),
        pl.col(f"{by}_gain_se_db").alias("difference_se_db"),
        pl.lit(0.0).alias("resolution_db"),
        *(pl.lit("").alias(name) for name in ("difference_bound", "noise_rise_bound")),
        pl.lit(NOT_HELD).alias("flags"),
    )  # fmt: skip


def _has_ratio() -> pl.Expr:
    return (pl.col("for") == "ratio") & pl.any_horizontal(
        pl.col(f"{by}_gain_db").is_not_null() for by in ("edge", "carrier")
    )
