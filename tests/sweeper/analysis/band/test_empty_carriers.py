"""A carrier channel without a carrier is said to be empty, with its hours; one that fades or is heard is not."""

from dataclasses import replace
from datetime import UTC, datetime

import polars as pl
import pytest

from sweeper.analysis import findings_from, summarise_day, table_of
from sweeper.analysis.band.empty_carriers import EMPTY, Empty, empty_carriers, sentence_of
from sweeper.simulation.campaign.course import BandTruth, Course
from sweeper.simulation.campaign.draw import campaign
from tests.benchmarks.campaigns import facts_of

pytestmark = pytest.mark.slow


def heard(*over_noise_db: float, stands: str = "") -> tuple[pl.DataFrame, str, tuple[str, ...]]:
    """`stands`: the one route through which 20 dB more are in the carrier channels."""
    band = BandTruth("40 m", rise_db=12.0, carrier_over_noise_db=over_noise_db)
    thrown = campaign(Course((band,), nights=3, hours=(19, 23)), 5)
    told = facts_of(thrown)
    told = replace(told, rated_gain_db=15.0)
    there = (pl.col("for") == "carrier") & (pl.col("route") == stands)
    lifted = pl.when(there).then(pl.col("reading") + 20.0).otherwise("reading").alias("reading")
    summaries = pl.concat([summarise_day(thrown.night(n).with_columns(lifted), told) for n in range(3)])
    found = findings_from(table_of(summaries, told), summaries, told).bands[0]
    return summaries, found.recommendation, found.flags


def test_a_channel_that_holds_only_noise_is_empty_at_all_hours() -> None:
    summaries, said, flags = heard(-30.0)
    (hz,) = empty_carriers(summaries)
    assert f"{hz / 1e3:g} kHz is empty at all hours measured" in said
    assert EMPTY in flags


def test_a_carrier_that_fades_and_is_missing_now_and_then_is_not_empty() -> None:
    summaries, said, flags = heard(25.0)
    assert empty_carriers(summaries) == {}
    assert "empty" not in said and EMPTY not in flags


def test_hours_are_told_where_it_is_empty_in_some() -> None:
    summaries, _, _ = heard(25.0)
    silent = (pl.col("for") == "carrier") & (pl.col("hour_utc") == 19)
    rows = summaries.with_columns(
        pl.when(silent).then(pl.col("passes_seen")).otherwise("absent_passes").alias("absent_passes")
    )
    on = datetime(2026, 1, 10, tzinfo=UTC)
    assert "is empty at 19:00–20:00 UTC" in sentence_of(empty_carriers(rows), "UTC", on)
    # An hour apart in winter (IANA time-zone database).
    assert "at 20:00–21:00 (19:00–20:00 UTC)" in sentence_of(empty_carriers(rows), "Europe/Copenhagen", on)


@pytest.mark.parametrize(
    ("stands", "said", "mend"),
    [
        (
            "stage",
            "holds a carrier with the stage in only at all hours",
            "choose one that is heard both ways",
        ),
        (
            "bypass",
            "has no carrier any more with the stage in at all hours",
            "has its supply and passes this frequency",
        ),
    ],
)
def test_one_that_stands_through_one_route_only_is_told_as_that(stands: str, said: str, mend: str) -> None:
    summaries, sentence, flags = heard(-30.0, stands=stands)
    ((hz, one),) = empty_carriers(summaries).items()
    assert one == Empty(None, stands)
    assert f"{hz / 1e3:g} kHz {said} measured: " in sentence and mend in sentence
    assert "is empty" not in sentence and EMPTY in flags


def test_a_ratio_is_over_the_noise_by_itself_and_a_carrier_without_noise_beside_it_stands_nowhere() -> None:
    summaries, _, _ = heard(-30.0, stands="stage")
    carriers = summaries.filter(pl.col("for") == "carrier")
    assert {one.stands for one in empty_carriers(carriers).values()} == {""}
    ratios = carriers.with_columns(
        pl.lit("ratio").cast(carriers["for"].dtype).alias("for"),
        level_antenna_bypass=0.4,
        level_antenna_stage=17.0,
    )
    assert {one.stands for one in empty_carriers(ratios).values()} == {"stage"}
