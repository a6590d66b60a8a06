"""How many nights: before the first, and from what is stored."""

from dataclasses import replace

import polars as pl
import pytest

from sweeper.analysis.band.cells import Cell
from sweeper.analysis.day.reduce import summarise_day
from sweeper.analysis.findings.build import find
from sweeper.analysis.statistics.estimates import Estimate
from sweeper.analysis.statistics.group_sequential import LOOKS, last_look
from sweeper.analysis.statistics.interval import Interval
from sweeper.analysis.verdict.effort import bands_due, effort
from sweeper.analysis.verdict.expectation import expectations, measured_rises
from sweeper.analysis.verdict.judge import Judged
from sweeper.analysis.verdict.nights_needed import nights_needed
from sweeper.analysis.verdict.outlook import Outlook, outlook, outlooks
from sweeper.simulation.campaign.course import BandTruth, Course
from sweeper.simulation.campaign.draw import campaign
from sweeper.words import Channel
from tests.sweeper.analysis.summaries import Place, facts, made

pytestmark = pytest.mark.slow


def station(hz, environment="rural"):
    return replace(
        facts(),
        channels=(Channel("band", hz, "noise", 2400),),
        environment=environment,
        rated_gain_db=15.0,
        rated_noise_figure_db=3.0,
    )


def test_where_noise_buries_the_receiver_a_few_nights_settle_it():
    (found,) = expectations(station(3_500_000, "city"), has_load=True)
    assert found.verdict == "either"
    assert found.nights is not None and found.nights <= 5


def test_below_ten_megahertz_the_atmosphere_comes_on_top_of_what_is_expected():
    (low,), (high,) = (expectations(station(hz), has_load=True) for hz in (3_500_000, 21_000_000))
    assert "noise at least about" in low.sentence
    assert "noise about" in high.sentence


def test_a_forecast_says_that_it_assumes_an_antenna_without_loss_and_allows_for_one_that_loses():
    """80 m in the country: 36 dB over the receiver's own without loss. A small antenna measured 3 to 6 dB there."""
    (found,) = expectations(station(3_650_000), has_load=True)
    low, high = found.noise_rise_db
    assert "antenna without loss" in found.sentence
    assert low < 10 < 30 < high
    assert high - low <= 30


def test_what_was_measured_takes_the_place_of_the_unknown_loss():
    (found,) = expectations(station(3_650_000), has_load=True, measured_rise_db={"band": 4.5})
    assert found.noise_rise_db[0] == found.noise_rise_db[1] == pytest.approx(4.5, abs=1.0)
    assert "measured 4 dB above" in found.sentence and "loss" not in found.sentence
    (quiet,) = expectations(station(3_650_000), has_load=True, measured_rise_db={"band": -0.2})
    assert quiet.noise_rise_db[1] < 2.0


def test_a_rise_that_is_only_a_bound_is_not_taken_for_measured():
    near = Place("80 m", antenna_k=12_000.0)
    summaries = made(near, nights=1)
    assert set(measured_rises(summaries)) == {"80 m"}
    bounds = summaries.with_columns(noise_rise_bound=pl.lit("at least"))
    assert measured_rises(bounds) == {}
    assert measured_rises(summaries.clear()) == {}


def test_a_load_position_saves_nights():
    (with_load,), (without,) = (expectations(station(3_500_000), has_load=each) for each in (True, False))
    assert with_load.nights is not None
    assert without.nights is None or without.nights > with_load.nights
    assert with_load.settles_db < without.settles_db


def test_what_is_waited_for_is_a_look():
    near = nights_needed(1.0, lambda nights: 1.2 / nights**0.5, 0.05)
    assert near in LOOKS and nights_needed(1.0, lambda nights: 1.2 / nights**0.5, 0.05, near + 1) in LOOKS
    assert nights_needed(0.01, lambda nights: 1.2 / nights**0.5, 0.05) is None


def test_more_nights_settle_smaller_changes():
    (week,), (month,) = (expectations(station(28_000_000, "quiet-rural"), True, nights) for nights in (7, 28))
    assert month.settles_db < week.settles_db / 1.5


def test_a_decided_band_needs_nothing_more():
    noisy = Place("80 m", antenna_k=1_000_000.0)
    (found,) = outlook(made(noisy, nights=8), facts(noisy))
    assert found.decided
    assert found.more_nights == 0


def test_two_nights_decide_nothing_for_other_nights():
    noisy = Place("80 m", antenna_k=1_000_000.0)
    (found,) = outlook(made(noisy, nights=2), facts(noisy))
    assert not found.decided
    assert found.more_nights is not None and found.more_nights >= 1


@pytest.mark.slow
def test_the_forecast_is_about_right():
    """Of twenty stations, the nights that a forecast at night six names settle the band in about half."""
    near = Place("30 m", antenna_k=12_000.0, night_sd_db=2.5)
    settled = []
    for seed in range(20):
        early = made(near, nights=6, seed=seed)
        (found,) = outlook(early, facts(near))
        if found.decided or found.more_nights is None:
            continue
        late = made(near, nights=6 + found.more_nights, seed=seed)
        settled.append(outlook(late, facts(near))[0].decided)
    assert len(settled) >= 4
    assert 0.2 <= sum(settled) / len(settled) <= 1.0


