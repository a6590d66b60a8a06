"""Gain by the noise powers of antenna and load in rows written down; channels that differ; the bend's part."""

import numpy as np
import polars as pl
import pytest

from sweeper.analysis.band.gain_methods import GainMethods
from tests.sweeper.analysis.band.test_noise_bend import rows as bent

GAIN = 10**1.5


def hour(
    night: int = 0,
    at: int = 18,
    hz: int = 7_038_500,
    bypass: float = 9.0,
    stage: float | None = None,
    se_db: float | None = 0.3,
    **more: object,
) -> dict[str, object]:
    """One hour of a channel: what the antenna adds in bypass and with the stage in, over the load in bypass.

    The stage lifts the load by 12 dB.
    """
    lift = 10**1.2
    added = bypass * GAIN if stage is None else stage
    return {
        "for": "noise", "hz": hz, "night": night, "hour_utc": at, "passes": 4, "noise_rise_bound": "",
        "difference_bound": "", "noise_rise_db": 10 * np.log10(1 + bypass), "power_rise_db": 10 * np.log10(1 + bypass),
        "stage_power_rise_db": 10 * np.log10(1 + added / lift), "load_difference_db": 12.0,
        "load_gain_se_db": se_db, "gain_resolution_db": 0.0,
    } | more  # fmt: skip


def methods(*hours: dict[str, object]) -> GainMethods:
    told = pl.DataFrame(list(hours), infer_schema_length=None)
    return GainMethods(told.with_columns(pl.from_epoch("night", time_unit="d")))


def load_db(*hours: dict[str, object]) -> float:
    found = methods(*hours).load
    assert found is not None and found.source == "load"
    return found.gain_db


def test_the_gain_is_what_the_stage_adds_over_what_bypass_adds() -> None:
    assert load_db(hour()) == pytest.approx(15.0)
    # 9 and 1 over the load: the powers of both hours, each over its own usual one
    assert load_db(hour(), hour(at=19, bypass=1.0, stage=40.0)) == pytest.approx(
        10 * np.log10((GAIN + 40.0) / 2)
    )


def test_a_night_in_which_chance_leaves_nothing_counts_as_it_is() -> None:
    """A mean of decibels would lose it: bypass reads under the load, and the stage adds hardly anything."""
    usual = [hour(night) for night in range(4)]
    low = hour(4, bypass=-0.5, stage=-0.5 * GAIN)
    assert load_db(*usual, low) == pytest.approx(15.0)
    wrong = load_db(*usual, hour(4, bypass=9.0, stage=0.0))
    assert wrong == pytest.approx(10 * np.log10(GAIN * 4 / 5))


@pytest.mark.parametrize(
    "spoilt",
    [{"passes": 0}, {"noise_rise_bound": "at least"}, {"difference_bound": "at least"}, {"for": "carrier"},
     {"power_rise_db": None}, {"stage_power_rise_db": None}, {"load_difference_db": None}],
)  # fmt: skip
def test_hours_that_tell_a_bound_or_nothing_are_left_out(spoilt: dict[str, object]) -> None:
    wrong = {"load_difference_db": 30.0} | spoilt
    assert load_db(hour(), hour(1, **wrong)) == pytest.approx(15.0)
    assert len(methods(hour(), hour(1, **wrong)).telling_of_load) == 1
    assert methods(hour(**wrong)).load is None


@pytest.mark.parametrize(("se_db", "told"), [(2.9, True), (3.1, False)])
def test_an_hour_counts_that_is_usually_known_to_three_decibels(se_db: float, told: bool) -> None:
    assert (methods(hour(se_db=se_db)).load is not None) == told
    usually = [hour(night, se_db=0.3 if told else 9.0) for night in range(3)]
    assert (methods(*usually, hour(3, se_db=9.0)).load is not None) == told


