"""Whatever makes a figure look better or worse than it is gets looked for first, and named."""

from dataclasses import replace
from datetime import timedelta

import numpy as np
import polars as pl
import pytest

from sweeper.analysis.band.chain_faults import faults
from sweeper.analysis.band.gain_methods import GainMethods
from sweeper.analysis.band.overload import Diagnosis, diagnose, product_order, seen_together, without_overload
from sweeper.analysis.day.reduce import summarise_day
from sweeper.analysis.facts import Products
from sweeper.analysis.findings.build import find
from sweeper.analysis.findings.tables import health_table
from tests.sweeper.analysis.nights import Night, facts, readings, summary

pytestmark = pytest.mark.slow


def season(night, nights=3, change=None):
    days = []
    for nth in range(nights):
        one = replace(night, seed=night.seed + nth, begins=night.begins + timedelta(days=nth))
        days.append(summarise_day(change(readings(one)), facts(one)) if change else summary(one))
    return pl.concat(days)


HEALTHY = Night(external_k=20_000)


@pytest.mark.parametrize(
    "night",
    [
        HEALTHY,
        replace(HEALTHY, step_db=1.0),
        replace(HEALTHY, step_db=6.0),
        replace(HEALTHY, external_k=500),
        replace(HEALTHY, external_k=1e7),
        replace(HEALTHY, stage_k=50_000),
        replace(HEALTHY, burst_share=0.05),
        replace(HEALTHY, loads=False),
        replace(HEALTHY, carriers=False),
    ],
)
def test_a_healthy_chain_is_not_accused(night):
    assert diagnose(GainMethods(season(night)), facts(night)).flags == ()


def only_early(night):
    """Intermodulation in the first hours of the night, when carriers are strong there."""
    loud = replace(night, intermodulation_k=31.6228 * 30_000, carrier_over_external=60_000)
    early = readings(loud).filter(pl.col("pass") < 24)
    return pl.concat([early, readings(night).filter(pl.col("pass") >= 24)]).sort("time")


@pytest.mark.parametrize(
    ("carriers", "said"),
    [(False, "so does a gain that is higher at these hours"), (True, "that is intermodulation, not noise")],
)
def test_without_carriers_a_gain_that_is_higher_at_these_hours_may_do_it_as_well(carriers, said):
    night = replace(HEALTHY, passes=60, carriers=carriers)
    days = []
    for nth in range(3):
        one = replace(night, seed=nth, begins=night.begins + timedelta(days=nth))
        early = readings(replace(one, intermodulation_k=31.6228 * 30_000)).filter(pl.col("pass") < 24)
        late = readings(one).filter(pl.col("pass") >= 24)
        days.append(summarise_day(pl.concat([early, late]).sort("time"), facts(one)))
    found = diagnose(GainMethods(pl.concat(days)), facts(night))
    assert found.flags[0] == "overload"
    assert said in found.sentences[0]


def test_intermodulation_that_raises_noise_more_than_the_gain_is_called_overload():
    night = replace(HEALTHY, passes=60)
    days = [
        summarise_day(
            only_early(replace(night, seed=nth, begins=night.begins + timedelta(days=nth))), facts(night)
        )
        for nth in range(3)
    ]
    found = diagnose(GainMethods(pl.concat(days)), facts(night))
    assert found.flags[0] == "overload"
    assert set(found.overloaded_hours) == {16, 17, 18, 19}
    assert "that is intermodulation, not noise from outside" in found.sentences[0]
    assert health_table(pl.concat(days), {"40 m": found})["overload"].to_list() == [4, 4, 4]
    assert set(without_overload(pl.concat(days), found)["hour_utc"].unique()).isdisjoint(
        found.overloaded_hours
    )


def test_overload_shows_without_carriers_to_compare_where_other_hours_are_clean():
    night = replace(HEALTHY, passes=60)
    silent = [
        summarise_day(
            only_early(replace(night, seed=nth, begins=night.begins + timedelta(days=nth))), facts(night)
        )
        for nth in range(3)
    ]
    summaries = pl.concat(silent).filter(pl.col("for") == "noise")
    assert "overload" in diagnose(GainMethods(summaries), facts(night)).flags