def test_effort_goes_to_open_bands_with_a_guard_for_the_others():
    open_band, noisy = (
        Place("30 m", antenna_k=25_000.0, night_sd_db=3.0),
        Place("80 m", antenna_k=1_000_000.0),
    )
    found = effort(outlook(made(open_band, noisy, nights=5), facts(open_band, noisy)))
    assert sum(found.values()) == pytest.approx(1.0)
    assert found["30 m"] > 3 * found["80 m"] > 0


def test_effort_passes_over_bands_that_no_visit_settles():
    """They get their part of the guard, like decided ones, until something changes."""
    hopeful, hopeless = Outlook("30 m", (20,), 5, None, ""), Outlook("20 m", (20,), None, None, "")
    hopeless = replace(hopeless, can_be_settled=False)
    shares = effort((hopeful, hopeless))
    assert shares == {"30 m": pytest.approx(0.9), "20 m": pytest.approx(0.1)}
    assert effort((hopeless, replace(hopeless, band="30 m"))) == {"20 m": 0.5, "30 m": 0.5}


@pytest.mark.parametrize(
    ("change_db", "passes", "settles"), [(1.0, 40, False), (1.0, 20, True), (4.0, 40, True)]
)
def test_a_band_can_be_settled_where_nights_or_more_passes_would_do(change_db, passes, settles):
    """One decibel is the edge itself; with two passes an hour it may still be the passes that leave it open."""
    nights = 10
    estimate = Estimate(change_db, 1.4, 9.0)
    cell = Cell("20 m", 20, nights, nights, passes, None, estimate, None, None, None, "", (), 4.0)
    judged = Judged("undecided", Interval(change_db, change_db - 4, change_db + 4), 0.5)
    (found,) = outlooks([cell], [judged], {"20 m": 0.1}, facts())
    assert found.can_be_settled == settles


def test_with_nothing_open_effort_is_even():
    noisy = (Place("80 m", antenna_k=1e6), Place("160 m", antenna_k=2e6))
    assert set(effort(outlook(made(*noisy, nights=8), facts(*noisy))).values()) == {0.5}


def test_hours_that_overload_are_not_waited_for():
    band = BandTruth("10 m", rise_db=1.0, overloaded_hours=(19,), products_db=10.0)
    thrown = campaign(Course((band,), nights=5, hours=(17, 18, 19, 20)), 4)
    rig = facts(channels=thrown.channels)
    (found,) = outlook(pl.concat([summarise_day(thrown.night(n), rig) for n in range(5)]), rig)
    assert 19 in found.hours_withheld
    assert 19 not in found.hours_open


def told(*hours):
    """The clause about a band of hours given as (S/N change, low, high, passes, nights, verdict)."""
    cells, judged = [], []
    for number, (change, low, high, passes, nights, verdict) in enumerate(hours):
        estimate = Estimate(change, (high - low) / 4, 3.0)
        looked = last_look(nights)
        cells.append(
            Cell("20 m", number, nights, looked, passes, None, estimate, None, None, None, "", (), 2.0)
        )
        judged.append(Judged(verdict, Interval(change, low, high), 0.5))
    (found,) = outlooks(cells, judged, {"20 m": 0.1}, facts())
    return found.sentence


def test_only_what_lies_within_a_decibel_of_what_matters_may_be_chosen_either_way():
    assert "it is about 1 dB: use either" in told((1.05, 0.4, 1.7, 50, 10, "undecided"))
    vague = told((1.05, -2.3, 4.1, 20, 10, "undecided"))
    assert "use either" not in vague
    assert vague == "30 more nights will not settle it, but more passes at that time may"
    both = told((1.05, 0.4, 1.7, 50, 10, "undecided"), (1.05, -2.3, 4.1, 50, 10, "undecided"))
    assert both.startswith("part of it is about 1 dB: use either; 30 more nights")
    assert both.endswith("will not settle the rest, because noise varies too much between nights")


def test_the_wait_is_that_of_the_hours_without_a_verdict():
    """A decided hour that two more nights would make good for others too takes no part in what is open."""
    slow = (2.2, 0.5, 3.9, 50, 10, "undecided")
    quick = (9.0, 8.0, 10.0, 10, 2, "stage")
    near = (1.3, 1.05, 1.55, 10, 2, "stage")
    assert told(slow) == told(slow, quick) == told(slow, near)
    assert told(quick).endswith("should settle it, for other nights too")


def test_hours_that_overload_are_not_told_to_wait_on_the_first_night_either():
    band = BandTruth("10 m", rise_db=1.0, overloaded_hours=(19,), products_db=10.0)
    thrown = campaign(Course((band,), nights=5, hours=(17, 18, 19, 20)), 4)
    rig = facts(channels=thrown.channels)
    for nights in (1, 5):
        summaries = pl.concat([summarise_day(thrown.night(n), rig) for n in range(nights)])
        findings, _ = find(summaries, rig)
        withheld = {period.hour_utc for period in findings.bands[0].periods if period.withheld}
        assert 19 in withheld
        (ahead,) = outlook(summaries, rig)
        assert withheld.isdisjoint(ahead.hours_open)
        assert withheld == set(ahead.hours_withheld)
        assert ahead.decided is False or nights == 5


def test_each_band_comes_as_often_as_its_share():
    shares = {"30 m": 0.8, "80 m": 0.1, "160 m": 0.1}
    turns = [bands_due(shares, turn) for turn in range(80)]
    assert turns[0] == set(shares)
    assert sum("30 m" in bands for bands in turns) == 80
    assert sum("80 m" in bands for bands in turns) == pytest.approx(10, abs=1)
    assert bands_due({}, 3) == frozenset()
