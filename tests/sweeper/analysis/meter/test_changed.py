"""Another meter in mid-season is noticed by its step or by how far noise scatters on it, and not averaged over."""

from dataclasses import replace

import polars as pl
import pytest

from sweeper.analysis import StationFacts, findings_from, summarise_day, table_of
from sweeper.analysis.meter.changed import CHANGED, meter_change
from sweeper.simulation.campaign.course import BandTruth, Course
from sweeper.simulation.campaign.draw import campaign
from tests.benchmarks.campaigns import facts_of

pytestmark = pytest.mark.slow

BAND = BandTruth("40 m", rise_db=12.0)
NIGHTS, AT = 6, 3
BENT = tuple((level, -40.0 + 0.6 * (level + 40.0)) for level in (-160.0, 60.0))


def season(
    load_every: int, before: dict[str, object], since: dict[str, object]
) -> tuple[pl.DataFrame, StationFacts]:
    """Six nights, the last three with what `since` says of the meter."""
    drawn = [
        campaign(
            Course((BAND,), nights=NIGHTS, hours=(19, 23), load_every=load_every, floor_db=-160.0, **meter),  # type: ignore[arg-type]
            5,
        )
        for meter in (before, since)
    ]
    told = facts_of(drawn[1])
    told = replace(told, meter=replace(told.meter, floor=None, step_db=None))
    nights = [drawn[n >= AT].night(n).with_columns(flags=pl.lit("")) for n in range(NIGHTS)]
    return pl.concat([summarise_day(night, told) for night in nights]), told


@pytest.mark.parametrize("load_every", [2, 0])
def test_another_slope_since_a_night_is_named_and_not_averaged_over(load_every: int) -> None:
    summaries, told = season(load_every, {}, {"bend": BENT})
    night = sorted(summaries["night"].unique().to_list())[AT]
    change = meter_change(summaries)
    assert change is not None and change.night == night
    table = table_of(summaries, told)
    assert {cell.nights for cell in table.cells} == {NIGHTS - AT}
    found = findings_from(table, summaries, told).bands[0]
    assert CHANGED in found.flags
    assert f"Since the night of {night.isoformat()} the meter is another" in found.recommendation


def test_another_step_since_a_night_is_named() -> None:
    summaries, _ = season(2, {"step_db": 1.0}, {"step_db": 0.4})
    change = meter_change(summaries)
    assert change is not None and "its step was 1 dB and is 0.4 dB" in change.sentence


@pytest.mark.parametrize("load_every", [2, 0])
@pytest.mark.parametrize("step_db", [0.1, 1.0])
def test_a_meter_that_stays_is_not_said_to_change(load_every: int, step_db: float) -> None:
    summaries, _ = season(load_every, {"step_db": step_db}, {"step_db": step_db})
    assert meter_change(summaries) is None
