"""Ratios formed again from levels: carriers over the noise that stood in the same spectrum.

All rows of a spectrum share their time, and so the receiver's gain at that time. A ratio of two of them holds whatever
that gain was, where a level holds only if it stayed as it was.
"""

import polars as pl

SPECTRUM = ("pass", "band", "source", "route", "time")


def ratios_beside(levels: pl.DataFrame) -> pl.DataFrame:
    """The `levels` of carriers (rows of the readings table) as rows of purpose ``ratio``: each over the median of the
    noise cells of its own spectrum, in the carrier's bandwidth, dB. None for what clipped or lies on a floor.
    """
    told = levels.filter(
        (pl.col("source") == "antenna") & ~pl.col("flags").str.contains("clipped|floor|stale")
    )
    carriers = told.filter(pl.col("for") == "carrier")
    if carriers.is_empty():
        return carriers
    under = (
        told.filter(pl.col("for") == "noise")
        .group_by(SPECTRUM)
        .agg((pl.col("reading") - 10 * pl.col("bandwidth_hz").log10()).median().alias("under"))
    )
    over = pl.col("reading") - pl.col("under") - 10 * pl.col("bandwidth_hz").log10()
    found = carriers.join(under, on=SPECTRUM, maintain_order="left", how="inner").with_columns(
        over.alias("reading"),
        pl.lit("ratio", levels.schema["for"]).alias("for"),
        pl.lit(None, levels.schema["dbm"]).alias("dbm"),
    )
    return found.select(levels.columns)
