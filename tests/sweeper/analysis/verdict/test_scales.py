"""Verdicts that hold on every scale of the meter; which levels were tested, and which bands stand on dead ones."""

from dataclasses import replace

import numpy as np
import polars as pl
import pytest

from sweeper.analysis.statistics.interval import Interval
from sweeper.analysis.verdict.judge import Judged
from sweeper.analysis.verdict.scales import (
    CALIBRATED,
    DEAD,
    UNTESTED,
    Meter,
    held_on_all,
    meter_of,
    without_untested,
)
from tests.sweeper.analysis.summaries import Place, facts, made

HERE = ("40 m", 20)


def judged(verdict="stage", value=3.0, low=2.0, high=4.0, level=0.01, **more):
    return Judged(verdict, Interval(value, low, high), level, **more)


def held(first, *others):
    (found,) = held_on_all({HERE: first}, [{HERE: other} if other else {} for other in others])
    return found


def test_one_scale_alone_says_what_it_says():
    assert held(judged()) == judged()


def test_a_verdict_that_all_scales_give_is_as_sure_as_on_the_worst_and_its_interval_covers_all():
    found = held(
        judged(), judged(value=2.5, low=1.5, high=3.5, level=0.04), judged(value=4.0, low=3.5, high=4.5)
    )
    assert found == judged(low=1.5, high=4.5, level=0.04)
    assert held(judged(level=0.03), judged(level=0.01)).level == 0.03


@pytest.mark.parametrize("other", ["bypass", "either", "undecided"])
def test_a_verdict_that_another_scale_does_not_give_is_withheld(other):
    found = held(judged(), judged(), judged(other))
    assert (found.verdict, found.snr_change_db, found.level, found.withheld) == (
        "undecided",
        None,
        0.01,
        UNTESTED,
    )


def test_a_scale_without_the_hour_gives_no_verdict_there():
    assert held(judged(), None).withheld == UNTESTED


def test_where_nothing_was_decided_the_interval_covers_what_the_scales_say():
    found = held(judged("undecided", level=0.3), judged("stage", low=1.0, high=9.0))
    assert found == judged("undecided", low=1.0, high=9.0, level=0.3)
    assert held(judged("undecided"), replace(judged("stage"), snr_change_db=None)).snr_change_db is None
    assert held(replace(judged("undecided"), snr_change_db=None), judged("stage")).snr_change_db is None


def test_what_is_withheld_for_another_reason_stays_so():
    stuck = Judged("undecided", None, 0.2, withheld="meter-stuck")
    assert held(stuck, judged()) == stuck


def test_bands_have_the_flags_of_what_they_stand_on():
    meter = Meter(dead_bands=frozenset({"40 m", "20 m"}), unsure_bands=frozenset({"20 m"}))
    assert meter.troubles("40 m") == {DEAD}
    assert meter.troubles("20 m") == {DEAD, UNTESTED}
    assert meter.troubles("10 m") == frozenset()


FORTY = Place("40 m", night_sd_db=1.0)


def scatter(rows, **by_path):
    """Summaries whose visits scatter so: squared slopes by path, ten visits each."""
    paths = ("antenna_bypass", "antenna_stage", "load_bypass", "load_stage")
    return rows.with_columns(
        *[pl.lit(by_path.get(path, 1.0)).alias(f"scatter_{path}") for path in paths],
        *[pl.lit(10).alias(f"scatter_visits_{path}") for path in paths],
    )


def uncalibrated(*places):
    told = facts(*places)
    return replace(told, meter=replace(told.meter, calibrated=False, averaging_s=0.02, step_db=0.1))


def test_a_calibrated_meter_and_one_without_readings_are_taken_at_their_word():
    rows = scatter(made(FORTY, nights=5))
    assert meter_of(rows.clear(), uncalibrated(FORTY)) == CALIBRATED
    told = facts(FORTY)
    assert meter_of(rows, replace(told, meter=replace(told.meter, calibrated=True))) == CALIBRATED


