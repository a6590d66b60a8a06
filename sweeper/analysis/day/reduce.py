"""A day of readings becomes a small table: one row per night, hour and channel.

The rows have the columns of `day.columns`. Findings, verdicts and what several nights share do not belong
here, nor do levels of single visits and passes, which have their own files.
"""

from dataclasses import replace

import polars as pl

from sweeper.analysis.day.columns import BESIDE_LEVELS, KEYS, NAMES, schema
from sweeper.analysis.day.combine import ROUTES, combined
from sweeper.analysis.day.passes import passes_of
from sweeper.analysis.day.ratios import ratios_beside
from sweeper.analysis.day.standard_errors import standard_errors
from sweeper.analysis.day.visits import visits_of
from sweeper.analysis.facts import MeterFacts, StationFacts
from sweeper.analysis.meter.floor import with_floor
from sweeper.analysis.meter.scale import with_step

MIXED_SCALE = 2000
"""The scale of an hour whose passes have several, or several bandwidths: comparable with no other."""


def summarise_day(readings: pl.DataFrame, facts: StationFacts) -> pl.DataFrame:
    """Summaries of a day (or of any span) of readings.

    `readings` has the columns of the readings table. The result has those of `day.columns`, sorted by key;
    no readings give no rows.
    """
    by_ratio = readings["for"] == "ratio"
    levels = readings.filter(~by_ratio) if by_ratio.any() else readings
    parts = [_summary(levels, facts)]
    if by_ratio.any():
        parts.append(_summary(readings.filter(by_ratio), _of_ratios(facts)))
    if facts.meter.linear:
        beside = _summary(ratios_beside(levels), _of_ratios(facts))
        parts.append(beside.with_columns(pl.lit(BESIDE_LEVELS).alias("flags")))
    return parts[0] if len(parts) == 1 else pl.concat(parts).sort(*KEYS)


def _of_ratios(facts: StationFacts) -> StationFacts:
    """The facts for what no meter scale and no calibration touches."""
    return replace(facts, meter=MeterFacts(unit="raw", calibrated=False, averaging_s=0.25, linear=True))


def _summary(readings: pl.DataFrame, facts: StationFacts) -> pl.DataFrame:
    if readings.is_empty():
        return pl.DataFrame(schema=schema())
    facts = with_floor(with_step(facts, readings), readings)
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
        "usable_difference": pl.when(good).then(pl.col("difference")),
        "usable_carrier_gain": pl.when(pl.col("usable")).then(pl.col("carrier_gain")),
        **{
            f"usable_edge_{name}": pl.when(~noise & ~pl.col("mixed_bandwidth")).then(pl.col(f"edge_{name}"))
            for name in ("gain", "lag", "there", "back")
        },
        "usable_rise_bypass": pl.when(good).then(pl.col("antenna_bypass") - pl.col("load_bypass")),
        "usable_rise_stage": pl.when(good).then(pl.col("antenna_stage") - pl.col("load_stage")),
        "usable_antenna_bypass": pl.when(good | ~noise).then(pl.col("antenna_bypass")),
        "usable_antenna_stage": pl.when(good | ~noise).then(pl.col("antenna_stage")),
        "usable_impulsiveness_bypass": pl.when(good).then(
            pl.col("power_antenna_bypass") - pl.col("antenna_bypass")
        ),
        "usable_impulsiveness_stage": pl.when(good).then(
            pl.col("power_antenna_stage") - pl.col("antenna_stage")
        ),
    }
    return table.with_columns(
        *[expression.alias(name) for name, expression in quantities.items()],
        pl.col("antenna_bypass").max().over("pass").alias("strongest"),
    )


def _cells(table: pl.DataFrame, facts: StationFacts) -> pl.DataFrame:
    table = table.with_columns(pl.struct("night", "channel").rle_id().cast(pl.Int64).alias("evening"))
    table = table.with_columns((pl.col("evening") * 24 + pl.col("hour_utc")).alias("cell"))
    errors = standard_errors(table)
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
        pl.col("usable_antenna_bypass").mean().alias("level_antenna_bypass"),
        pl.col("usable_antenna_stage").mean().alias("level_antenna_stage"),
        *[
            pl.col(f"{source}_{route}").mean().alias(f"level_{source}_{route}")
            for source in ("load", "noise")
            for route in ROUTES
        ],
        *[pl.col(f"load_{route}_wander").mean() for route in ROUTES],
        *[pl.col(f"{source}_{route}_se").mean() for source in ("load", "noise") for route in ROUTES],
        *_scatter(),
        pl.col("meter_reading_bypass").filter(pl.col("usable_antenna_bypass").is_not_null()).mean(),
        pl.col("usable_difference").mean().alias("difference_db"),
        pl.col("usable_rise_bypass").mean().alias("noise_rise_db"),
        pl.col("usable_rise_stage").mean().alias("stage_noise_rise_db"),
        _power_mean("usable_rise_bypass").alias("power_rise_db"),
        _power_mean("usable_rise_stage").alias("stage_power_rise_db"),
        pl.col("usable_carrier_gain").mean().alias("carrier_gain_db"),
        pl.col("usable_carrier_gain").count().alias("carrier_passes"),
        pl.mean_horizontal(pl.col("usable_edge_there", "usable_edge_back").mean()).alias("edge_gain_db"),
        pl.col("usable_edge_gain").count().alias("edge_passes"),
        pl.col("usable_edge_lag").mean().alias("edge_lag_db"),
        pl.col("carrier_snr").mean().alias("carrier_snr_db"),
        pl.col("strongest").mean().alias("strongest_carrier_db"),
        pl.col("usable_impulsiveness_bypass").mean().alias("impulsiveness_db"),
        pl.col("usable_impulsiveness_stage").mean().alias("stage_impulsiveness_db"),
        *[
            pl.col(f"usable_antenna_{route}").std().fill_null(0.0).alias(f"wander_{route}")
            for route in ROUTES
        ],
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
    return combined(cells.join(errors, on="cell", how="left", maintain_order="left"), facts)


def _scatter() -> list[pl.Expr]:
    """Scatter within visits by path, each weighed by its visits, and how many there were; of passes that count."""
    usable = pl.col("usable_difference").is_not_null()
    visits = {path: pl.col(f"scatter_visits_{path}") for path in _EDGED}
    means = [
        (pl.col(f"scatter_{path}") * count)
        .filter(usable)
        .sum()
        .truediv(count.filter(usable).sum())
        .alias(f"scatter_{path}")
        for path, count in visits.items()
    ]
    return [*means, *[count.filter(usable).sum() for count in visits.values()]]


def _alike(column: str) -> pl.Expr:
    return pl.col(column).min() == pl.col(column).max()


_EDGED = ("antenna_bypass", "antenna_stage", "load_bypass", "load_stage")


def _power_mean(column: str) -> pl.Expr:
    return 10 * (10 ** (pl.col(column) / 10)).mean().log10()
