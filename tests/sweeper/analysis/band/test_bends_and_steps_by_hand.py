"""Gain by the bend of the noise against SciPy's fit and statsmodels' errors; steps of a stage in rows written down."""

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import polars as pl
import pytest
import statsmodels.api as sm
from scipy.optimize import least_squares

from sweeper.analysis.band.noise_bend import gain_by_bend
from sweeper.analysis.band.stage_steps import LEAST_SE_DB, StageStep, stage_steps
from tests.sweeper.analysis.band.test_noise_bend import rows as bent
from tests.sweeper.analysis.summaries import Place, made

NEPER_DB = 10 / np.log(10)


@pytest.mark.parametrize(
    ("nights", "own_db", "noise_db"), [(6, (8.0, 3.0), 0.05), (9, (8.0, 3.0), 0.2), (8, (3.0, 9.0), 0.1)]
)
def test_the_gain_is_scipys_least_squares_with_statsmodels_clustered_errors(
    nights: int, own_db: tuple[float, float], noise_db: float
) -> None:
    """difference = gain + 10·log₁₀(1 + c/p): fitted by SciPy; errors by statsmodels, clustered by night, n/(n − 2)."""
    told = bent(nights=nights, own_db=own_db, noise_db=noise_db)
    level, difference = told["level_antenna_bypass"].to_numpy(), told["difference_db"].to_numpy()
    power = 10 ** ((level - level.mean()) / 10)
    fit = least_squares(
        lambda x: difference - x[0] - 10 * np.log10(1 + x[1] / power),
        [15.0, 0.0],
        xtol=1e-12,
        ftol=1e-12,
        bounds=([-np.inf, -0.94 * power.min()], np.inf),
    )
    gain_db, bend = fit.x
    slopes = np.column_stack([np.ones(len(power)), NEPER_DB / (power + bend)])
    left = difference - gain_db - 10 * np.log10(1 + bend / power)
    groups = told["night"].to_numpy()
    cluster = {"groups": groups, "use_correction": False}
    linear = sm.OLS(left, slopes).fit(cov_type="cluster", cov_kwds=cluster)
    se_db = float(linear.bse[0]) * np.sqrt(nights / (nights - 2))
    found = gain_by_bend(told)
    assert found is not None
    assert found.value == pytest.approx(gain_db, abs=0.003)
    assert found.se == pytest.approx(np.hypot(se_db, 0.25), rel=0.01)
    variance, stands = se_db**2, 0.25**2
    assert found.dof == pytest.approx(
        (variance + stands) ** 2 / (variance**2 / (nights - 2) + stands**2 / 1e6), rel=0.05
    )


def test_the_step_of_the_meter_stays_in_the_error() -> None:
    coarse = gain_by_bend(bent().with_columns(pl.lit(0.4).alias("resolution_db")))
    assert coarse is not None and coarse.se == pytest.approx(np.hypot(0.4, 0.25), rel=0.01)


def test_hours_without_a_pass_or_with_a_bound_do_not_bend_anything() -> None:
    told = bent()
    for spoilt in ({"passes": pl.lit(0, pl.Int64)}, {"difference_bound": pl.lit("at least")}):
        wrong = told.with_columns(pl.lit(20.0).alias("difference_db"), **spoilt)
        assert gain_by_bend(pl.concat([told, wrong])) == gain_by_bend(told)
        assert gain_by_bend(wrong) is None


def test_channels_of_an_hour_are_one_value() -> None:
    told = bent()
    other = told.with_columns(pl.col("difference_db") + 1.0)
    found, alone = gain_by_bend(pl.concat([told, other])), gain_by_bend(told)
    assert found is not None and alone is not None
    assert found.value == pytest.approx(alone.value + 0.5, abs=0.01) and found.dof == alone.dof


@pytest.mark.parametrize(("scale", "told"), [(1.05, True), (0.95, False)])
def test_noise_must_have_strayed_by_a_decibel(scale: float, told: bool) -> None:
    """Standard deviation of the levels, one decibel and a little more or less."""
    made_so = bent(sd_db=3.0)
    spread = float(np.std(made_so["level_antenna_bypass"].to_numpy()))
    level = pl.col("level_antenna_bypass")
    assert (gain_by_bend(made_so.with_columns(level * scale / spread)) is not None) == told


PLACE = Place("40 m", night_sd_db=1.5, error_db=0.05)
FIRST = date(2026, 1, 5)


def steps_of(*frames: pl.DataFrame) -> dict[str, StageStep]:
    return stage_steps({str(frame["band"][0]): frame for frame in frames})


def moved(rows: pl.DataFrame, at: int, by_db: float, *columns: str) -> pl.DataFrame:
    late = pl.col("night") >= FIRST + timedelta(days=at)
    return rows.with_columns(
        pl.when(late).then(pl.col(name) + by_db).otherwise(name).alias(name) for name in columns
    )