def with_products(night, kelvin_by_night, change=lambda table: table):
    """Nights whose first four hours hold products that fade up and down by 3 dB from pass to pass."""
    rng = np.random.default_rng(1)
    days = []
    for nth, products_k in enumerate(kelvin_by_night):
        one = replace(night, seed=night.seed + nth, begins=night.begins + timedelta(days=nth))
        passes = [
            readings(replace(one, intermodulation_k=products_k * 10 ** rng.normal(0, 0.3))).filter(
                pl.col("pass") == number
            )
            for number in range(24)
        ]
        rest = readings(one).filter(pl.col("pass") >= 24)
        days.append(summarise_day(change(pl.concat([*passes, rest]).sort("time")), facts(night)))
    return pl.concat(days)


@pytest.mark.slow
def test_products_of_two_nights_in_three_are_overload_where_antenna_and_load_are_nearly_alike():
    """The nights with products are the unsteady ones: a mean that weighs nights by steadiness believes the third."""
    night = Night(external_k=700.0)
    found = diagnose(GainMethods(with_products(night, (60_000.0, 0.0, 60_000.0))), facts(night))
    assert found.overloaded_hours == (16, 17, 18, 19)
    assert diagnose(GainMethods(with_products(night, (0.0, 0.0, 0.0))), facts(night)).flags == ()


@pytest.mark.slow
def test_overload_shows_where_the_load_lies_below_the_scale_of_the_meter():
    """The load in bypass stands at −130 dBm in 2400 Hz, the scale ends at −127."""
    night = replace(HEALTHY, floor=-127.0)
    found = diagnose(GainMethods(with_products(night, (4e6, 4e6, 4e6))), facts(night))
    assert found.overloaded_hours == (16, 17, 18, 19)
    assert diagnose(GainMethods(with_products(night, (0.0, 0.0, 0.0))), facts(night)).flags == ()


def test_a_stray_reading_in_one_of_sixty_nights_is_no_overload():
    night = season(HEALTHY, 1).filter(pl.col("for") == "noise")
    nights = [night.with_columns(pl.col("night") + timedelta(days=nth)) for nth in range(60)]
    stray = pl.when(pl.col("hour_utc") == 18).then(40.0).otherwise(0.0)
    nights[7] = nights[7].with_columns(pl.col("stage_power_rise_db") + stray)
    assert diagnose(GainMethods(pl.concat(nights)), facts(HEALTHY)).overloaded_hours == ()


def test_noise_rising_more_than_carriers_at_every_hour_alike_is_a_mismatch():
    night = replace(HEALTHY, passes=100)

    def detuned_load(table):
        on_load = pl.col("source") == "antenna"
        noise = pl.col("for") == "noise"
        return table.with_columns(
            pl.when(on_load & noise & (pl.col("route") == "stage"))
            .then(pl.col("dbm") + 2)
            .otherwise("dbm")
            .alias("dbm")
        )

    assert diagnose(GainMethods(season(night, 8, detuned_load)), facts(night)).flags == ("mismatch",)


@pytest.mark.slow
def test_hours_that_stand_out_of_a_little_excess_everywhere_are_overload_not_a_mismatch():
    """A gain taken a decibel too low makes every hour look a little overloaded; products make some look much so."""
    noise = (pl.col("for") == "noise") & (pl.col("source") == "antenna") & (pl.col("route") == "stage")

    def little(table):
        return table.with_columns(pl.when(noise).then(pl.col("dbm") + 2).otherwise("dbm").alias("dbm"))

    night = replace(HEALTHY, passes=100)
    found = diagnose(GainMethods(with_products(night, 8 * (6e6,), little)), facts(night))
    assert "overload" in found.flags


def test_a_relay_that_does_not_move_is_named():
    night = replace(HEALTHY, gain=1.0, stage_k=0.0)
    found = diagnose(GainMethods(season(night)), facts(night))
    assert found.flags == ("stuck-relay",)
    assert "does not move" in found.sentences[0]


def test_a_stage_without_supply_is_named():
    night = replace(HEALTHY, gain=0.05, stage_k=290 * 19, external_k=2_000_000)
    found = diagnose(GainMethods(season(night)), facts(night))
    assert found.flags == ("no-gain",)
    (band,) = find(season(night), facts(night))[0].bands
    assert "the stage has no supply" in band.recommendation
    assert all(period.withheld for period in band.periods)


def test_an_attenuator_that_attenuates_is_not_called_a_dead_amplifier():
    night = replace(HEALTHY, gain=0.05, stage_k=290 * 19, external_k=2_000_000)
    assert diagnose(GainMethods(season(night)), facts(night, rated_gain_db=-13.0)).flags == ()


