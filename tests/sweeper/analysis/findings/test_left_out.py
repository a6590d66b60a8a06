"""A listener whose readings cannot be used is told which were left out and why."""

import polars as pl
import pytest

from sweeper.analysis.day.reduce import summarise_day
from sweeper.analysis.findings.build import find
from sweeper.words import Channel
from tests.sweeper.analysis.nights import Night, facts, readings

NIGHT = Night(passes=6, carriers=False)


def _every_other_reading_narrower(rows: pl.DataFrame) -> pl.DataFrame:
    nth = pl.int_range(pl.len())
    return rows.with_columns(
        pl.when(nth % 2 == 0).then(500).otherwise(2400).cast(pl.Int64).alias("bandwidth_hz")
    )


def _one_reading(rows: pl.DataFrame) -> pl.DataFrame:
    return rows.filter(pl.col("source") == "antenna").head(1)


def _bypass_alone(rows: pl.DataFrame) -> pl.DataFrame:
    return rows.filter(pl.col("route") == "bypass")


@pytest.mark.parametrize(
    ("spoilt", "told"),
    [
        (_every_other_reading_narrower, "the bandwidth changed"),
        (
            _one_reading,
            "1 pass over a channel was measured here and left out, because none read the antenna both",
        ),
        (_bypass_alone, "none read the antenna both with and without the stage"),
    ],
)
def test_readings_that_cannot_be_used_are_not_called_nothing(spoilt, told):
    band = find(summarise_day(spoilt(readings(NIGHT)), facts(NIGHT)), facts(NIGHT))[0].bands[0]
    assert band.recommendation.startswith("Nothing usable: ")
    assert told in band.recommendation


def test_channels_with_a_signal_in_them_are_named_as_the_reason():
    made = summarise_day(readings(NIGHT), facts(NIGHT))
    occupied = made.with_columns(
        pl.lit(0).cast(pl.Int64).alias("passes"), pl.col("passes_seen").alias("occupied_passes")
    )
    assert "a signal sat in the noise channels" in find(occupied, facts(NIGHT))[0].bands[0].recommendation


def test_a_band_without_readings_is_not_measured_yet():
    made = summarise_day(readings(NIGHT), facts(NIGHT))
    more = facts(NIGHT, channels=(*facts(NIGHT).channels, Channel("10 m", 28_000_000, "noise", 2400)))
    found = find(made, more)[0]
    assert found.bands[1].recommendation == "Nothing measured here yet."
