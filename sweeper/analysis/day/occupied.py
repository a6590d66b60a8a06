"""Which passes of a noise channel are set aside because something other than noise sat there."""

import polars as pl

from sweeper.analysis.facts import StationFacts


def with_occupied(table: pl.DataFrame, facts: StationFacts) -> pl.DataFrame:
    """Set aside passes of a noise channel in which a signal sat there: odd statistics, or far above its like.

    Judged on what both routes show, or on differences in either direction, so that setting aside cannot favour one
    route. What comes and stays for three passes on end is no visitor but the night, or overload, and is kept.
    """
    step = facts.meter.step_db or 0.0
    least = 6.0 + step
    noise = pl.col("for") == "noise"
    above = [
        pl.col(name) - pl.col(name).quantile(0.2).over("channel")
        for name in ("antenna_bypass", "antenna_stage")
    ]
    table = table.with_columns(
        (pl.col("antenna_stage") - pl.col("antenna_bypass")).alias("difference"),
        pl.min_horizontal(above).alias("above_own"),
        pl.max_horizontal("apart_antenna_bypass", "apart_antenna_stage").alias("apart"),
    )
    table = table.with_columns(
        _off_usual("above_own", 13),
        _off_usual("difference", 5),
        pl.when(noise).then(pl.col("above_own")).min().over("pass", "band").alias("quietest"),
        noise.sum().over("pass", "band").alias("fellows"),
    )
    sudden = pl.col("above_own_off") > least
    beside = (pl.col("fellows") > 1) & (pl.col("above_own") - pl.col("quietest") > least)
    jumped = _beyond("difference_off", 1.0 + step) | _beyond("apart", 1.5 + step)
    occupied = noise & (pl.col("odd") | sudden | beside | jumped).fill_null(False)
    return table.with_columns(occupied.alias("occupied"))


def _off_usual(column: str, passes: int) -> pl.Expr:
    """How far a pass lies from the median of the `passes` around it on its channel."""
    usual = pl.col(column).rolling_median(passes, min_samples=1, center=True).over("channel")
    return (pl.col(column) - usual).alias(f"{column}_off")


def _beyond(column: str, least: float) -> pl.Expr:
    """More than `least`, and than six times what is usual on the channel, in either direction."""
    usual = pl.col(column).abs().median().over("channel") * 1.4826
    return (pl.col(column).abs() > 6 * usual) & (pl.col(column).abs() > least)
