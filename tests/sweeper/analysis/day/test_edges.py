"""Gain across changes of route while the receiver stays: which visits make an edge, and what the edges say."""

import math
from datetime import UTC, datetime, timedelta

import numpy as np
import polars as pl
import pytest

from sweeper.analysis.day.carriers import gain_of_pairs_db
from sweeper.analysis.day.reduce import summarise_day
from sweeper.analysis.facts import MeterFacts
from sweeper.words import Channel
from tests.sweeper.analysis.nights import Night, facts

pytestmark = pytest.mark.slow

NOISE, CARRIER = 7_038_500, 7_202_000
BEGIN = datetime(2026, 11, 1, 18, tzinfo=UTC)
GAIN_DB = 15.0
OVER_AND_BACK = ((CARRIER, "bypass"), (CARRIER, "stage"), (CARRIER, "bypass"))
AROUND = ((NOISE, "bypass"), (NOISE, "stage"))


def day(
    *visits: tuple[int, str],
    passes: int = 12,
    rising_db_a_s: float = 0.0,
    lag_db: float = 0.0,
    gap_s: float = 0.3,
    readings: int = 8,
) -> dict[str, float]:
    """The carrier's row of an hour of such passes: a carrier 40 dB over the noise whose fade rises within each pass, on
    a meter that shows `lag_db` too much right after the stage has been switched out."""
    rows = []
    for number in range(passes):
        when_s, before = 60.0 * number, (0, "")
        for hz, route in visits:
            when_s += gap_s
            for _ in range(readings):
                level = -60.0 + (hz == NOISE) * -40.0 + (route == "stage") * GAIN_DB
                if hz == CARRIER:
                    level += rising_db_a_s * (when_s - 60.0 * number)
                    level += lag_db * (before == (CARRIER, "stage") and route == "bypass")
                rows.append((BEGIN + timedelta(seconds=when_s), number + 1, hz, route, level))
                when_s += 0.05
            before = (hz, route)
    return summarised(rows).row(0, named=True)


def summarised(rows: list[tuple[datetime, int, int, str, float]]) -> pl.DataFrame:
    """The carrier's rows of the summary of readings (time, pass, hz, route, dBm) through the antenna."""
    names = ["time", "pass", "hz", "route", "reading"]
    frame = pl.DataFrame(rows, schema=names, orient="row").with_columns(
        pl.col("time").cast(pl.Datetime("ms", "UTC")),
        pl.lit("40 m").alias("band"),
        pl.when(pl.col("hz") == NOISE).then(pl.lit("noise")).otherwise(pl.lit("carrier")).alias("for"),
        pl.lit("antenna").alias("source"),
        pl.col("reading").alias("dbm"),
        pl.lit(2400).alias("bandwidth_hz"),
        pl.lit("").alias("flags"),
    )
    told = facts(
        Night(),
        channels=(Channel("40 m", NOISE, "noise", 2400), Channel("40 m", CARRIER, "carrier", 2400)),
        meter=MeterFacts("dBm", True, averaging_s=0.02),
    )
    return summarise_day(frame, told).filter(pl.col("for") == "carrier")


def test_over_and_back_a_rising_fade_cancels_where_visits_apart_are_off_by_it() -> None:
    row = day(*AROUND, *OVER_AND_BACK, rising_db_a_s=1.0)
    assert row["edge_gain_db"] == pytest.approx(GAIN_DB, abs=0.01)
    assert row["edge_passes"] == 12
    assert row["edge_lag_db"] == pytest.approx(2 * 0.7, abs=0.02)  # from middle to middle 0.7 s, up and down


def test_one_way_is_an_edge_too_and_says_nothing_of_a_lag() -> None:
    row = day(*AROUND, *OVER_AND_BACK[:2], rising_db_a_s=1.0)
    assert row["edge_gain_db"] == pytest.approx(GAIN_DB + 0.7, abs=0.01)
    assert row["edge_lag_db"] is None and row["edge_lag_se_db"] is None


