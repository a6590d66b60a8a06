"""Before and after on meters whose decibels are none: what is said holds on every scale that may be the meter's."""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import polars as pl
import pytest

from sweeper.analysis.change.compare import compare
from sweeper.analysis.meter.changed import CHANGED
from tests.sweeper.analysis.summaries import Place, facts, made

pytestmark = pytest.mark.slow

BARE = Place("40 m", antenna_k=500_000.0, night_sd_db=0.3, load=False, carrier=False)
FIRST, FIX_AT, NIGHTS = date(2026, 1, 5), 7, 14
FIX = datetime(2026, 1, 12, 9, 0, tzinfo=UTC)
PATHS = ("antenna_bypass", "antenna_stage", "load_bypass", "load_stage")


def shown(summaries: pl.DataFrame, slope: float, scatter: float | None = None) -> pl.DataFrame:
    """What a meter of this slope makes of levels, and `scatter` (None: what goes with the slope) of noise."""
    squared = slope**2 if scatter is None else scatter**2
    levels = [pl.col(f"level_{path}") * slope for path in PATHS]
    others = [pl.col(name) * slope for name in ("difference_db", "meter_reading_bypass")]
    return summaries.with_columns(*levels, *others, *[pl.col(f"scatter_{path}") * squared for path in PATHS])


def untested(summaries: pl.DataFrame) -> pl.DataFrame:
    return summaries.with_columns(pl.lit(0).alias(f"scatter_visits_{path}") for path in PATHS)


def test_on_an_honest_scale_nights_without_a_fix_show_no_change() -> None:
    found = compare(made(BARE, nights=NIGHTS), facts(BARE), FIX).bands[0]
    assert (found.verdict, "scale-untested" in found.flags) == ("no change", False) and all(found.flags)


def test_several_bands_of_which_none_moved_each_show_no_change() -> None:
    places = tuple(replace(BARE, name=name) for name in ("80 m", "40 m", "30 m"))
    found = compare(made(*places, nights=NIGHTS), facts(*places), FIX)
    assert [(band.verdict, "table" in band.flags) for band in found.bands] == [("no change", False)] * 3


def test_no_change_needs_a_scale_that_something_tested() -> None:
    """A decibel shown may be two on a scale of half the slope, so what stays within one may be more."""
    honest = compare(made(BARE, nights=NIGHTS), facts(BARE), FIX).bands[0]
    found = compare(untested(made(BARE, nights=NIGHTS)), facts(BARE), FIX).bands[0]
    assert found.change_db is not None and honest.change_db is not None
    assert found.change_db.high - found.change_db.low == pytest.approx(
        2 * (honest.change_db.high - honest.change_db.low), rel=0.1
    )
    assert (found.verdict, "scale-untested" in found.flags) == ("undecided", True)
    assert "calibrate first" in found.reason


def test_a_fall_is_a_fall_on_every_scale_and_its_size_is_not() -> None:
    """A meter of half the slope shows 3 dB as 1.5; untested, its interval has to hold both."""
    made_so = untested(shown(made(BARE, nights=NIGHTS, fix_at=FIX_AT, fix_db=3.0), 0.5))
    found = compare(made_so, facts(BARE), FIX).bands[0]
    assert found.verdict == "quieter"
    assert found.change_db is not None and found.change_db.low < -3.0 < found.change_db.high < 0.0


def test_a_slope_that_scatter_told_is_put_right() -> None:
    made_so = shown(made(BARE, nights=NIGHTS, fix_at=FIX_AT, fix_db=3.0), 0.5)
    found = compare(made_so, facts(BARE), FIX).bands[0]
    assert found.verdict == "quieter"
    assert found.change_db is not None and found.change_db.low < -3.0 < found.change_db.high


def test_a_meter_that_does_not_move_shows_no_lack_of_change() -> None:
    found = compare(shown(made(BARE, nights=NIGHTS), 0.2, scatter=0.0), facts(BARE), FIX).bands[0]
    assert (found.verdict, "meter-dead-zone" in found.flags) == ("undecided", True)
    assert "hardly moves" in found.reason


