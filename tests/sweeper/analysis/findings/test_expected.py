"""What P.372 expects beside what was measured: of which causes, in which months, and when nothing can be judged."""

from dataclasses import replace
from datetime import date

import polars as pl
import pytest

from sweeper.analysis.findings import tables
from sweeper.analysis.findings.build import find, findings_from
from sweeper.analysis.physics.atmospheric import atmospheric
from sweeper.analysis.physics.external_noise import expected
from sweeper.analysis.statistics.interval import Interval
from sweeper.analysis.verdict.table import table_of
from tests.sweeper.analysis.summaries import Place, facts, made

EIGHTY = Place("80 m")  # at 3 MHz
STATION = facts(EIGHTY)


def table_over(*first_nights, nights=4):
    """The table of what is expected, with fa known, for nights that begin on the dates given."""
    summaries = pl.concat([made(EIGHTY, nights=nights, first=first) for first in first_nights])
    table = table_of(summaries, STATION)
    found = findings_from(table, summaries, STATION)
    band = found.bands[0]
    known = tuple(replace(period, fa_db=Interval(90.0, 88.0, 92.0)) for period in band.periods)
    found = replace(found, bands=(replace(band, periods=known),))
    return tables.expected_table(found, table.nights, STATION)


def test_without_the_atmosphere_nothing_below_ten_megahertz_is_judged(monkeypatch):
    monkeypatch.setattr(tables, "atmospheric", lambda *place: None)
    told = table_over(date(2026, 1, 5))
    assert told["causes"].unique().to_list() == ["man-made"]
    assert not told["whole"].any()
    assert tables.standing_of(told) == {}


def test_with_it_the_causes_are_named_and_judged():
    told = table_over(date(2026, 1, 5))
    assert told["causes"].unique().to_list() == ["man-made and atmospheric"]
    assert "80 m" in tables.standing_of(told)


def test_above_ten_megahertz_the_galaxy_is_named_and_the_atmosphere_may_be_missing():
    found = expected(21e6, "rural")
    assert (found.causes, found.whole) == ("man-made and galactic", True)
    assert expected(3.5e6, "rural").whole is False


def test_a_season_is_expected_by_its_own_months():
    """Three nights of January for each of July: the mean of both months' medians, weighted so."""
    told = table_over(date(2026, 1, 5), date(2026, 1, 15), date(2026, 1, 25), date(2026, 7, 5))
    at_19 = told.filter(pl.col("hour_utc") == 19)["expected_db"].item()

    def median(month):
        sky = atmospheric(3_000_000, STATION.latitude, STATION.longitude, month, 19.5)
        return expected(3e6, STATION.environment, sky).total.median_db

    assert abs(median(7) - median(1)) > 1.0
    assert at_19 == pytest.approx((3 * median(1) + median(7)) / 4)


def test_the_whole_way_names_causes():
    _, evidence = find(made(EIGHTY), STATION)
    assert evidence.expected["causes"].null_count() == 0
