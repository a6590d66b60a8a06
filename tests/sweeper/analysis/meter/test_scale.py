"""One scale for all readings, whenever the meter was calibrated, and the step of a meter as its readings show it."""

from dataclasses import replace
from datetime import UTC, date, datetime

import numpy as np
import polars as pl
import pytest

from sweeper.analysis.band.gain import combine
from sweeper.analysis.band.gain_methods import GainMethods
from sweeper.analysis.band.nightly import measured_alike, nightly
from sweeper.analysis.band.switching_threshold import switching_threshold
from sweeper.analysis.change.compare import compare
from sweeper.analysis.day.reduce import summarise_day
from sweeper.analysis.facts import MeterFacts
from sweeper.analysis.findings.build import find
from sweeper.analysis.meter.scale import ANOTHER_UNIT, levels_of, scales_of, step_of, with_step
from sweeper.simulation.campaign.course import BandTruth, Course
from sweeper.simulation.campaign.draw import Campaign, campaign
from tests.sweeper.analysis import nights, summaries

pytestmark = pytest.mark.slow

S9_DBM = -73.0
CURVE = ((-60.0, -133.0), (60.0, -13.0))
CALIBRATED = MeterFacts("dB-over-S9", calibrated=True, averaging_s=0.02, curve=CURVE)


def test_readings_from_before_a_calibration_are_read_off_the_curve():
    shown, stored = np.array([-30.0, -20.0, -61.0]), np.array([np.nan, -90.0, np.nan])

    level = levels_of(shown, stored, CALIBRATED)

    np.testing.assert_allclose(level[:2], [-103.0, -90.0])  # by the curve; as it was stored
    assert np.isnan(level[2])  # off the curve nothing was ever compared with the meter
    np.testing.assert_array_equal(levels_of(shown, None, replace(CALIBRATED, calibrated=False)), shown)


def test_a_receiver_has_one_noise_figure_before_and_after_its_calibration():
    night = nights.Night(passes=30)  # a receiver of 2610 K: 10 dB
    facts = nights.facts(night, unit="dB-over-S9")
    facts = replace(
        facts, meter=replace(facts.meter, calibrated=True, curve=((-100.0, -173.0), (0.0, -73.0)))
    )
    in_dbm = nights.readings(night)
    before = in_dbm.with_columns(pl.col("reading") - S9_DBM, pl.lit(None, dtype=pl.Float64).alias("dbm"))
    after = in_dbm.with_columns(pl.col("reading") - S9_DBM)

    figures = [find(summarise_day(day, facts), facts)[0].bands[0] for day in (before, after)]

    for band in figures:
        assert band.receiver_noise_figure_db.value == pytest.approx(10.0, abs=0.3)
        assert "implausible-calibration" not in band.flags
    assert figures[0].receiver_noise_figure_db.value == pytest.approx(
        figures[1].receiver_noise_figure_db.value, abs=1e-6
    )


def test_a_calibration_in_the_middle_of_a_season_is_no_change_of_noise():
    made = _without_load(nights=16)
    facts = nights.facts(nights.Night(), channels=tuple(made.channels), longitude=0.0)
    facts = replace(facts, meter=replace(CALIBRATED, step_db=1.0))
    season = pl.concat(
        summarise_day(_calibrated(made.night(n)) if n >= 8 else made.night(n), facts) for n in range(16)
    )

    comparison = compare(season, facts, datetime(2026, 1, 18, 12, tzinfo=UTC))

    assert set(season["scale"]) == {0}
    for band in comparison.bands:
        assert abs(band.change_db.value) < 3.0


def _without_load(**more: object) -> Campaign:
    bands = (BandTruth("80 m", 12.0), BandTruth("40 m", 8.0))
    return campaign(Course(bands=bands, night_sd_db=1.0, passes_per_hour=3, load_every=0, **more), 5)


def _calibrated(readings: pl.DataFrame) -> pl.DataFrame:
    return readings.with_columns((pl.col("reading") + S9_DBM).alias("dbm"))


STARTS = np.array([0, 2])


def test_levels_of_another_calibration_or_unit_are_on_a_scale_of_their_own():
    shown = np.array([-30.0, -29.0, -20.0, -21.0])
    now, in_dbm = shown + S9_DBM, MeterFacts("dBm", calibrated=True)
    plain = MeterFacts("dB-over-S9", calibrated=False)
    none = np.full(4, np.nan)

    def scales(stored: np.ndarray | None, meter: MeterFacts) -> list[int]:
        return scales_of(shown, stored, STARTS, meter).tolist()

    assert (
        scales(None, CALIBRATED)
        == scales(now, CALIBRATED)
        == scales(np.r_[none[:2], now[2:]], CALIBRATED)
        == [0, 0]
    )
    assert scales(now + 0.3, CALIBRATED) == [1, 1]
    assert scales(now - 2.5, CALIBRATED) == [-3, -3]
    assert scales(shown, in_dbm) == [0, 0]
    assert scales(np.r_[none[:2], shown[2:]], in_dbm) == [
        ANOTHER_UNIT,
        0,
    ]  # stored while the unit was not dBm
    assert (
        scales(None, plain) == scales(now, plain) == [0, 0]
    )  # a curve taken out again leaves readings as they are
    assert scales(shown, plain) == [ANOTHER_UNIT, ANOTHER_UNIT]  # stored while the unit was dBm


