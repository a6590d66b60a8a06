"""Ratios of a carrier to the noise of its instant: a day of them, and what nights of them come to."""

import itertools
import math
from datetime import UTC, date, datetime, timedelta

import numpy as np
import polars as pl
import pytest

from sweeper.analysis import find
from sweeper.analysis.band.by_ratio import NOT_HELD, as_noise, bands_by_ratio
from sweeper.analysis.day.columns import BESIDE_LEVELS
from sweeper.analysis.day.reduce import summarise_day
from sweeper.analysis.facts import MeterFacts
from sweeper.words import Channel
from tests.sweeper.analysis.nights import Night, facts, readings

HZ = 10_000_000
BEGIN = datetime(2026, 11, 1, 18, tzinfo=UTC)
ABBA = ("bypass", "stage", "stage", "bypass")
STATION = facts(
    Night(), channels=(Channel("31 m", HZ, "carrier", 2400),), meter=MeterFacts("raw", False, linear=True)
)


def ratios(changes_db: list[float], fading: bool = True, passes: int = 40, first: int = 1) -> pl.DataFrame:
    """An hour of passes for each S/N change; a carrier some 20 dB over the noise, which fades between stays."""
    dice, rows, number = np.random.default_rng(7), [], first
    for hour, change_db in enumerate(changes_db):
        for nth in range(passes):
            for stay, route in enumerate(ABBA):
                over = 100.0 * (dice.exponential() if fading else 1.0)
                over *= 10 ** (change_db / 10) if route == "stage" else 1.0
                when = BEGIN + timedelta(hours=hour, seconds=3600 / passes * nth + 10 * stay)
                rows.append((when, number, route, 10 * math.log10(1.0 + over)))
            number += 1
    frame = pl.DataFrame(rows, schema=["time", "pass", "route", "reading"], orient="row")
    return frame.select(
        pl.col("time").cast(pl.Datetime("ms", "UTC")),
        pl.col("pass"),
        pl.lit("31 m").alias("band"),
        pl.lit(HZ).cast(pl.Int64).alias("hz"),
        pl.lit("ratio").alias("for"),
        pl.lit("antenna").alias("source"),
        pl.col("route"),
        pl.col("reading"),
        pl.lit(None, pl.Float64).alias("dbm"),
        pl.lit(281).cast(pl.Int64).alias("bandwidth_hz"),
        pl.lit("").alias("flags"),
    )


def kept(purpose: str, nights: range, band: str = "31 m", **more: object) -> list[dict[str, object]]:
    """Rows of summaries, two hours a night."""
    row = {
        "band": band,
        "for": purpose,
        "passes": 4,
        "flags": "",
        "edge_gain_db": None,
        "carrier_gain_db": None,
    } | more
    return [row | {"night": date(2026, 11, 1 + nth)} for nth in nights for _ in range(2)]


@pytest.mark.parametrize(
    ("rows", "by_ratio"),
    [
        ([kept("noise", range(3)), kept("ratio", range(3, 5), edge_gain_db=1.0)], False),
        ([kept("noise", range(3), passes=1), kept("ratio", range(3, 5), edge_gain_db=1.0)], False),
        ([kept("noise", range(2)), kept("ratio", range(2, 5), edge_gain_db=1.0)], True),
        ([kept("noise", range(2)), kept("ratio", range(2, 5), carrier_gain_db=1.0)], True),
        ([kept("noise", range(2)), kept("ratio", range(2, 5))], False),
        ([kept("noise", range(2)), kept("ratio", range(2, 5), edge_gain_db=1.0, flags=BESIDE_LEVELS)], False),
        ([kept("noise", range(4), passes=0), kept("ratio", range(3), edge_gain_db=1.0)], True),
        ([kept("carrier", range(4), carrier_gain_db=1.0), kept("ratio", range(3), edge_gain_db=1.0)], True),
        ([kept("carrier", range(4), carrier_gain_db=1.0), kept("noise", range(1))], False),
        ([kept("ratio", range(1), edge_gain_db=1.0)], True),
    ],
)
def test_a_band_goes_by_ratio_where_more_nights_tell_ratios_alone_than_levels(
    rows: list[list[dict[str, object]]], by_ratio: bool
) -> None:
    other = kept("noise", range(2), band="40 m")
    told = pl.DataFrame([*other, *itertools.chain(*rows)], infer_schema_length=None)
    assert bands_by_ratio(told) == ({"31 m"} if by_ratio else set())


