"""A gain that is not the same all night: each hour has its own or no answer, never a change of S/N that is none."""

from functools import cache

import polars as pl
import pytest

from sweeper.analysis import summarise_day, table_of
from sweeper.analysis.band.gain_by_hour import BY_HOUR, DISAGREE
from sweeper.simulation.campaign.course import BandTruth, Course
from sweeper.simulation.campaign.draw import campaign
from tests.benchmarks.campaigns import facts_of

pytestmark = pytest.mark.slow

HOURS = (19, 21, 23)
EARLY, LATE = HOURS[0], HOURS[-1]
DRIFT = {"gain_by_hour_db": (1.5, 0.0, -1.5)}


@cache
def found(nights=6, load=True, carriers=(25.0,), **course):
    """The table of a station that hears outside noise alone, and the truth by band and hour."""
    bands = tuple(
        BandTruth(name, rise_db, carrier_over_noise_db=carriers)
        for name, rise_db in (("low", 25.0), ("high", 14.0))
    )
    made = Course(bands, nights=nights, hours=HOURS, load_every=4 if load else 0, **course)
    thrown = campaign(made, 21)
    facts = facts_of(thrown)
    table = table_of(pl.concat([summarise_day(thrown.night(n), facts) for n in range(nights)]), facts)
    return table, {
        (band.name, hour): thrown.snr_change_db(band.name, hour) for band in bands for hour in HOURS
    }


def flags_of(table, hour):
    at_hour = [
        flags for cell, flags in zip(table.cells, table.troubles, strict=True) if cell.hour_utc == hour
    ]
    return frozenset().union(*at_hour)


@pytest.mark.parametrize(("load", "nights"), [(True, 6), (False, 12)])
@pytest.mark.parametrize("carriers", [(25.0,), (25.0, 28.0, 31.0, 34.0)])
def test_no_hour_claims_a_change_that_is_only_its_gain(load, nights, carriers):
    table, truth = found(nights, load, carriers, **DRIFT)
    assert max(map(abs, truth.values())) < 0.3
    assert {judged.verdict for judged in table.judged} <= {"either", "undecided"}
    told = {place: judged.snr_change_db for place, judged in table.by_cell.items() if judged.snr_change_db}
    assert {place for place, span in told.items() if not span.low <= truth[place] <= span.high} == set()


def test_with_a_load_the_lowest_hour_has_its_answer_whatever_carriers_say():
    table, _ = found(carriers=(), **DRIFT)
    assert table.by_cell["low", LATE].verdict == "either"
    assert DISAGREE not in flags_of(table, LATE)
    assert {"overload", DISAGREE} & flags_of(table, EARLY)


def test_carriers_that_follow_the_noise_give_each_hour_its_own_gain():
    table, _ = found(12, False, (25.0, 28.0, 31.0, 34.0), **DRIFT)
    assert not any(DISAGREE in flags for flags in table.troubles)
    assert all("Each hour is computed with its own" in gain.sentences[-1] for gain in table.gains.values())


@pytest.mark.parametrize("load", [True, False])
def test_a_gain_that_stands_still_is_one_for_all_hours(load):
    table, _ = found(12, load)
    assert not any(BY_HOUR in gain.flags for gain in table.gains.values())
    assert not any(DISAGREE in flags for flags in table.troubles)
