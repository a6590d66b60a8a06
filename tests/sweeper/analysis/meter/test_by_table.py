"""A curve that is somebody's table: readings go along it, it is tested like any scale, and makes no dBm."""

from dataclasses import replace

import numpy as np
import polars as pl

from sweeper.analysis import MeterFacts, StationFacts, findings_from, summarise_day, table_of
from sweeper.analysis.meter.scales import PLAIN
from sweeper.analysis.meter.seen import TakenVisit, meter_seen
from sweeper.simulation.campaign.course import BandTruth, Course
from sweeper.simulation.campaign.draw import campaign
from tests.benchmarks.campaigns import facts_of

TABLE = ((0.0, -127.0), (300.0, 23.0))
"""Half a decibel a count."""


def season(table: tuple[tuple[float, float], ...]) -> tuple[pl.DataFrame, StationFacts]:
    """Three nights of a receiver of two counts a decibel, read along a `table`."""
    course = Course((BandTruth("40 m", rise_db=12.0),), nights=3, hours=(19, 23), load_every=2, step_db=0.5,
                    floor_db=-160.0)  # fmt: skip
    thrown = campaign(course, 5)
    told = facts_of(thrown)
    meter = MeterFacts("raw", True, averaging_s=told.meter.averaging_s, uncertainty_db=10.0, curve=table,
                       by_table=True)  # fmt: skip
    told = replace(told, meter=meter)
    counts = ((pl.col("reading") + 54.0) * 2.0).round().alias("reading")
    days = [
        summarise_day(
            thrown.night(n).with_columns(counts, flags=pl.lit(""), dbm=pl.lit(None, pl.Float64)), told
        )
        for n in range(3)
    ]
    return pl.concat(days), told


def test_a_table_that_is_right_leaves_one_scale_and_no_dbm() -> None:
    summaries, told = season(TABLE)
    table = table_of(summaries, told)
    assert table.meter.scales == (PLAIN,) and table.meter.tested_db != (-np.inf, np.inf)
    found = findings_from(table, summaries, told).bands[0]
    assert found.receiver_noise_figure_db is None
    assert all("uncalibrated" in period.flags for period in found.periods)


def test_a_table_that_is_wrong_by_half_is_found_out() -> None:
    summaries, told = season(((0.0, -127.0), (300.0, -52.0)))
    scales = table_of(summaries, told).meter.scales
    assert len(scales) > 1 and any(abs(scale.slopes[0] - 0.5) < 0.06 for scale in scales if scale.slopes)


def test_a_measured_curve_is_taken_at_its_word() -> None:
    summaries, told = season(((0.0, -127.0), (300.0, -52.0)))
    measured = replace(told, meter=replace(told.meter, by_table=False))
    assert table_of(summaries, measured).meter.scales == (PLAIN,)


def test_a_look_at_the_meter_goes_along_the_curve() -> None:
    """Noise scatters by 0.63 dB here (4.34/sqrt(2400 Hz x 0.02 s)), which is 1.25 counts."""
    rng = np.random.default_rng(3)
    taken = [
        TakenVisit("40 m", "antenna", "bypass", 2400, tuple(np.rint(80 + rng.normal(0, 1.25, 8))))
        for _ in range(40)
    ]
    meter = MeterFacts("raw", True, averaging_s=0.02, curve=TABLE, by_table=True)
    seen = meter_seen(taken, meter)
    assert seen.slope is not None and abs(seen.slope - 1.0) < 0.15
    assert "steps of 1 on its own scale" in seen.sentences[0]