def test_ratios_of_several_bands_stand_in_the_order_of_their_names_each_band_once() -> None:
    told = summarise_day(ratios([2.0, -1.0]), STATION)
    names = ["10 m", "12 m", "15 m", "17 m", "20 m", "31 m"]
    every = pl.concat([told.with_columns(pl.lit(name).alias("band")) for name in names[::-1]])
    found = as_noise(every, frozenset(names))
    assert found["band"].to_list() == [name for name in names for _ in range(2)]
    assert as_noise(every, frozenset(["12 m"]))["band"].to_list() == ["12 m"] * 2


def test_each_hour_has_its_own_change() -> None:
    """Were all hours solved together, those far from their mean would be drawn to it by a tenth."""
    wanted = [-4.0, 0.0, 9.0]
    day = summarise_day(ratios(wanted, fading=False), STATION)
    assert day["for"].to_list() == ["ratio"] * 3
    assert day["carrier_gain_db"].to_list() == pytest.approx(wanted, abs=0.01)
    faded = summarise_day(ratios(wanted, passes=400), STATION)
    assert faded["carrier_gain_db"].to_list() == pytest.approx(wanted, abs=1.0)
    off = np.abs(faded["carrier_gain_db"].to_numpy() - wanted) / faded["carrier_gain_se_db"].to_numpy()
    assert off.max() < 3.5
    assert faded["edge_gain_db"].is_null().all()  # ten seconds apart


def test_a_calibration_of_levels_moves_no_ratio() -> None:
    levels = facts(
        Night(),
        channels=STATION.channels,
        meter=MeterFacts("raw", True, curve=((-100.0, -140.0), (0.0, -40.0)), linear=True),
    )
    day = ratios([2.0], fading=False)
    assert summarise_day(day, levels).equals(summarise_day(day, STATION))


def test_findings_tell_the_change_of_signal_to_noise_and_neither_gain_nor_noise() -> None:
    nights = []
    for night in range(6):
        day = ratios([0.2, 5.0], fading=False, first=1 + 100 * night)
        nights.append(day.with_columns(pl.col("time") + pl.duration(days=night)))
    findings, evidence = find(pl.concat([summarise_day(day, STATION) for day in nights]), STATION)
    (band,) = findings.bands
    assert (band.gain_db, band.gain_from, band.chain_change_db) == (None, None, None)
    assert NOT_HELD in band.flags
    assert [period.verdict for period in band.periods] == ["either", "stage"]
    for period, wanted in zip(band.periods, (0.2, 5.0), strict=True):
        assert period.snr_change_db is not None
        assert period.snr_change_db.low <= wanted <= period.snr_change_db.high
        assert (period.noise_rise_db, period.fa_db) == (None, None)
    assert "neither the stage's gain nor the noise" in band.recommendation
    assert evidence.gains.is_empty()
    assert evidence.levels.is_empty()
    changes = evidence.nights.sort("night", "hour_utc")["snr_change_db"].to_list()
    assert changes == pytest.approx([0.2, 5.0] * 6, abs=0.01)


def test_levels_of_more_nights_outweigh_ratios_and_are_not_touched_by_them() -> None:
    levels = summarise_day(readings(Night()), facts(Night()))
    stray = summarise_day(ratios([9.0]).with_columns(pl.lit("40 m").alias("band")), STATION)
    later = levels.with_columns(pl.col("night") + pl.duration(days=1))
    assert bands_by_ratio(pl.concat([levels, later, stray])) == frozenset()
    alone = find(pl.concat([levels, later]), facts(Night()))[0]
    assert find(pl.concat([levels, later, stray]), facts(Night()))[0] == alone


def test_two_stays_of_a_route_one_after_another_are_two() -> None:
    """Taken as one they would be averaged otherwise than those of the other route: by 2.5 dB where signals fade."""
    day = ratios([0.0], fading=False)
    faded = pl.when(pl.int_range(pl.len()) % 4 < 2).then(10.0).otherwise(30.0)
    told = summarise_day(day.with_columns(faded.alias("reading")), STATION)
    assert told["carrier_gain_db"].to_list() == pytest.approx([0.0], abs=0.01)