@pytest.mark.parametrize(("at", "before", "after"), [(4, 3, 7), (10, 7, 3)])
def test_nights_with_another_meter_are_compared_with_none(at: int, before: int, after: int) -> None:
    """A receiver that scatters 0.6 times as far from night `at` on: the side on which the fix lies has both."""
    night = FIRST + timedelta(days=at)
    summaries = made(BARE, nights=NIGHTS, fix_at=FIX_AT, fix_db=3.0)
    other = pl.concat(
        [summaries.filter(pl.col("night") < night), shown(summaries.filter(pl.col("night") >= night), 0.6)]
    )
    found = compare(other, facts(BARE), FIX).bands[0]
    assert (found.nights_before, found.nights_after) == (before, after)
    assert CHANGED in found.flags and "only with nights of the same meter" in found.reason
    assert found.change_db is None or found.change_db.low < -3.0 < found.change_db.high


def test_a_meter_changed_with_the_fix_leaves_nothing_to_compare() -> None:
    night = FIRST + timedelta(days=FIX_AT)
    summaries = made(BARE, nights=NIGHTS)
    other = pl.concat(
        [summaries.filter(pl.col("night") < night), shown(summaries.filter(pl.col("night") >= night), 0.6)]
    )
    found = compare(other, facts(BARE), FIX).bands[0]
    assert (found.verdict, found.nights_before) == ("undecided", 0)
    assert "the meter is another" in found.reason


def test_an_untested_scale_widens_every_band_every_hour_and_all_bands_together() -> None:
    """Levels far over the receiver's own noise shrink and stretch alike, so each interval doubles and none is lost."""
    places = (BARE, replace(BARE, name="80 m"))
    honest = compare(made(*places, nights=NIGHTS), facts(*places), FIX)
    found = compare(untested(made(*places, nights=NIGHTS)), facts(*places), FIX)
    assert honest.all_bands is not None and found.all_bands is not None
    for tested, wider in zip((*honest.bands, honest.all_bands), (*found.bands, found.all_bands), strict=True):
        assert tested.smallest_change_db is not None
        assert wider.smallest_change_db == pytest.approx(2 * tested.smallest_change_db, rel=0.1)
        spans = [[tested.change_db, *(hour.change_db for hour in tested.periods)],
                 [wider.change_db, *(hour.change_db for hour in wider.periods)]]  # fmt: skip
        for one, other in zip(*spans, strict=True):
            assert one is not None and other is not None
            assert other.high - other.low == pytest.approx(2 * (one.high - one.low), rel=0.1)


def test_without_a_date_only_the_nights_with_the_present_meter_are_looked_at() -> None:
    """A fix of 6 dB on the tenth night, and another meter on the fourth: what the older one showed is left out."""
    night = FIRST + timedelta(days=4)
    summaries = made(BARE, nights=30, fix_at=18, fix_db=6.0)
    other = pl.concat(
        [summaries.filter(pl.col("night") < night), shown(summaries.filter(pl.col("night") >= night), 0.6)]
    )
    found = compare(other, facts(BARE), None)
    assert [change.night for change in found.changes] == [FIRST + timedelta(days=18)]
    assert found.fix is not None and (found.bands[0].nights_before, found.bands[0].nights_after) == (14, 12)
    assert CHANGED in found.bands[0].flags


def test_without_a_date_a_change_that_one_of_the_open_scales_does_not_show_is_none() -> None:
    """Noise a tenth of a decibel over the load's: on a scale of half the slope too little to tell it apart by, so that
    a fix of six tenths stays within what nights stray there.
    """
    faint = Place("10 m", antenna_k=600.0, night_sd_db=0.5, error_db=0.05, carrier=False)
    summaries = made(faint, nights=20, fix_at=10, fix_db=0.6)
    on_one = compare(summaries, replace(facts(faint), meter=replace(facts(faint).meter, linear=True)), None)
    assert [change.night for change in on_one.changes] == [FIRST + timedelta(days=10)]
    assert compare(untested(summaries), facts(faint), None).changes == ()