@pytest.mark.parametrize("step", [0.01, 0.1, 0.5, 1.0, 6.0])
def test_a_meter_shows_its_step(step):
    levels = -73.4 + np.random.default_rng(1).normal(0.0, 8.0 * step, 4000)
    assert step_of(np.round(levels / step) * step) == pytest.approx(step)
    assert step_of(np.round(levels / step) * step - 73.25) == pytest.approx(step)


def test_continuous_readings_and_readings_that_stand_still_show_no_step():
    rng = np.random.default_rng(1)
    assert step_of(rng.normal(-80.0, 5.0, 4000)) is None
    assert step_of(np.round(rng.normal(-80.0, 5.0, 40), 1)) is None  # a few readings show nothing yet
    assert step_of(np.full(4000, -54.0)) is None
    assert step_of(np.array([])) is None


def test_the_step_that_the_station_file_tells_counts_before_the_one_that_is_seen():
    readings = pl.DataFrame({"reading": np.tile(np.arange(-90.0, -80.0), 20)})
    facts = nights.facts(nights.Night())
    assert with_step(facts, readings).meter.step_db == 1.0
    told = replace(facts, meter=replace(facts.meter, step_db=0.5))
    assert with_step(told, readings).meter.step_db == 0.5
    curved = replace(facts, meter=replace(facts.meter, curve=((-100.0, -130.0), (0.0, -30.0), (10.0, 10.0))))
    assert with_step(curved, readings).meter.step_db == pytest.approx(2.5)


@pytest.mark.slow
def test_a_coarse_meter_whose_step_nobody_told_does_not_make_the_gain_look_sure():
    """A steady load and steady noise on a 1 dB meter: what is rounded away stays away, however often it is read."""
    held = []
    for seed in range(12):
        gain_db = 15.0 + seed / 12
        night = nights.Night(
            gain=10 ** (gain_db / 10), external_k=3e6 * (1 + seed / 20), step_db=1.0, seed=seed, passes=40, wander=0.0,
            carriers=False, averaging_s=0.5,
        )  # fmt: skip
        facts = nights.facts(night, unit="dB-over-S9")
        untold = replace(facts, meter=replace(facts.meter, step_db=None, averaging_s=None))
        gain = find(summarise_day(nights.readings(night), untold), untold)[0].bands[0].gain_db
        held.append(gain.low <= gain_db <= gain.high)
    assert sum(held) >= 10


def test_levels_shown_and_the_rule_by_eye_are_those_of_the_present_unit_and_the_usual_bandwidth():
    made = summaries.made(summaries.Place("40 m"), summaries.Place("80 m"), nights=8)
    of_nights = nightly(made)
    assert measured_alike(of_nights) is of_nights

    early = pl.col("night") < date(2026, 1, 8)
    forty = pl.col("band") == "40 m"
    mixed = made.with_columns(
        pl.when(early & forty).then(ANOTHER_UNIT).otherwise(0).cast(pl.Int64).alias("scale"),
        pl.when(early & ~forty).then(500).otherwise(2400).cast(pl.Int64).alias("bandwidth_hz"),
    )
    moved = mixed.with_columns(
        pl.when(early).then(pl.col(name) + 73.0).otherwise(name).alias(name)
        for name in ("level_antenna_bypass", "meter_reading_bypass")
    )
    kept = measured_alike(nightly(moved))
    assert kept["night"].min() == date(2026, 1, 8)
    assert set(kept["band"]) == {"40 m", "80 m"}

    facts = summaries.facts(summaries.Place("40 m"), summaries.Place("80 m"))
    late = made.filter(~early)
    for band in ("40 m", "80 m"):
        here = pl.col("band") == band
        gain = combine(GainMethods(late.filter(here)), facts)
        thresholds = [switching_threshold(rows.filter(here), gain, facts) for rows in (moved, late)]
        assert thresholds[0].reading == thresholds[1].reading
    shown = [find(rows, facts)[1].levels.filter(pl.col("path") == "antenna-bypass") for rows in (moved, late)]
    np.testing.assert_allclose(shown[0]["level"], shown[1]["level"])