def test_a_meter_that_falls_slowly_parts_the_two_ways() -> None:
    row = day(*AROUND, *OVER_AND_BACK, lag_db=3.0)
    assert row["edge_lag_db"] == pytest.approx(3.0, abs=0.1)  # a pseudo-value: the logarithm, bent a little
    assert row["edge_gain_db"] == pytest.approx(GAIN_DB - 1.5, abs=0.02)


@pytest.mark.parametrize(("gap_s", "is_edge"), [(1.9, True), (1.95, True), (2.1, False)])
def test_visits_further_apart_than_two_seconds_are_no_edge(gap_s: float, is_edge: bool) -> None:
    """Readings stand 50 ms apart, so that a gap of 1.95 s parts the last from the first by two seconds."""
    row = day(*AROUND, *OVER_AND_BACK, gap_s=gap_s)
    assert (row["edge_gain_db"] is not None) == is_edge
    assert row["carrier_gain_db"] == pytest.approx(GAIN_DB, abs=0.01)


def test_another_channel_between_them_parts_two_visits_only_by_its_time() -> None:
    row = day((CARRIER, "bypass"), (NOISE, "bypass"), (CARRIER, "stage"), (NOISE, "stage"))
    assert row["edge_gain_db"] == pytest.approx(GAIN_DB, abs=0.01)


def test_of_long_visits_only_the_readings_next_to_the_edge_count() -> None:
    """100 readings, 5 s: the middles lie 5.25 s apart, the seven tenths of a second next to the edge about 1 s."""
    row = day(*AROUND, *OVER_AND_BACK[:2], rising_db_a_s=0.5, readings=100)
    assert row["edge_gain_db"] - GAIN_DB == pytest.approx(0.5 * 1.05, abs=0.05)


def test_a_load_between_two_antenna_visits_makes_no_edge_on_noise_channels() -> None:
    row = day(*AROUND, (CARRIER, "bypass"), (NOISE, "bypass"), (CARRIER, "bypass"))
    assert row["edge_gain_db"] is None and row["edge_passes"] == 0


@pytest.mark.parametrize("heard", [False, True])
def test_crashes_at_the_edges_of_an_hour_without_the_carrier_tell_no_gain(heard: bool) -> None:
    """Of one night an hour with the carrier 40 dB over the noise, and one with noise alone in which a crash of static
    hits a reading on either side of an edge."""
    dice = np.random.default_rng(7)
    rows = []
    for number in range(16):
        late = number >= 8
        began = BEGIN + timedelta(hours=late, minutes=7 * (number % 8))
        crash = int(dice.integers(2))
        for stay, (hz, route) in enumerate([*AROUND, *OVER_AND_BACK]):
            for nth in range(40):
                level = -100.0 + GAIN_DB * (route == "stage") + float(dice.normal(0.0, 0.6))
                if hz == CARRIER:
                    level += 40.0 * (heard and not late)
                    level += 25.0 * (late and (stay, nth) in ((2 + crash, 39), (3 + crash, 0)))
                at = began + timedelta(seconds=5.0 * stay + 0.11 * nth)
                rows.append((at, number + 1, hz, route, level))
    found = summarised(rows).sort("hour_utc").to_dicts()
    assert (found[0]["edge_passes"], found[0]["edge_gain_db"]) == (
        (8, pytest.approx(GAIN_DB, abs=0.3)) if heard else (0, None)
    )
    assert (found[1]["edge_passes"], found[1]["edge_gain_db"]) == (0, None)


def test_pairs_that_contradict_each_other_tell_no_gain() -> None:
    """Now all of the power through the one route and now through the other, a crash of static each time."""
    crash, nothing = np.array([1e4, 1.0, 1e4, 1.0]), np.array([1.0, 1e4, 1.0, 1e4])
    noise, known = np.ones(4), np.ones(4, dtype=bool)
    gain_db, clear = gain_of_pairs_db(crash, nothing, noise, noise, known)
    assert clear.all() and np.isnan(gain_db).all()
    gain_db, _ = gain_of_pairs_db(crash, 3.0 * crash, noise, noise, known)
    assert gain_db[[0, 2]] == pytest.approx(10 * math.log10(3.0))