def test_an_honest_meter_was_tested_between_its_levels():
    rows = scatter(made(FORTY, nights=5))
    meter = meter_of(rows, uncalibrated(FORTY))
    levels = [
        rows.filter(pl.col("for") == "noise")[f"level_{source}_{route}"].to_numpy()
        for source in ("antenna", "load") for route in ("bypass", "stage")
    ]  # fmt: skip
    assert meter.tested_db is not None
    assert meter.tested_db[0] == pytest.approx(min(each.min() for each in levels))
    assert meter.tested_db[1] >= max(each.max() for each in levels) - 1e-9
    assert [scale.plain for scale in meter.scales] == [True]
    assert not meter.dead_bands and not meter.unsure_bands


def test_a_band_that_stands_on_dead_levels_is_named():
    rows = scatter(made(FORTY, Place("10 m", antenna_k=3e7, night_sd_db=1.0), nights=5), load_bypass=0.01)
    meter = meter_of(rows, uncalibrated(FORTY, Place("10 m", antenna_k=3e7)))
    assert "40 m" in meter.dead_bands
    assert any(each.dead for each in meter.slopes)


def test_carriers_at_untested_levels_are_left_out_where_noise_tells_the_gain():
    from sweeper.analysis.band.gain_methods import GainMethods

    methods = GainMethods(made(FORTY, nights=5))
    assert methods.carriers is not None and methods.load is not None
    everywhere = Meter(tested_db=(-300.0, 300.0))
    assert without_untested(methods, everywhere) is methods
    noise_alone = without_untested(methods, Meter(tested_db=None))
    assert noise_alone.carriers is None and noise_alone.load is not None
    only = GainMethods(made(Place("40 m", night_sd_db=0.1, load=False), nights=3))
    assert only.carriers is not None and only.load is None and only.bend is None
    assert without_untested(only, Meter(tested_db=None)) is only


def test_hours_without_a_pass_tell_nothing_of_where_the_meter_was_tested():
    rows = scatter(made(FORTY, nights=5))
    levels = [pl.lit(40.0).alias(name) for name in rows.columns if name.startswith(("level_antenna", "level_load"))
              and not name.endswith("_se_db")]  # fmt: skip
    loud = rows.filter(pl.col("for") == "noise").with_columns(*levels, passes=pl.lit(0, pl.Int64))
    told = uncalibrated(FORTY)
    assert meter_of(pl.concat([rows, loud]), told).slopes == meter_of(rows, told).slopes
    assert meter_of(pl.concat([rows, loud]), told).tested_db == meter_of(rows, told).tested_db
    assert meter_of(loud, told) == CALIBRATED


@pytest.mark.parametrize(("load", "beyond"), [(True, False), (False, True)])
def test_where_only_carriers_tell_the_gain_scales_that_bend_above_the_noise_stay_open(load, beyond):
    """Carriers 50 dB over the noise, where no scatter tells the slope; with a load nothing hangs on them."""
    place = Place("40 m", night_sd_db=0.1, load=load)
    rows = scatter(made(place, nights=5)).with_columns(
        pl.when(pl.col("for") == "carrier")
        .then(pl.lit(level))
        .otherwise(pl.col(f"level_antenna_{route}"))
        .alias(f"level_antenna_{route}")
        for route, level in (("bypass", 10.0), ("stage", 25.0))
    )
    scales = meter_of(rows, uncalibrated(place)).scales
    assert any(scale.beyond is not None for scale in scales) == beyond


def test_carriers_at_untested_levels_are_left_out_where_other_carriers_tell_the_gain():
    only = made(Place("40 m", night_sd_db=0.1, load=False), nights=8)
    loud = (pl.col("for") == "carrier") & (pl.col("night") < only["night"].unique().sort()[4])
    rows = only.with_columns(
        pl.when(loud).then(pl.lit(60.0)).otherwise(pl.col(name)).alias(name)
        for name in ("level_antenna_bypass", "level_antenna_stage")
    )
    from sweeper.analysis.band.gain_methods import GainMethods

    methods = GainMethods(rows)
    assert methods.carriers is not None and methods.load is None and methods.bend is None
    kept = without_untested(methods, Meter(tested_db=(-200.0, 0.0)))
    assert kept is not methods and kept.carriers is not None
    assert len(kept.summaries) == len(rows.filter(~loud))