def test_swapped_routes_show_as_gain_of_the_wrong_sign():
    def swapped(table):
        return table.with_columns(
            pl.when(pl.col("route") == "stage")
            .then(pl.lit("bypass"))
            .otherwise(pl.lit("stage"))
            .alias("route")
        )

    found = diagnose(GainMethods(season(HEALTHY, change=swapped)), facts(HEALTHY))
    assert "no-gain" in found.flags
    assert "receiver-overload" not in found.flags
    (band,) = find(season(HEALTHY, change=swapped), facts(HEALTHY))[0].bands
    assert "stage and bypass are swapped in the station file" in band.recommendation
    assert {period.verdict for period in band.periods} == {"undecided"}


def test_what_most_bands_show_is_said_once_and_holds_for_all_of_them():
    """Three bands take away from an amplifier of 15 dB and one, outside its range, does not."""
    hours = pl.DataFrame(schema={"hour_utc": pl.Int64, "overload": pl.Boolean})
    amplifier = facts(HEALTHY, rated_gain_db=15.0)
    fault = Diagnosis(hours, ("no-gain", "receiver-overload"), ("Takes away.", "Put an attenuator ahead."))
    fine = Diagnosis(hours, (), ())
    found = seen_together({"80 m": fault, "40 m": fault, "20 m": fault, "long wave": fine}, amplifier)
    assert {each.flags for each in found.values()} == {("swapped",)}
    assert [len(each.sentences) for each in found.values()] == [1, 0, 0, 0]
    one = {"80 m": fine, "40 m": fine, "long wave": fault}
    assert seen_together(one, amplifier) == one


def test_load_and_antenna_swapped_show_as_a_load_louder_than_the_antenna():
    def swapped(table):
        other = pl.when(pl.col("source") == "load").then(pl.lit("antenna")).otherwise(pl.lit("load"))
        return table.filter(pl.col("for") == "noise").with_columns(other.alias("source"))

    found = diagnose(GainMethods(season(HEALTHY, change=swapped)), facts(HEALTHY))
    assert "load-above-antenna" in found.flags


def test_a_load_that_follows_the_antenna_is_not_a_load():
    night = replace(HEALTHY, wander=0.8)

    def leaking(table):
        leak = table.filter((pl.col("source") == "antenna") & (pl.col("for") == "noise")).with_columns(
            pl.lit("load").alias("source"), pl.col("time") - pl.duration(seconds=70)
        )
        return pl.concat([table.filter(pl.col("source") != "load"), leak]).sort("time")

    assert "load-follows-antenna" in diagnose(GainMethods(season(night, change=leaking)), facts(night)).flags


def test_channels_that_the_receiver_hears_unlike_are_no_load_that_follows_the_antenna():
    """As a band in one tuning shows it after a single pass: eight channels, load and antenna through one response."""
    one = season(HEALTHY).filter(pl.col("for") == "noise").head(1)
    levels = [name for name in one.columns if name.startswith("level_") and not name.endswith("_se_db")]
    rows = pl.concat(
        one.with_columns(pl.col("hz") + 1000 * nth, *(pl.col(name) + 2.0 * nth for name in levels))
        for nth in range(8)
    )
    assert "load-follows-antenna" not in [flag for flag, _ in faults(GainMethods(rows), facts(HEALTHY))]


def test_a_stage_whose_load_reads_lower_than_the_receiver_alone_is_a_fault_not_a_gain_below_one():
    """Common practice."""

    def controlled(table):
        stage_load = (pl.col("source") == "load") & (pl.col("route") == "stage")
        return table.with_columns(pl.when(stage_load).then(pl.col("dbm") - 12).otherwise("dbm").alias("dbm"))

    found = diagnose(GainMethods(season(HEALTHY, change=controlled)), facts(HEALTHY))
    assert "load-too-low" in found.flags
    assert any("not a gain below one" in sentence for sentence in found.sentences)


def test_carriers_whose_gain_differs_by_their_frequency_are_no_compression():
    """Ten of one band: by chance the stage gives less where the strong ones stand."""
    found = season(HEALTHY)
    carriers = found.filter(pl.col("for") == "carrier")
    levels = ("level_antenna_bypass", "level_antenna_stage")
    ten = [
        carriers.with_columns(
            pl.col("hz") + 1000 * nth,
            pl.col("carrier_gain_db").shuffle(nth) - 0.3 * nth,
            *(pl.col(name) + 5.0 * nth for name in levels),
        )
        for nth in range(10)
    ]
    rows = pl.concat([found.filter(pl.col("for") != "carrier"), *ten])
    assert "compression" not in diagnose(GainMethods(rows), facts(HEALTHY)).flags