def nights_of_ratios(faded_db: list[tuple[float, ...]], change_db: float, passes: int) -> pl.DataFrame:
    """The summaries of nights with an hour of `passes` each: a carrier over the noise as it faded at the ends of the
    stays next to the edges of bypass, stage, stage, bypass; `change_db` more with the stage in.
    """
    routes = ("bypass", "stage", "stage", "bypass")
    rows = []
    for nth, faded in enumerate(faded_db):
        night, of_night = divmod(nth, passes)
        began = BEGIN + timedelta(days=night, minutes=10 * of_night)
        for stay, (route, over_db) in enumerate(zip(routes, faded, strict=True)):
            over = 10 ** ((over_db + change_db * (route == "stage")) / 10)
            rows.append((began + timedelta(seconds=stay), nth + 1, route, 10 * math.log10(1.0 + over)))
    frame = pl.DataFrame(rows, schema=["time", "pass", "route", "reading"], orient="row").with_columns(
        pl.col("time").cast(pl.Datetime("ms", "UTC")),
        *[pl.lit(said).alias(name) for name, said in (("band", "40 m"), ("for", "ratio"), ("flags", ""))],
        pl.lit("antenna").alias("source"),
        pl.lit(None, pl.Float64).alias("dbm"),
        *[
            pl.lit(count).cast(pl.Int64).alias(name)
            for name, count in (("hz", CARRIER), ("bandwidth_hz", 281))
        ],
    )
    told = facts(Night(), channels=(Channel("40 m", CARRIER, "carrier", 2400),))
    return summarise_day(frame, told).sort("night")


def test_the_one_clear_edge_of_a_pass_counts_as_much_as_each_of_two() -> None:
    """Edges to the stage of 0 and −2 dB, and one back of 0: −1 dB there and 0 dB back come to −1/2 dB."""
    of_both, of_one = (20.0, 20.0, 20.0, 20.0), (22.0, 20.0, -10.0, -10.0)
    (row,) = nights_of_ratios([of_both, of_one], 0.0, 2).to_dicts()
    assert row["edge_gain_db"] == pytest.approx(-0.5, abs=0.02)


def fading(passes: int, steady: float, doppler_hz: float, seed: int) -> list[tuple[float, ...]]:
    """A carrier at the four moments next to the edges of each pass, dB about its mean; Clarke's fading by 24 waves,
    with `steady` times as much power in a wave that stands (Rice's K).
    """
    dice = np.random.default_rng([seed, 18])
    at_s = np.array([0.0, 0.6, 2.1, 2.7])
    way = np.cos(2 * np.pi * dice.random((passes, 24, 1)))
    waves = np.exp(2j * np.pi * (doppler_hz * way * at_s + dice.random((passes, 24, 1)))).sum(axis=1)
    field = waves / math.sqrt(24 * (1 + steady)) + math.sqrt(steady / (1 + steady))
    return [tuple(each) for each in (20 * np.log10(np.abs(field))).tolist()]


@pytest.mark.parametrize(
    ("steady", "doppler_hz", "change_db", "nights"),
    [(0.0, 0.03, -1.3, 400), (0.0, 0.03, 7.0, 400), (2.0, 0.15, -1.3, 2000)],
)
def test_a_weak_carrier_that_fades_tells_the_change_without_bias(
    steady: float, doppler_hz: float, change_db: float, nights: int
) -> None:
    """14 dB over the noise in its cell, so that many an edge is not clear; four passes an hour on many nights."""
    faded = [tuple(14.0 + each for each in one) for one in fading(4 * nights, steady, doppler_hz, 5)]
    off = nights_of_ratios(faded, change_db, 4)["edge_gain_db"].drop_nulls().to_numpy() - change_db
    assert len(off) > 0.9 * nights
    assert abs(off.mean()) + 2 * off.std() / math.sqrt(len(off)) < 0.06
