"""What the nights measured were like is known sooner than what nights are like, and as often right as is promised."""

import numpy as np
import polars as pl
import pytest
from scipy.stats import binom

from sweeper.analysis import summarise_day, table_of
from sweeper.analysis.band.these_nights import mean_on_these
from sweeper.simulation.campaign.course import BandTruth, Course
from sweeper.simulation.campaign.draw import Campaign, campaign
from tests.sweeper.analysis.summaries import facts

UNKNOWN = float("nan")


def test_errors_within_nights_add_up_and_how_nights_differ_does_not_count() -> None:
    """Two nights known to 0.3 and 0.4 dB: their mean to √(0.09 + 0.16)/2 = 0.25 dB (JCGM 100:2008, 5.1.2)."""
    values, errors, passes = (
        np.array([-9.0, 7.0, UNKNOWN]),
        np.array([0.3, 0.4, UNKNOWN]),
        np.array([5.0, 5.0, UNKNOWN]),
    )
    found = mean_on_these(values, errors, passes, 0.0)
    assert found is not None
    assert found.value == -1.0
    assert found.se == pytest.approx(0.25, abs=1e-3)
    coarse = mean_on_these(values, errors, passes, 0.6)
    assert coarse is not None and coarse.se == pytest.approx(0.65, abs=1e-3)


def test_a_night_of_one_pass_borrows_the_scatter_of_a_pass_and_nights_of_one_pass_alone_show_none() -> None:
    found = mean_on_these(np.array([1.0, 2.0]), np.array([0.5, UNKNOWN]), np.array([4.0, 1.0]), 0.0)
    assert found is not None
    # A single pass scatters by 0.5·√4 = 1 dB; √(0.25 + 1)/2 = 0.559.
    assert found.se == pytest.approx(0.559, abs=1e-3)
    assert mean_on_these(np.array([1.0, 2.0]), np.full(2, UNKNOWN), np.ones(2), 0.0) is None


COURSE = Course(
    tuple(BandTruth(name, rise_db=rise) for name, rise in (("80 m", 9.0), ("40 m", 5.0), ("15 m", 2.0))),
    nights=4,
    hours=(19, 22, 1),
    night_sd_db=6.0,
)


def held_and_narrower(thrown: Campaign) -> tuple[list[bool], list[float]]:
    """Whether the interval of each cell holds the mean of the truth of its nights; its width against all nights'."""
    rig = facts(channels=thrown.channels)
    nights = [summarise_day(thrown.night(n), rig) for n in range(thrown.course.nights)]
    table = table_of(pl.concat(nights), rig)
    held, ratios = [], []
    for cell, of_all, of_these in zip(table.cells, table.judged, table.measured, strict=True):
        shown = of_these.snr_change_db
        if shown is None or cell.nights < 3:
            continue
        there = (pl.col("band") == cell.band) & (pl.col("hour_utc") == cell.hour_utc)
        here = table.nights.filter(there & pl.col("difference_db").is_not_null())
        numbers = [(night - thrown.dates[0]).days for night in here["night"]]
        truth = float(np.mean([thrown.snr_change_on(cell.band, cell.hour_utc, n) for n in numbers]))
        held.append(shown.low <= truth <= shown.high)
        if of_all.snr_change_db is not None:
            ratios.append((shown.high - shown.low) / (of_all.snr_change_db.high - of_all.snr_change_db.low))
    return held, ratios


@pytest.mark.slow
def test_intervals_about_the_nights_measured_hold_their_truth_as_often_as_promised() -> None:
    held: list[bool] = []
    ratios: list[float] = []
    for seed in range(24):
        each, narrower = held_and_narrower(campaign(COURSE, seed))
        held += each
        ratios += narrower
    assert len(held) > 150
    # Cells of a campaign share a gain, and so may miss together: as if a third of them were independent.
    cells = len(held) // 3
    assert sum(held) / len(held) * cells >= binom.ppf(0.01, cells, 0.95)
    assert np.median(ratios) < 0.5, "night differs from night by 6 dB, which these intervals need not carry"
