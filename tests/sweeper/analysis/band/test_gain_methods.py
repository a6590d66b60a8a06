"""Each method to find the gain by itself, and what channels that differ do to it."""

from dataclasses import replace

import numpy as np
import polars as pl
import pytest

from sweeper.analysis.band.gain import combine
from sweeper.analysis.band.gain_methods import GainMethods
from tests.sweeper.analysis.band.test_gain import season
from tests.sweeper.analysis.nights import Night, facts

NIGHT = Night(external_k=20_000, source_k=290 * (1 + 10**1.5))

NO_EDGES = dict.fromkeys(("edge_gain_db", "edge_gain_se_db", "edge_passes", "edge_lag_db", "edge_lag_se_db"))


def of_channels(*gains_db, error_db=0.1):
    """Ten nights of carriers whose gains are these, each known to `error_db` in every night."""
    rows = [
        {
            "for": "carrier",
            "hz": 7_000_000 + 1000 * channel,
            "night": night,
            "carrier_gain_db": gain_db + error_db * (-1) ** night,
            "carrier_gain_se_db": error_db,
            "resolution_db": 0.0,
            "carrier_passes": 4,
            **NO_EDGES,
        }
        for channel, gain_db in enumerate(gains_db)
        for night in range(10)
    ]
    return GainMethods(pl.DataFrame(rows).with_columns(pl.from_epoch("night", time_unit="d")))


def test_a_noise_source_finds_the_gain():
    found = GainMethods(season(NIGHT)).source
    assert found is not None
    assert found.gain_db == pytest.approx(15.0, abs=max(3 * found.se_db, 0.1))
    assert (found.source, found.nights) == ("noise", 4)


def test_without_a_noise_source_nothing_is_found_by_it():
    assert GainMethods(season(replace(NIGHT, source_k=None))).source is None


def test_a_noise_source_alone_gives_the_gain_of_the_band():
    night = replace(NIGHT, carriers=False, external_k=300.0)
    gain = combine(GainMethods(season(night)), facts(night))
    assert gain.source == "noise"
    assert gain.gain_db == pytest.approx(15.0, abs=0.3)


def test_channels_that_differ_by_more_than_chance_weigh_alike_and_widen_the_error():
    """DerSimonian and Laird 1986: the variance between channels, 2 dB apart, is added to each channel's own."""
    alike, apart = of_channels(15.0, 15.01), of_channels(14.0, 16.0)
    assert alike.carriers.gain_db == pytest.approx(15.005, abs=0.002)
    assert apart.carriers.gain_db == pytest.approx(15.0, abs=0.002)
    unlike = of_channels(14.0, 16.0, 16.0)
    assert unlike.carriers.gain_db == pytest.approx(np.mean([14.0, 16.0, 16.0]), abs=0.05)


def test_a_channel_known_poorly_counts_as_much_as_one_known_well_where_gains_differ():
    """With the variance between channels negative the poorly known one would drive the mean out of their span."""
    good, poor = of_channels(14.0, error_db=0.05).summaries, of_channels(16.0, error_db=0.4).summaries
    both = GainMethods(pl.concat([good, poor.with_columns(pl.col("hz") + 5000)]))
    assert both.carriers.gain_db == pytest.approx(15.0, abs=0.1)


@pytest.mark.parametrize(
    ("rated_gain_db", "is_choke"),
    [(0.0, True), (0.9, True), (-0.9, True), (1.1, False), (3.0, False), (-1.1, False), (-6.0, False)],
)
def test_only_a_stage_rated_within_a_decibel_of_nothing_is_taken_for_a_choke(rated_gain_db, is_choke):
    """The antenna 8 dB quieter with the stage in while carriers stay: a choke's doing, if the stage has no gain."""
    night = Night(external_k=2_000_000, gain=1.0, stage_k=0.0, carrier_over_external=30_000)
    summaries = season(night)
    noise = pl.col("for") == "noise"
    quieter = summaries.with_columns(
        *(
            pl.when(noise).then(pl.col(name) - 8.0).otherwise(pl.col(name)).alias(name)
            for name in (
                "level_antenna_stage",
                "difference_db",
                "stage_noise_rise_db",
                "stage_power_rise_db",
                "load_gain_db",
            )
        )
    )
    gain = combine(GainMethods(quieter), facts(night, rated_gain_db=rated_gain_db))
    assert ("quieter-antenna" in gain.flags) == is_choke


def test_the_mean_of_channels_that_hardly_differ_lies_among_them():
    """What lies between channels is about what each is unsure by: added to their variances, never taken away."""
    known = of_channels(14.7, 15.3, error_db=0.6).summaries
    poor = of_channels(17.0, error_db=1.8).summaries.with_columns(pl.col("hz") + 5000)
    found = GainMethods(pl.concat([known, poor])).carriers
    # DerSimonian and Laird 1986 by hand: variances 0.04, 0.04, 0.36, between channels 0.45
    weights = 1 / (np.array([0.04, 0.04, 0.36]) + 0.45)
    assert found.gain_db == pytest.approx(weights @ [14.7, 15.3, 17.0] / weights.sum(), abs=0.02)