def test_a_stage_that_gives_less_to_strong_carriers_is_in_compression():
    night = replace(HEALTHY, passes=140)

    def compressed(table):
        strong = (pl.col("for") == "carrier") & (pl.col("route") == "stage")
        over = (pl.col("dbm") + 80).clip(lower_bound=0)
        return table.with_columns(
            pl.when(strong).then(pl.col("dbm") - 0.7 * over).otherwise("dbm").alias("dbm")
        )

    assert "compression" in diagnose(GainMethods(season(night, change=compressed)), facts(night)).flags


def test_a_meter_in_the_wrong_unit_is_noticed():
    found = diagnose(GainMethods(season(HEALTHY)), facts(HEALTHY, unit="dB-over-S9"))
    assert found.flags == ("meter-unit",)


def test_the_order_of_products_shows_in_what_an_attenuator_takes_away():
    """2 dB for every dB of second-order products, 3 for third-order: any receiver text; common practice."""
    assert product_order(6.0, 6.0) == 1
    assert product_order(12.0, 6.0) == 2
    assert product_order(18.0, 6.0) == 3


def test_no_readings_accuse_nobody():
    assert diagnose(GainMethods(season(HEALTHY).head(0)), facts(HEALTHY)).flags == ()


def test_an_attenuator_that_lowers_noise_by_more_than_its_loss_shows_that_the_receiver_overloads():
    night = replace(HEALTHY, gain=0.1, stage_k=290 * 9, external_k=2_000_000, loads=False)

    def third_order(table):
        in_bypass = (
            (pl.col("for") == "noise") & (pl.col("route") == "bypass") & (pl.col("source") == "antenna")
        )
        return table.with_columns(pl.when(in_bypass).then(pl.col("dbm") + 12).otherwise("dbm").alias("dbm"))

    found = diagnose(GainMethods(season(night, 4, third_order)), facts(night, rated_gain_db=-10.0))
    assert found.flags == ("receiver-overload",)
    assert "the receiver overloads without it" in found.sentences[0]
    swapped = diagnose(GainMethods(season(night, 4, third_order)), facts(night, rated_gain_db=10.0))
    assert swapped.flags == ("no-gain",), "an amplifier that takes away is no attenuator"


def test_without_a_load_noise_that_follows_the_strongest_carrier_is_overload():
    night = replace(HEALTHY, loads=False, passes=100)

    def strong_by_hours(table):
        swing = 6 * (pl.col("time").dt.hour() % 8) / 7
        carrier = pl.col("for") == "carrier"
        noise = (pl.col("for") == "noise") & (pl.col("route") == "stage")
        return table.with_columns(
            pl.when(carrier)
            .then(pl.col("dbm") + swing)
            .when(noise)
            .then(pl.col("dbm") + (2 * swing - 6).clip(lower_bound=0))
            .otherwise("dbm")
            .alias("dbm")
        )

    assert diagnose(GainMethods(season(night, 3, strong_by_hours)), facts(night)).flags == ("overload",)


def test_without_a_load_a_noisy_stage_is_not_called_overloaded():
    night = replace(HEALTHY, loads=False, passes=100, stage_k=30_000, wander=0.8)
    assert diagnose(GainMethods(season(night, 3)), facts(night)).flags == ()


def test_a_meter_that_never_moves_measures_nothing():
    def frozen(table):
        return table.with_columns(pl.lit(-100.0).alias("dbm"), pl.lit(-100.0).alias("reading"))

    found = diagnose(GainMethods(season(HEALTHY, change=frozen)), facts(HEALTHY))
    assert found.flags == ("meter-stuck",)
    assert "Nothing can be said" in found.sentences[0]


def test_lines_that_stand_with_the_stage_in_only_are_overload_in_their_hours_and_are_named() -> None:
    summaries = season(HEALTHY)
    lines = Products("40 m", (7_030_000.0, 7_034_500.0), (19, 20))
    there = find(summaries, replace(facts(HEALTHY), products=(lines,)))[0].bands[0]
    hours = {period.hour_utc: period for period in there.periods}
    assert (
        {hour for hour, period in hours.items() if "overload" in period.flags}
        == {19, 20} & set(hours)
        != set()
    )
    for hour in {19, 20} & set(hours):
        assert (hours[hour].verdict, hours[hour].snr_change_db, hours[hour].withheld) == (
            "undecided",
            None,
            True,
        )
    assert "lines stand at 7030.0 and 7034.5 kHz that are not there without it" in there.recommendation
    without = find(summaries, facts(HEALTHY))[0].bands[0]
    assert "overload" not in without.flags and "7030" not in without.recommendation
