"""The floor of a meter whose station file names none, found in a day of readings.

On its floor a meter stands still, visit after visit, at the lowest value it ever shows, where noise must make it move.
"""

from dataclasses import replace

import numpy as np
import polars as pl
from scipy.special import ndtr

from sweeper.analysis.facts import StationFacts
from sweeper.analysis.physics.radiometer import shape_of, spread_db
from sweeper.analysis.thresholds import FLOOR_SHARE, FLOOR_VISITS

USUAL_FLOORS = (-60.0, -54.0)
"""Where decibels over S9 end at receivers that speak hamlib's protocol: 102 of its 112 tables (counted in 4.5.4)."""
FEWEST_READINGS = 4


def with_floor(facts: StationFacts, readings: pl.DataFrame) -> StationFacts:
    """The facts with the meter's floor in its own unit, seen in the readings, where the station file tells none."""
    if facts.meter.floor is not None:
        return facts
    floor = floor_of(readings, facts)
    return facts if floor is None else replace(facts, meter=replace(facts.meter, floor=floor))


def floor_of(readings: pl.DataFrame, facts: StationFacts) -> float | None:
    """The lowest value, if visits rest on it that noise alone would not let rest; else None."""
    lowest = readings["reading"].min()
    if not isinstance(lowest, float | int):
        return None
    if (readings["reading"] == lowest).sum() < FLOOR_VISITS * FEWEST_READINGS:
        return None  # too few for so many visits to rest there
    noise = readings.lazy().filter((pl.col("for") == "noise") & pl.col("reading").is_finite())
    visits = (
        noise.group_by("pass", "band", "hz", "source", "route")
        .agg(
            pl.col("reading").min().alias("low"),
            pl.col("reading").max().alias("high"),
            pl.len().alias("count"),
            pl.col("bandwidth_hz").first(),
        )
        .filter(pl.col("count") >= FEWEST_READINGS)
        .collect()
    )
    touching = visits.filter(pl.col("low") == lowest)
    resting = touching.filter(pl.col("high") == lowest)
    if resting.height < FLOOR_VISITS:
        return None
    value = float(lowest)
    if facts.meter.unit == "dB-over-S9" and value in USUAL_FLOORS:
        return value
    widths, counts = visits["bandwidth_hz"].to_numpy(), visits["count"].to_numpy()
    by_chance = _rests_by_chance(facts, float(np.median(widths)), int(counts.min()))
    # so coarse a meter that noise rests for a third of all visits has no floor
    return value if resting.height > max(FLOOR_SHARE, 3 * by_chance) * touching.height else None


def _rests_by_chance(facts: StationFacts, bandwidth_hz: float, count: int) -> float:
    """How often at most a visit of pure noise lies within one step of the meter."""
    averaging_s = facts.meter.averaging_s
    spread = spread_db(shape_of(bandwidth_hz, averaging_s)) if averaging_s else 0.3
    inside = 2 * float(ndtr((facts.meter.step_db or 0.0) / 2 / spread)) - 1
    return inside**count