@pytest.mark.parametrize("by_db", [-4.0, 4.0])
def test_what_stepped_is_named_with_its_night_and_size(by_db: float) -> None:
    whole = made(PLACE, nights=8)
    load = steps_of(moved(whole, 5, by_db, "load_difference_db"))["40 m"]
    assert (load.night, load.what) == (FIRST + timedelta(days=5), "load difference")
    assert load.size_db == pytest.approx(by_db, abs=0.2)
    gain = steps_of(moved(whole, 5, by_db, "carrier_gain_db", "stage_power_rise_db"))["40 m"]
    assert (gain.night, gain.what) == (FIRST + timedelta(days=5), "gain")
    bare = made(Place("40 m", night_sd_db=1.5, error_db=0.05, load=False, carrier=False), nights=8)
    noise = steps_of(moved(bare, 5, by_db, "difference_db"))["40 m"]
    assert (noise.night, noise.what) == (FIRST + timedelta(days=5), "noise difference")
    assert noise.size_db == pytest.approx(by_db, abs=0.5)


@pytest.mark.parametrize(
    ("what", "words"),
    [
        ("gain", "the gain changed by −3.2 dB"), ("load difference", "what the stage does to the load's noise changed"),
        ("noise difference", "what the stage does to the antenna's noise changed"),
    ],
)  # fmt: skip
def test_a_step_is_told_with_what_to_look_for(what: str, words: str) -> None:
    sentence = StageStep(date(2026, 1, 15), -3.2, what).sentence
    assert words in sentence and "Since the night of 2026-01-15" in sentence and "bad contact" in sentence


@pytest.mark.parametrize(("by_db", "told"), [(0.9, False), (1.15, True)])
def test_a_gain_steps_from_one_decibel_on_and_a_noise_difference_from_two(by_db: float, told: bool) -> None:
    still = Place("40 m", night_sd_db=1.5, error_db=0.01)
    assert bool(steps_of(moved(made(still, nights=8), 4, by_db, "load_difference_db"))) == told
    bare = Place("40 m", night_sd_db=1.5, error_db=0.01, load=False, carrier=False)
    assert bool(steps_of(moved(made(bare, nights=12), 6, 2 * by_db, "difference_db"))) == told


def test_four_nights_are_the_fewest() -> None:
    assert "40 m" in steps_of(moved(made(PLACE, nights=4), 2, -9.0, "load_difference_db"))
    assert steps_of(moved(made(PLACE, nights=3), 2, -9.0, "load_difference_db")) == {}


def test_of_up_to_three_steps_the_last_is_told() -> None:
    """Each step a third of the one before, so that each is clear beside those that are still to come."""
    for last in (1, 2, 3):
        rows = made(PLACE, nights=4 * last + 4)
        for nth in range(1, last + 1):
            rows = moved(rows, 4 * nth, -(3.0 ** (last - nth + 1)), "load_difference_db")
        assert steps_of(rows)["40 m"].night == FIRST + timedelta(days=4 * last)


def test_the_load_tells_before_the_gain() -> None:
    whole = made(PLACE, nights=9)
    both = moved(moved(whole, 3, -4.0, "load_difference_db"), 6, -4.0, "carrier_gain_db")
    assert steps_of(both)["40 m"].night >= FIRST + timedelta(days=3)
    first = steps_of(moved(whole, 5, -4.0, "load_difference_db", "carrier_gain_db"))["40 m"]
    assert first.what == "load difference"


def test_each_band_has_its_own_step() -> None:
    other = made(Place("20 m", night_sd_db=1.5, error_db=0.05), nights=8)
    found = steps_of(moved(made(PLACE, nights=8), 5, -4.0, "load_difference_db"), other)
    assert set(found) == {"40 m"}


def test_hours_that_stand_apart_are_each_held_against_their_own_usual_value() -> None:
    """An hour 3 dB above the other; some nights have the one, some the other: nothing stepped."""
    rows = made(PLACE, nights=10, hours=(18, 19))
    late = pl.col("night") >= FIRST + timedelta(days=5)
    uneven = rows.filter((pl.col("hour_utc") == 19) == late).with_columns(
        pl.when(pl.col("hour_utc") == 19).then(pl.col(name) + 3.0).otherwise(name).alias(name)
        for name in ("load_difference_db", "carrier_gain_db")
    )
    assert steps_of(uneven) == {}


