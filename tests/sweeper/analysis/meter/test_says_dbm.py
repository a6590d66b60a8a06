"""A meter that says dBm and was never calibrated: taken at its word unless its readings contradict it."""

from dataclasses import replace

import polars as pl
import pytest

from sweeper.analysis import StationFacts, findings_from, summarise_day, table_of
from sweeper.analysis.meter.scales import PLAIN
from sweeper.analysis.verdict.scales import UNTESTED
from sweeper.simulation.campaign.course import BandTruth, Course
from sweeper.simulation.campaign.draw import campaign
from tests.benchmarks.campaigns import facts_of
from tests.benchmarks.meters import S_UNITS

S9_DBM = -73.0


def season(averaging_s: float | None = 0.02, **more: object) -> tuple[pl.DataFrame, StationFacts]:
    """Five nights at a place where noise from outside is all that is heard, so that no stage helps."""
    bands = (BandTruth("40 m", rise_db=16.0), BandTruth("80 m", rise_db=26.0))
    course = Course(bands, nights=5, hours=(19, 23), load_every=2, floor_db=-160.0)
    thrown = campaign(replace(course, **more), 5)  # type: ignore[arg-type]
    told = facts_of(thrown)
    meter = replace(told.meter, unit="dBm", calibrated=True, floor=None, top=None, averaging_s=averaging_s)
    told = replace(told, meter=meter)
    shown = (pl.col("reading") + S9_DBM).round().alias("reading")
    days = []
    for n in range(course.nights):
        night = thrown.night(n).with_columns(shown, flags=pl.lit(""))
        days.append(summarise_day(night.with_columns(dbm="reading"), told))
    return pl.concat(days), told


@pytest.mark.parametrize("averaging_s", [0.02, None])
def test_readings_that_scatter_alike_at_every_level_leave_it_its_word(averaging_s: float | None) -> None:
    summaries, told = season(averaging_s)
    table = table_of(summaries, told)
    assert table.meter.scales == (PLAIN,)
    assert {table.by_cell["80 m", hour].verdict for hour in (19, 23)} == {"either"}
    assert not any(judged.withheld == UNTESTED for judged in table.judged)
    found = findings_from(table, summaries, told).bands
    assert all(band.receiver_noise_figure_db is not None for band in found)


@pytest.mark.parametrize("averaging_s", [0.02, None])
def test_s_units_that_are_called_dbm_give_no_verdict_and_no_noise_figure(averaging_s: float | None) -> None:
    """S-units of 1.5 to 9.5 dB; taken at their word, the stage brings 3 dB that nobody hears."""
    summaries, told = season(averaging_s, bend=S_UNITS)
    table = table_of(summaries, told)
    assert {judged.verdict for judged in table.judged} <= {"either", "undecided"}
    assert len(table.meter.scales) > 1 or table.meter.dead_bands
    found = findings_from(table, summaries, told).bands
    assert all(band.receiver_noise_figure_db is None for band in found)


def test_a_curve_of_its_own_is_taken_at_its_word() -> None:
    summaries, told = season(bend=S_UNITS)
    measured = replace(told, meter=replace(told.meter, curve=((-140.0, -140.0), (0.0, 0.0))))
    assert table_of(summaries, measured).meter.scales == (PLAIN,)
