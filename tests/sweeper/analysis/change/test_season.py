"""Month by month, day and night by the sun, and the meter's drift told from the noise's."""

from dataclasses import replace
from datetime import date

import polars as pl
import pytest

from sweeper.analysis.band.gain import Gain
from sweeper.analysis.band.nightly import nightly
from sweeper.analysis.change.season import by_season, is_day
from sweeper.analysis.findings.build import find
from tests.sweeper.analysis.summaries import Place, facts, made

pytestmark = pytest.mark.slow


@pytest.mark.parametrize(
    ("night", "hour", "day"),
    [
        (date(2026, 6, 21), 18, True),  # sunset at 56.2 N, 8.1 E about 20:20 UTC at midsummer
        (date(2026, 6, 21), 23, False),
        (date(2026, 12, 21), 15, False),  # and about 14:50 UTC at midwinter
        (date(2026, 12, 21), 13, True),
        (date(2026, 12, 21), 11, True),  # the last hour of the night's 24: the forenoon of the 22nd
    ],
)
def test_day_and_night_go_by_the_sun_at_the_station(night, hour, day):
    assert is_day(night, hour, 56.2, 8.1) is day


def test_months_are_told_apart_with_day_and_night():
    _, tables = find(made(nights=60, hours=(12, 22)), facts())
    assert tables.months.select("month", "light").n_unique() == 6
    assert tables.months["nights"].sum() == 120


def test_a_drift_of_the_meter_is_not_a_drift_of_the_noise():
    steady = Place(night_sd_db=0.1, error_db=0.02)
    _, tables = find(made(steady, nights=58, hours=(22,), meter_drift_db=0.1), facts(steady))
    january, february = tables.months.filter(tables.months["nights"] > 20).sort("month").iter_rows(named=True)
    assert february["meter_drift_db"] - january["meter_drift_db"] == pytest.approx(2.8, abs=0.3)
    assert february["noise"] - january["noise"] == pytest.approx(0.0, abs=0.1)


def test_with_two_seasons_the_advice_names_both():
    deaf = Place("10 m", antenna_k=3_000.0)
    winter = made(deaf, nights=6, first=date(2026, 1, 5))
    found, _ = find(winter, facts(deaf))
    assert "By season" not in found.bands[0].recommendation
    noisier_summer = made(replace(deaf, antenna_k=30_000.0), nights=6, first=date(2026, 7, 5), seed=2)
    found, _ = find(pl.concat([winter, noisier_summer]), facts(deaf))
    sentence = found.bands[0].recommendation.split("By season the stage is worth: ")[1]
    assert sentence.startswith("winter")
    assert "summer" in sentence
    assert "spring" not in sentence


def test_south_of_the_equator_july_is_winter():
    deaf = Place("10 m", antenna_k=3_000.0)
    both = pl.concat([made(deaf, nights=6, first=date(2026, month, 5), seed=month) for month in (1, 7)])
    rows = nightly(both)
    gain = Gain(15.0, 0.1, 100.0, "load", ())
    north, south = (by_season(rows, gain, facts(deaf, latitude=each)) for each in (56.0, -34.0))
    assert north.split("winter ")[1][:3] == south.split("summer ")[1][:3]
