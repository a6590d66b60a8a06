"""Gain from how the noise difference bends over the nights: against the chain's closed formula and planted stages."""

from functools import cache

import numpy as np
import polars as pl
import pytest

from sweeper.analysis import summarise_day, table_of
from sweeper.analysis.band.gain import carriers_contradict
from sweeper.analysis.band.noise_bend import gain_by_bend
from sweeper.simulation.campaign.course import BandTruth, Course
from sweeper.simulation.campaign.draw import campaign
from tests.benchmarks.campaigns import facts_of

pytestmark = pytest.mark.slow


def rows(nights=8, gain_db=15.0, own_db=(8.0, 3.0), sd_db=3.0, noise_db=0.0, scale=1.0):
    """The four lines of the chain (docs/figures.md): noise in bypass and with the stage in, of outside noise that comes
    and goes; `scale`: decibels that the meter shows for one."""
    rng = np.random.default_rng(7)
    receiver, stage = (10 ** (each / 10) for each in own_db)
    gain = 10 ** (gain_db / 10)
    told = []
    for night in range(nights):
        for hour in (20, 22):
            outside = 10 ** ((10.0 + rng.normal(0, sd_db)) / 10)
            bypass = outside + receiver - 1
            staged = gain * (outside + stage - 1) + receiver - 1
            told.append(
                {
                    "night": night,
                    "hour_utc": hour,
                    "passes": 4,
                    "scale": 0,
                    "bandwidth_hz": 2400,
                    "band": "40 m",
                    "difference_bound": "",
                    "resolution_db": 0.0,
                    "level_antenna_bypass": scale * 10 * np.log10(bypass),
                    "difference_db": scale * 10 * np.log10(staged / bypass) + rng.normal(0, noise_db),
                }
            )
    return pl.DataFrame(told)


@pytest.mark.parametrize(("gain_db", "own_db"), [(15.0, (8.0, 3.0)), (-3.0, (6.0, 3.0)), (10.0, (4.0, 8.0))])
def test_the_chains_own_formula_gives_back_its_gain(gain_db, own_db):
    assert gain_by_bend(rows(gain_db=gain_db, own_db=own_db)).value == pytest.approx(gain_db, abs=0.02)


def test_its_interval_holds_the_gain_and_is_never_surer_than_a_stage_stands_still():
    found = gain_by_bend(rows(nights=12, noise_db=0.15))
    ends = found.interval(0.05)
    assert ends.low < 15.0 < ends.high and found.se >= 0.25


def test_noise_that_stands_still_bends_nothing():
    assert gain_by_bend(rows(sd_db=0.3)) is None
    assert gain_by_bend(rows(nights=3)) is None
    assert gain_by_bend(rows(nights=4, sd_db=9.0)) is not None
    assert gain_by_bend(rows(nights=3, sd_db=9.0)) is None


def test_hours_whose_step_is_not_known_have_none():
    unknown = rows(noise_db=0.1).with_columns(resolution_db=pl.lit(None, pl.Float64))
    assert gain_by_bend(unknown) == gain_by_bend(rows(noise_db=0.1))


@cache
def table(carriers=True, **course):
    heard = (25.0,) if carriers else ()
    bands = tuple(
        BandTruth(f"band {n}", rise, carrier_over_noise_db=heard) for n, rise in enumerate((4.0, 8.0, 14.0))
    )
    thrown = campaign(Course(bands, nights=10, hours=(20, 22), load_every=0, **course), 5)
    facts = facts_of(thrown)
    return table_of(pl.concat([summarise_day(thrown.night(n), facts) for n in range(10)]), facts)


@pytest.mark.parametrize("carriers", [True, False])
def test_without_a_load_it_tells_the_gain_beside_carriers_or_alone(carriers):
    for gain in table(carriers).gains.values():
        assert "bend" in {part.source for part in gain.parts}
        assert abs(gain.gain_db - 15.0) < 2.5 * gain.se_db
        assert gain.source in ("combined", "carriers")


def test_a_stage_that_takes_gain_back_for_carriers_is_told_and_no_verdict_given():
    honest, taken = table(), table(agc_db_per_db=0.1, agc_on_carriers=True)
    assert carriers_contradict(list(honest.gains.values())) == ""
    assert "less in the stage than noise does" in carriers_contradict(list(taken.gains.values()))
    assert {judged.withheld for judged in taken.judged} == {"routes-disagree"}