@pytest.mark.parametrize(("rise_db", "told"), [(0.4, False), (0.6, True)])
def test_an_hour_counts_whose_noise_usually_rises_over_the_load(rise_db: float, told: bool) -> None:
    from sweeper.analysis.thresholds import RISE_FOR_GAIN_DB

    bypass = 10 ** (rise_db * 2 * RISE_FOR_GAIN_DB / 10) - 1
    assert (methods(*[hour(night, bypass=bypass) for night in range(3)]).load is not None) == told


def test_hours_weigh_by_their_usual_error_and_not_by_that_of_the_night() -> None:
    """Gains of 31.6 and 40 known to 0.1 and 0.2 dB weigh four to one, whatever one night says of itself."""
    sure = [hour(night, se_db=0.1) for night in range(3)]
    unsure = [hour(night, at=19, stage=9.0 * 40.0, se_db=0.2) for night in range(3)]
    unsure[1]["load_gain_se_db"] = 0.01
    found = load_db(*sure, *unsure)
    assert found == pytest.approx(10 * np.log10((4 * GAIN + 40.0) / 5), abs=0.01)
    unsure[1]["load_gain_se_db"] = None
    assert load_db(*sure, *unsure) == pytest.approx(found)


def test_no_hour_is_taken_to_be_known_better_than_to_two_hundredths() -> None:
    """0.001 dB beside 0.03 weighs nine to four, as 1/0.02² to 1/0.03²."""
    found = load_db(hour(se_db=0.001), hour(at=19, stage=9.0 * 40.0, se_db=0.03))
    assert found == pytest.approx(10 * np.log10((9 * GAIN + 4 * 40.0) / 13), abs=1e-4)


def test_one_pass_is_enough_and_a_stage_that_adds_nothing_tells_no_gain() -> None:
    assert load_db(hour(passes=1)) == pytest.approx(15.0)
    assert methods(hour(stage=0.0)).load is None
    silent = [hour(night, hz=7_200_000, stage=0.0) for night in range(2)]
    assert load_db(hour(), silent[0]) == pytest.approx(15.0)
    lower, higher = ([hour(night, hz=7_000_000 + hz, stage=9.0 * GAIN * times) for night in range(2)]
                     for hz, times in ((0, 1.0), (100_000, 100.0)))  # fmt: skip
    assert methods(*lower, *higher, *silent).offsets_db == {
        7_000_000: pytest.approx(-10.0),
        7_100_000: pytest.approx(10.0),
    }


@pytest.mark.parametrize(
    ("apart_db", "errors_db", "alike"),
    [
        (0.54, (0.1, 0.3), False),
        (0.56, (0.1, 0.3), True),
        (0.49, (0.05, 0.15), False),
        (0.51, (0.05, 0.15), True),
    ],
)
def test_channels_that_differ_by_more_than_chance_and_half_a_decibel_weigh_nearly_alike(
    apart_db: float, errors_db: tuple[float, float], alike: bool
) -> None:
    """Two channels: χ² = apart²/(s₁² + s₂²), more than 3 of one degree of freedom is too much; what is between them is
    τ² = (χ² − 1)(s₁² + s₂²)/2 (DerSimonian and Laird 1986)."""
    first, second = (each**2 + 0.01**2 for each in errors_db)
    between = (apart_db**2 / (first + second) - 1.0) * (first + second) / 2 if alike else 0.0
    weights = 1 / (first + between), 1 / (second + between)
    found = load_db(
        hour(se_db=errors_db[0]),
        hour(hz=7_100_000, stage=9.0 * GAIN * 10 ** (apart_db / 10), se_db=errors_db[1]),
    )
    assert found == pytest.approx(15.0 + apart_db * weights[1] / sum(weights))


def channels(
    apart_db: float, strays_db: float, nights: int = 16, resolution_db: float = 0.0
) -> dict[int, float]:
    """Offsets of two channels whose gains lie so far apart and stray to and fro, against each other."""
    rows = []
    for night in range(nights):
        way = 1.0 if night % 2 else -1.0
        for hz, side in ((7_000_000, -1.0), (7_100_000, 1.0)):
            gain = 10 ** ((15.0 + side * apart_db / 2) / 10)
            stray = 1.0 + side * way * strays_db * np.log(10) / 10
            rows.append(hour(night, hz=hz, stage=9.0 * gain * stray, gain_resolution_db=resolution_db))
    return methods(*rows).offsets_db


