"""The whole table: bands in the station's order, and hours near overload kept out of what they would spoil."""

import polars as pl
import pytest

from sweeper.analysis import table_of
from sweeper.analysis.day.reduce import summarise_day
from sweeper.simulation.campaign.course import BandTruth, Course
from sweeper.simulation.campaign.draw import campaign
from tests.sweeper.analysis.summaries import Place, facts, made

FORTY, TEN = Place("40 m"), Place("10 m", antenna_k=3_000.0)


def test_bands_come_in_the_stations_order_and_unknown_ones_last():
    summaries = pl.concat([made(TEN, FORTY), made(Place("160 m"))])
    table = table_of(summaries, facts(FORTY, TEN))
    assert table.bands == ("40 m", "10 m", "160 m")
    assert [cell.band for cell in table.cells] == ["40 m"] * 3 + ["10 m"] * 3 + ["160 m"] * 3
    assert len(table.judged) == len(table.troubles) == 9
    assert set(table.gain_errors) == {"40 m", "10 m", "160 m"}


def test_nothing_measured_makes_an_empty_table():
    table = table_of(made(FORTY).clear(), facts(FORTY))
    assert (table.bands, table.cells, table.judged) == (("40 m",), (), ())


@pytest.fixture(scope="module")
def overloaded():
    """Ten nights of 15 m with overload at 19 UTC alone."""
    course = Course(
        (BandTruth("15 m", 3.0, overloaded_hours=(19,)), BandTruth("40 m", 8.0)),
        nights=10,
        hours=(16, 17, 18, 19, 20, 21, 22),
        night_sd_db=1.5,
        passes_per_hour=3,
    )
    thrown = campaign(course, 5)
    rig = facts(channels=thrown.channels)
    return table_of(pl.concat([summarise_day(thrown.night(n), rig) for n in range(10)]), rig)


def test_overload_is_told_in_its_hour_and_feared_in_the_hours_beside_it(overloaded):
    cells = {(cell.band, cell.hour_utc): place for place, cell in enumerate(overloaded.cells)}
    near = {hour for (band, hour), place in cells.items() if "near-overload" in overloaded.cells[place].flags}
    assert near == {18, 19, 20}
    assert [hour for (_, hour), place in cells.items() if "overload" in overloaded.troubles[place]] == [19]
    assert overloaded.judged[cells["15 m", 19]].withheld == "overload"


def test_the_gain_of_the_band_is_that_of_the_hours_away_from_overload(overloaded):
    other = overloaded.gains["40 m"]
    assert overloaded.gains["15 m"].gain_db == pytest.approx(other.gain_db, abs=0.4)