def test_a_gain_that_carriers_know_better_steps_by_what_they_say() -> None:
    """Of two ways to the gain the surer one is watched: one that the load tells to 3 dB hides what carriers show."""
    sure = made(PLACE, nights=10).with_columns(
        pl.when(pl.col("load_gain_se_db").is_not_null()).then(3.0).alias("load_gain_se_db"),
        pl.when(pl.col("carrier_gain_se_db").is_not_null()).then(0.1).alias("carrier_gain_se_db"),
        pl.when(pl.col("carrier_gain_db").is_not_null()).then(15.0).alias("carrier_gain_db"),
    )
    found = steps_of(moved(sure, 5, -4.0, "carrier_gain_db"))["40 m"]
    assert (found.what, found.size_db) == ("gain", pytest.approx(-4.0))
    unsure = sure.with_columns(
        pl.when(pl.col("carrier_gain_se_db") > 0).then(9.0).alias("carrier_gain_se_db")
    )
    assert steps_of(moved(unsure, 5, -4.0, "carrier_gain_db")) == {}
    for passes, told in ((0, False), (1, True)):
        heard = moved(sure, 5, -4.0, "carrier_gain_db").with_columns(pl.lit(passes).alias("carrier_passes"))
        assert bool(steps_of(heard)) == told


def test_hours_whose_error_nobody_knows_count_as_known_to_a_decibel() -> None:
    rows = moved(made(replace(PLACE, carrier=False), nights=8), 4, 6.0, "load_difference_db")
    for error_db, told in ((None, True), (1.15, True), (1.35, False)):
        known = rows.with_columns(pl.lit(error_db, pl.Float64).alias("load_difference_se_db"))
        assert bool(steps_of(known)) == told


@pytest.mark.parametrize(
    "spoilt",
    [
        {"passes": pl.lit(0, pl.Int64)},
        {"difference_bound": pl.lit("at least")},
        {"noise_rise_bound": pl.lit("at most")},
    ],
)
def test_nights_without_a_pass_or_with_a_bound_in_place_of_a_value_step_by_nothing(
    spoilt: dict[str, pl.Expr],
) -> None:
    rows = moved(made(replace(PLACE, carrier=False), nights=10), 5, -4.0, "load_difference_db")
    assert "40 m" in steps_of(rows)
    late = pl.col("night") >= FIRST + timedelta(days=5)
    told = rows.with_columns(
        pl.when(late).then(value).otherwise(name).alias(name) for name, value in spoilt.items()
    )
    assert steps_of(told) == {}


def test_no_hour_is_known_better_than_any_reading_can_be() -> None:
    """One hour with an error of nearly nothing and one with the least that counts: both weigh alike, so 4 dB are 2."""
    rows = made(Place("40 m", night_sd_db=1.5, error_db=0.01, carrier=False), nights=10, hours=(18, 19))
    one = pl.col("hour_utc") == 19
    known = rows.with_columns(
        pl.when(one).then(1e-9).otherwise(LEAST_SE_DB).alias("load_difference_se_db"),
        pl.when(one & (pl.col("night") >= FIRST + timedelta(days=5)))
        .then(pl.col("load_difference_db") - 4.0)
        .otherwise("load_difference_db")
        .alias("load_difference_db"),
    )
    assert steps_of(known)["40 m"].size_db == pytest.approx(-2.0, abs=0.2)


def test_hours_weigh_by_their_errors() -> None:
    """An hour known ten times worse than the other does not carry the night with it."""
    rows = made(Place("40 m", night_sd_db=1.5, error_db=0.02), nights=10, hours=(18, 19))
    wild = (pl.col("hour_utc") == 19) & (pl.col("night") >= FIRST + timedelta(days=5))
    for worse, stepped in ((1.0, True), (10.0, False)):
        told = rows.with_columns(
            (pl.col("load_difference_db") + pl.when(wild).then(2.6).otherwise(0.0)).alias(
                "load_difference_db"
            ),
            pl.when(pl.col("hour_utc") == 19).then(0.1 * worse).otherwise(0.1).alias("load_difference_se_db"),
        )
        assert ("load difference" in {step.what for step in steps_of(told).values()}) == stepped


def test_no_nightly_mean_is_believed_to_stand_stiller_than_a_twentieth_of_a_decibel() -> None:
    exact = made(Place("40 m", night_sd_db=1.5, error_db=1e-4, carrier=False), nights=8)
    told = exact.with_columns(
        pl.lit(1e-4).alias("load_difference_se_db"), pl.lit(5.0).alias("load_difference_db")
    )
    by_night = (pl.col("night") - FIRST).dt.total_days()
    wandering = told.with_columns(pl.col("load_difference_db") + 0.02 * (by_night % 3))
    assert steps_of(moved(wandering, 4, 1.2, "load_difference_db"))["40 m"].night == FIRST + timedelta(days=4)
    assert steps_of(wandering) == {}


def test_four_nights_bend_enough_and_a_step_that_is_not_told_is_none() -> None:
    assert gain_by_bend(bent(nights=3, sd_db=6.0)) is None
    four = gain_by_bend(bent(nights=4, sd_db=6.0))
    assert four is not None
    untold = bent(nights=4, sd_db=6.0).with_columns(pl.lit(None, pl.Float64).alias("resolution_db"))
    assert gain_by_bend(untold) == four