def test_channels_that_differ_are_told_with_their_offsets() -> None:
    assert channels(2.0, 0.0) == {7_000_000: pytest.approx(-1.0), 7_100_000: pytest.approx(1.0)}
    assert channels(0.98, 0.0) == {}
    assert set(channels(1.02, 0.0)) == {7_000_000, 7_100_000}  # half a decibel from their mean


@pytest.mark.parametrize(("high_db", "told"), [(0.7, False), (0.8, True)])
def test_one_channel_that_lies_low_is_told_as_one_that_lies_high(high_db: float, told: bool) -> None:
    """Two at 0.7 dB over the third lie 0.23 over their mean, and the third 0.47 under it."""
    for sign in (1.0, -1.0):
        rows = [
            hour(night, hz=7_000_000 + nth * 50_000, stage=9.0 * GAIN * 10 ** (sign * off_db / 10))
            for night in range(3)
            for nth, off_db in enumerate((0.0, high_db, high_db))
        ]
        assert bool(methods(*rows).offsets_db) == told


@pytest.mark.parametrize(("strays_db", "told"), [(0.7, True), (0.85, False)])
def test_offsets_count_from_four_errors_of_a_median_on(strays_db: float, told: bool) -> None:
    """Four times 1.25 · s/√16 is 1.25 s; sixteen nights to and fro have s = 1.033 of how far they stray."""
    assert bool(channels(2.0, strays_db)) == told


@pytest.mark.parametrize(("resolution_db", "told"), [(0.24, True), (0.26, False)])
def test_the_step_of_the_meter_hides_an_offset_of_four_times_its_error(
    resolution_db: float, told: bool
) -> None:
    assert bool(channels(2.0, 0.0, resolution_db=resolution_db)) == told


def test_one_channel_or_channels_that_were_never_heard_together_have_no_offsets() -> None:
    assert methods(hour(), hour(1)).offsets_db == {}
    apart = [
        hour(night, hz=7_000_000 + 100_000 * (night % 2), stage=9.0 * GAIN * (1 + night % 2))
        for night in range(8)
    ]
    assert methods(*apart).offsets_db == {}
    once = methods(hour(hz=7_000_000), hour(hz=7_100_000, stage=9.0 * GAIN * 100)).offsets_db
    assert once == {}  # one hour tells no scatter


def unloaded(**more: object) -> pl.DataFrame:
    told = {"for": "noise", "level_load_bypass": None} | more
    typed = {
        name: pl.lit(value, pl.Float64 if name.startswith("level") else None) for name, value in told.items()
    }
    return bent(nights=6).with_columns(pl.from_epoch("night", time_unit="d"), **typed)


def test_the_bend_tells_the_gain_where_there_is_no_load() -> None:
    found = GainMethods(unloaded()).bend
    assert found is not None
    assert (found.source, found.nights) == ("bend", 6)
    assert found.gain_db == pytest.approx(15.0, abs=0.05) and 0.0 < found.se_db < 0.5 and found.dof > 3.0
    assert GainMethods(unloaded(level_load_bypass=-100.0)).bend is None
    carriers = unloaded().with_columns(
        pl.lit("carrier").alias("for"), pl.lit(-90.0).alias("level_load_bypass")
    )
    assert GainMethods(pl.concat([unloaded(), carriers])).bend == found


@pytest.mark.parametrize(("resolution_db", "told"), [(2.9, True), (3.1, False)])
def test_a_bend_that_is_known_to_more_than_three_decibels_tells_nothing(
    resolution_db: float, told: bool
) -> None:
    assert (GainMethods(unloaded(resolution_db=resolution_db)).bend is not None) == told
