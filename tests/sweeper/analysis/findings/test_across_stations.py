"""Stations side by side: medians over stations, and who hears more than its place explains."""

from dataclasses import replace
from datetime import UTC, datetime

import pytest

from sweeper.analysis import BandFinding, Findings, Interval, PeriodFinding, StationResult, compare_stations
from sweeper.analysis.physics.atmospheric import atmospheric
from sweeper.analysis.physics.external_noise import expected

HZ = 14_000_000.0


def station(
    name, change_db=2.0, above_db=0.0, verdict="stage", environment="rural", hour_utc=20, band="20 m"
):
    """One hour of one band; its noise stands `above_db` over the median that P.372 expects in its surroundings."""
    sky = atmospheric(round(HZ), 56.2, 8.1, 7, hour_utc + 0.5)  # None without the library, for both alike
    fa_db = expected(HZ, environment, sky).total.median_db + above_db
    period = PeriodFinding(
        hour_utc=hour_utc,
        passes=10,
        nights=5,
        snr_change_db=None if change_db is None else Interval(change_db, change_db - 1, change_db + 1),
        noise_rise_db=None,
        fa_db=Interval(fa_db, fa_db - 1, fa_db + 1),
        verdict=verdict,
        flags=(),
        reason="",
    )
    found = BandFinding(band, None, None, None, None, (), (period,), "")
    night = datetime(2026, 7, 1, 12, tzinfo=UTC)
    findings = Findings(name, night, night, 0.95, 1.0, (found,))
    return StationResult(name, 56.2, 8.1, environment, {band: HZ}, findings)


def test_medians_and_verdicts_are_counted_over_stations():
    found = compare_stations(
        [
            station("A", 1.0, 3.0),
            station("B", 2.0, 5.0, "either"),
            station("C", 9.0, 4.0),
            station("D", None, 6.0),
        ]
    )
    (hour,) = found.bands
    assert (hour.band, hour.hour_utc, hour.stations) == ("20 m", 20, 4)
    assert hour.snr_change_db == pytest.approx(2.0)
    assert hour.above_expected_db == pytest.approx(4.5)
    assert hour.verdicts == {"either": 1, "stage": 3}


def test_each_station_is_held_against_its_own_surroundings():
    found = compare_stations([station("A", above_db=4.0), station("B", above_db=-4.0, environment="city")])
    assert [cell.above_expected_db for cell in found.cells] == pytest.approx([4.0, -4.0])


@pytest.mark.parametrize(("above_db", "odd"), [(20.0, True), (-20.0, True), (3.0, False)])
def test_a_station_far_from_the_others_is_marked_above_and_below(above_db, odd):
    others = [station(name, above_db=float(place)) for place, name in enumerate("ABCDE")]
    found = compare_stations([*others, station("F", above_db=above_db)])
    assert {cell.station for cell in found.cells if cell.outlier} == ({"F"} if odd else set())


@pytest.mark.parametrize(("count", "told"), [(3, False), (4, True)])
def test_of_four_stations_none_is_called_odd(count, told):
    """Five are wanted before the spread between stations is known."""
    others = [station(str(place), above_db=float(place)) for place in range(count)]
    found = compare_stations([*others, station("far", above_db=40.0)])
    assert any(cell.outlier for cell in found.cells) == told


def test_the_order_of_stations_does_not_matter_and_hours_stay_apart():
    stations = [station("B", 1.0), station("A", 3.0), station("C", 5.0, hour_utc=3)]
    found = compare_stations(stations)
    assert found == compare_stations(stations[::-1])
    assert [(hour.hour_utc, hour.stations) for hour in found.bands] == [(3, 1), (20, 2)]


def test_a_band_whose_frequency_is_not_told_is_compared_without_what_is_expected():
    unknown = replace(station("A", above_db=5.0), band_hz={})
    (cell,) = compare_stations([unknown]).cells
    assert cell.above_expected_db is None and cell.snr_change_db is not None
