"""Meters whose decibels are none: what their readings tell of them, and that no verdict is wrong for it."""

from dataclasses import replace

import numpy as np
import polars as pl
import pytest

from sweeper.analysis import findings_from, summarise_day, table_of
from sweeper.analysis.facts import StationFacts
from sweeper.analysis.meter.floor import floor_of
from sweeper.analysis.meter.slope import HONEST, slope_of
from sweeper.analysis.results import Findings
from sweeper.simulation.campaign.course import BandTruth, Course
from sweeper.simulation.campaign.draw import campaign
from tests.benchmarks.campaigns import facts_of

QUIET = BandTruth("40 m", rise_db=12.0)
ON_A_FLOOR = -38.0
"""Above the load (about −52 dB over S9 here) and above most antenna readings in bypass (about −40)."""


def measured(load: bool = True, **more: object) -> tuple[pl.DataFrame, pl.DataFrame, StationFacts]:
    """Readings without floor flags, their summaries, and what a newcomer's station file says."""
    values: dict[str, object] = {"floor_db": -140.0, "nights": 3, "hours": (19, 23)}
    course = Course((QUIET,), load_every=2 if load else 0, **(values | more))  # type: ignore[arg-type]
    thrown = campaign(course, 5)
    told = facts_of(thrown)
    told = replace(told, meter=replace(told.meter, floor=None))
    readings = thrown.readings.with_columns(flags=pl.lit(""))
    return readings, summarise_day(readings, told), told


def found(summaries: pl.DataFrame, told: StationFacts) -> Findings:
    return findings_from(table_of(summaries, told), summaries, told)


def noise(summaries: pl.DataFrame) -> pl.DataFrame:
    return summaries.filter(pl.col("for") == "noise")


@pytest.mark.parametrize("step_db", [0.1, 0.4, 1.0])
def test_an_honest_scale_is_seen_to_be_one(step_db: float) -> None:
    _, summaries, told = measured(step_db=step_db)
    assert slope_of(noise(summaries), told.meter) == HONEST


@pytest.mark.parametrize("slope", [0.5, 0.7, 1.35])
def test_the_slope_is_read_from_scatter_alone(slope: float) -> None:
    """Against the slope that was put in: scatter is 4.34/√(Bτ) dB times it (Dicke 1946)."""
    bend = tuple((level, -40.0 + slope * (level + 40.0)) for level in (-160.0, 60.0))
    _, summaries, told = measured(bend=bend, step_db=0.1)
    seen = slope_of(noise(summaries), told.meter)
    assert seen.low <= slope <= seen.high and not seen.honest


def test_a_floor_is_found_and_not_believed_to_be_a_level() -> None:
    readings, summaries, told = measured(floor_db=ON_A_FLOOR)
    assert floor_of(readings, told) == ON_A_FLOOR
    assert int(summaries["floor_passes"].sum()) > 0
    assert {p.verdict for band in found(summaries, told).bands for p in band.periods} == {"undecided"}


def test_no_floor_is_found_where_there_is_none() -> None:
    readings, _, told = measured()
    assert floor_of(readings, told) is None


def test_where_only_carriers_tell_the_gain_an_untested_scale_gives_no_verdict() -> None:
    _, summaries, told = measured(load=False, nights=8)
    periods = [p for band in found(summaries, told).bands for p in band.periods]
    assert {p.verdict for p in periods} == {"undecided"}
    assert all("scale-untested" not in p.flags or "calibrate first" in p.reason for p in periods)


def test_coarse_steps_test_nothing() -> None:
    _, summaries, told = measured(step_db=6.0)
    assert not slope_of(noise(summaries), told.meter).tested
    assert np.isnan(summaries["scatter_load_bypass"].to_numpy().astype(float)).all()
