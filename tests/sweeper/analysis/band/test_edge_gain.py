"""The gain across edges among the ways to find it: taken where it is sharper, never where the meter lags behind."""

from datetime import date

import polars as pl
import pytest

from sweeper.analysis.band.edge_lag import borne_db, lag_of, lags
from sweeper.analysis.band.gain import measured
from sweeper.analysis.band.gain_methods import GainMethods
from sweeper.analysis.day.columns import schema
from sweeper.analysis.day.reduce import summarise_day
from sweeper.analysis.statistics.estimates import Estimate
from sweeper.simulation.campaign.course import BandTruth, Course
from sweeper.simulation.campaign.draw import campaign
from tests.benchmarks.campaigns import facts_of

TRUE_DB = 15.0


def found(
    gain_db: float = TRUE_DB, se_db: float = 0.1, lag_db: float | None = 0.0, lag_se: float = 0.2
) -> GainMethods:
    """One night by visits, one decibel too much and known to half of one, and by edges as told."""
    row = dict.fromkeys(schema()) | {
        "night": date(2026, 11, 1), "hour_utc": 18, "hz": 7_202_000, "for": "carrier",
        "carrier_gain_db": TRUE_DB + 1, "carrier_gain_se_db": 0.5, "resolution_db": 0.0, "carrier_passes": 10,
        "edge_gain_db": gain_db, "edge_gain_se_db": se_db, "edge_passes": 9, "edge_lag_db": lag_db,
        "edge_lag_se_db": lag_se,
    }  # fmt: skip
    return GainMethods(pl.DataFrame([row], schema=schema()))


def test_the_sharper_of_edges_and_visits_is_the_gain_by_carriers() -> None:
    sharp, dull = found().carriers, found(se_db=0.6).carriers
    assert sharp is not None and (sharp.source, sharp.gain_db, sharp.dof) == ("carriers", TRUE_DB, 8)
    assert dull is not None and dull.gain_db == TRUE_DB + 1


@pytest.mark.parametrize(
    ("lag_db", "lag_se", "is_late"), [(1.02, 0.2, True), (1.0, 0.2, False), (0.45, 0.01, False)]
)
def test_a_meter_lags_where_both_ways_differ_by_more_than_chance_and_half_a_decibel(
    lag_db: float, lag_se: float, is_late: bool
) -> None:
    """Student's t of 8 degrees of freedom exceeds 5.041 once in 1000 either way."""
    methods = found(lag_db=lag_db, lag_se=lag_se)
    assert (methods.edges is None) == is_late
    assert methods.carriers is not None and (methods.carriers.gain_db > TRUE_DB) == is_late
    gain = measured(methods)
    assert gain is not None and ("meter-lags" in gain.flags) == is_late
    assert ("read before it has followed the relay" in " ".join(gain.sentences)) == is_late


def test_a_lag_that_is_not_sure_widens_the_error_by_half_of_what_chance_does_not_make() -> None:
    """√(0.45² − 0.01²) ÷ 2 = 0.225; with the error of the edges themselves √(0.225² + 0.1²) = 0.246."""
    assert borne_db(Estimate(0.45, 0.01, 9)) == pytest.approx(0.225, abs=1e-3)
    assert borne_db(Estimate(0.1, 0.2, 9)) == borne_db(None) == 0.0
    edges = found(lag_db=0.45, lag_se=0.01).edges
    assert edges is not None and edges.se_db == pytest.approx(0.246, abs=2e-3)
    assert lag_of(found(lag_db=None).summaries) is None and not lags(None)


def test_one_night_of_edges_knows_the_gain_of_a_fading_carrier_to_half_a_decibel() -> None:
    """Clarke's fading, 0.15 Hz, Rice's K of 3 dB, 20 dB over the noise, a meter of 1 dB."""
    band = BandTruth("31 m", 8.0, carrier_over_noise_db=(20.0,))
    course = Course(
        (band,),
        nights=1,
        passes_per_hour=6,
        load_every=0,
        carriers_absent=0.0,
        carrier_doppler_hz=0.15,
        edges=1,
    )
    thrown = campaign(course, 4)
    gain = measured(GainMethods(summarise_day(thrown.night(0), facts_of(thrown))))
    assert gain is not None and gain.flags == ()
    interval = gain.interval(0.95)
    assert interval.low <= TRUE_DB <= interval.high and interval.high - interval.low < 1.0


def test_a_detector_that_falls_slowly_is_found_out_and_its_edges_left_aside() -> None:
    band = BandTruth("31 m", 8.0, carrier_over_noise_db=(30.0,))
    course = Course(
        (band,),
        nights=1,
        passes_per_hour=6,
        load_every=0,
        carriers_absent=0.0,
        edges=1,
        detector="quasi-peak",
    )
    thrown = campaign(course, 4)
    methods = GainMethods(summarise_day(thrown.night(0), facts_of(thrown)))
    assert methods.lag is not None and methods.lag.value > 1.0 and methods.edges is None


def passes(*rows: tuple[int, float | None, float]) -> pl.DataFrame:
    """Hours of (passes with edges both ways, lag and its error, dB)."""
    return pl.DataFrame(
        [
            {"edge_passes": count, "edge_lag_db": lag_db, "edge_lag_se_db": se_db}
            for count, lag_db, se_db in rows
        ]
    )


def test_the_lag_of_a_band_weighs_its_hours_by_their_passes() -> None:
    """(3·0.4 + 1·2.0)/4 = 0.8; √((0.75·0.2)² + (0.25·0.4)²) = 0.180; four passes less two hours leave two."""
    found = lag_of(passes((3, 0.4, 0.2), (1, 2.0, 0.4)))
    assert found is not None
    assert (found.value, found.se, found.dof) == pytest.approx((0.8, 0.18028, 2.0), abs=1e-4)
    assert found == lag_of(passes((3, 0.4, 0.2), (0, 9.0, 0.1), (2, None, 0.1), (2, 9.0, 0.0), (1, 2.0, 0.4)))
    alone = lag_of(passes((1, 0.4, 0.2), (1, 0.4, 0.2)))
    assert alone is not None and alone.dof == 1.0
    assert lag_of(passes((0, 0.4, 0.2))) is None


@pytest.mark.parametrize("way", [1.0, -1.0])
def test_a_lag_either_way_is_one(way: float) -> None:
    """Student's t of 8 degrees of freedom exceeds 5.041 once in 1000 either way; below half a decibel nothing does."""
    assert lags(Estimate(way * 1.02, 0.2, 8)) and not lags(Estimate(way * 1.0, 0.2, 8))
    assert lags(Estimate(way * 0.51, 0.01, 8)) and not lags(Estimate(way * 0.49, 0.01, 8))
    assert not lags(None)
    assert borne_db(Estimate(way * 0.5, 0.3, 8)) == pytest.approx(0.2)