def carriers_on(rows, ratio, sure=1.0, places=("40 m",), strays_db=0.0):
    """Carriers far over the noise, whose gain is `ratio` times that by noise; errors as many times as large."""
    from sweeper.analysis.band.gain_methods import GainMethods

    parts = []
    for nth, band in enumerate(places):
        here = rows.filter(pl.col("band") == band)
        load = GainMethods(here).load
        carrier = pl.col("for") == "carrier"
        spread = pl.int_range(pl.len()).over("for") % 10
        told = {
            "carrier_gain_db": ratio * load.gain_db + (spread - 4.5) * strays_db,
            "carrier_gain_se_db": pl.lit(0.05 * sure),
            "level_antenna_bypass": -20.0 + spread - 5 * nth,
            "level_antenna_stage": -5.0 + spread - 5 * nth,
        }
        parts.append(
            here.with_columns(
                pl.when(carrier).then(each).otherwise(name).alias(name) for name, each in told.items()
            )
        )
    return pl.concat(parts)


@pytest.mark.parametrize(
    ("ratio", "tested"), [(1.0, True), (1.07, True), (0.94, True), (1.2, False), (0.6, False)]
)
def test_carriers_whose_gain_is_that_by_noise_test_the_scale_up_to_their_levels(ratio, tested):
    """Of 20 levels in bypass from −20 to −11 dB and as many behind the stage from −5 to 4, 98 % lie at 4 or below."""
    rows = carriers_on(scatter(made(FORTY, nights=10, hours=(18, 19))), ratio)
    told = meter_of(rows, uncalibrated(FORTY)).tested_db
    assert told is not None and told[0] < -55.0
    assert (told[1] == pytest.approx(4.0)) == tested
    assert tested or told[1] < -30.0


def test_the_gain_by_carriers_has_to_be_known_to_an_eighth_of_that_by_noise():
    """Standard errors of 0.12 of the slope; the error of both gains together, over the gain by noise."""
    from sweeper.analysis.band.gain_methods import GainMethods

    rows = scatter(made(FORTY, nights=10, hours=(18, 19)))
    seen = []
    for strays_db in (0.2, 1.0, 2.0, 2.5, 3.0, 4.0, 8.0):
        on = carriers_on(rows, 1.0, 10.0, strays_db=strays_db)
        methods = GainMethods(on)
        error = np.hypot(methods.carriers.se_db, methods.load.se_db) / methods.load.gain_db
        told = meter_of(on, uncalibrated(FORTY)).tested_db
        seen.append(told[1] == pytest.approx(4.0))
        assert seen[-1] == (error <= 0.12), (strays_db, error)
    assert seen[0] and not seen[-1]


def test_bands_test_the_scale_together_by_their_gains_and_errors():
    """A band whose carriers agree and is well known outweighs one that disagrees and is hardly known."""
    twenty = Place("20 m", night_sd_db=1.0)
    rows = scatter(made(FORTY, twenty, nights=10, hours=(18, 19)))
    bands = [rows.filter(pl.col("band") == name) for name in ("40 m", "20 m")]
    for off in (0, 1):
        both = pl.concat([
            carriers_on(bands[at], 0.6 if at == off else 1.0, 60.0 if at == off else 1.0, (name,))
            for at, name in enumerate(("40 m", "20 m"))
        ])  # fmt: skip
        told = meter_of(both, uncalibrated(FORTY, twenty)).tested_db
        assert told is not None and told[1] == pytest.approx(4.0)
    wrong = pl.concat([carriers_on(bands[0], 0.6, 1.0), carriers_on(bands[1], 1.0, 1.0, ("20 m",))])
    told = meter_of(wrong, uncalibrated(FORTY, twenty)).tested_db
    assert told is not None and told[1] < -30.0


def test_a_meter_that_computes_its_levels_from_samples_is_taken_at_its_word():
    told = uncalibrated(FORTY)
    rows = scatter(made(FORTY, nights=5), load_bypass=0.01)
    assert meter_of(rows, replace(told, meter=replace(told.meter, linear=True))) == CALIBRATED
    assert meter_of(rows, told) != CALIBRATED
