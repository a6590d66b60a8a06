"""Which nights a fix parts, what each comparison says of itself, and the verdict that its interval gives."""

from dataclasses import replace
from datetime import UTC, date, datetime
from functools import cache

import polars as pl
import pytest

from sweeper.analysis import Comparison, compare
from tests.sweeper.analysis.summaries import Place, facts, made

pytestmark = pytest.mark.slow

FORTY = Place("40 m", night_sd_db=0.5, error_db=0.05)
GREENWICH = facts(FORTY, longitude=0.0)
OWN, NEXT = date(2026, 1, 12), date(2026, 1, 13)


def parted(
    hour: int, minute: int, hours: tuple[int, ...], longitude: float = 0.0
) -> tuple[int, int, date | None]:
    """Nights before and after a fix on 12 January, and the night left out; nights begin on 5 January at noon."""
    rows = made(FORTY, nights=14, hours=hours)
    found = compare(rows, facts(FORTY, longitude=longitude), datetime(2026, 1, 12, hour, minute, tzinfo=UTC))
    return found.bands[0].nights_before, found.bands[0].nights_after, found.left_out


@pytest.mark.parametrize(
    ("hour", "minute", "hours", "sides"),
    [
        (12, 0, (12, 13), (7, 7, None)),  # noon itself: the night is wholly after it
        (12, 30, (12, 13), (7, 6, OWN)),  # amid its first hour
        (12, 30, (13, 14), (7, 7, None)),
        (20, 0, (18, 19, 20, 21), (7, 6, OWN)),
        (18, 0, (18, 19), (7, 7, None)),  # as the first hour begins
        (18, 1, (18, 19), (7, 6, OWN)),
        (20, 0, (18, 19), (8, 6, None)),  # as the last hour has ended
        (19, 59, (18, 19), (7, 6, OWN)),
        (11, 59, (18, 19), (7, 7, None)),  # still the night before's day, after its hours
        (1, 30, (23, 0, 1, 2), (6, 7, date(2026, 1, 11))),
        (0, 30, (1, 2), (6, 8, None)),
    ],
)
def test_which_nights_lie_before_and_after_a_fix(
    hour: int, minute: int, hours: tuple[int, ...], sides: tuple[int, int, date | None]
) -> None:
    assert parted(hour, minute, hours) == sides


def test_noon_is_the_stations_own() -> None:
    """At 30° E local noon is at 10 UTC."""
    assert parted(10, 0, (10, 11), longitude=30.0) == (7, 7, None)
    assert parted(9, 30, (10, 11), longitude=30.0) == (7, 7, None)
    assert parted(11, 0, (10, 11), longitude=30.0) == (7, 6, OWN)


def test_a_fix_at_a_noon_amid_an_hour_leaves_the_night_that_begins_then_whole() -> None:
    """At 8.1° E local noon is at 11:27:36 UTC, so that the night's first hour is what is left of that one."""
    assert parted(11, 28, (11, 12), longitude=8.1) == (7, 7, None)
    assert parted(11, 29, (11, 12), longitude=8.1) == (7, 6, OWN)
    assert parted(12, 28, (11, 12), longitude=8.1) == (7, 6, OWN)


def test_a_fix_is_looked_for_at_the_noon_before_the_first_night_after_it() -> None:
    rows = made(FORTY, nights=24, fix_at=12, fix_db=6.0)
    found = compare(rows, facts(FORTY, longitude=30.0), None)
    assert found.fix == datetime(2026, 1, 17, 10, 0, tzinfo=UTC)
    assert found.left_out is None and (found.bands[0].nights_before, found.bands[0].nights_after) == (12, 12)
    assert (found.station, found.confidence) == ("Saltmarsh", 0.95)


def test_of_several_changes_the_clearest_is_taken() -> None:
    rows = made(FORTY, nights=36, fix_at=12, fix_db=10.0)
    later = pl.col("night") >= date(2026, 1, 29)
    louder = rows.with_columns(
        pl.when(later).then(pl.col(name) + 3.0).otherwise(name).alias(name)
        for name in ("level_antenna_bypass", "level_antenna_stage", "noise_rise_db", "stage_noise_rise_db")
    )
    found = compare(louder, GREENWICH, None)
    assert {change.night for change in found.changes} == {date(2026, 1, 17), date(2026, 1, 29)}
    assert found.fix is not None and found.fix.date() == date(2026, 1, 17)


@cache
def fixed(fix_db: float, **more: object) -> Comparison:
    told = facts(FORTY, longitude=0.0, **more)
    return compare(
        made(FORTY, nights=30, fix_at=7, fix_db=fix_db), told, datetime(2026, 1, 12, 12, tzinfo=UTC)
    )


@pytest.mark.parametrize(("fix_db", "verdict"), [(3.0, "quieter"), (-3.0, "noisier"), (0.0, "no change")])
def test_the_verdict_is_where_the_interval_lies(fix_db: float, verdict: str) -> None:
    band = fixed(fix_db, worthwhile_db=1.5).bands[0]
    assert band.verdict == verdict and band.change_db is not None
    assert band.change_db.low < -fix_db < band.change_db.high
    assert [period.hour_utc for period in band.periods] == [18, 19, 20]
    assert all(each.change_db is not None and each.change_db.low < -fix_db + 1.0 for each in band.periods)


def test_the_smallest_change_shown_in_four_of_five_lies_a_power_beyond_the_interval() -> None:
    band = fixed(0.0).bands[0]
    assert band.change_db is not None and band.smallest_change_db is not None
    half = (band.change_db.high - band.change_db.low) / 2
    assert half < band.smallest_change_db < 1.6 * half  # about 0.84/2.1 more, Student's at 80 % of power


def test_one_band_has_no_whole_and_two_have_one() -> None:
    assert fixed(1.0).all_bands is None
    eighty = Place("80 m", antenna_k=500_000.0, night_sd_db=0.5)
    rows = made(FORTY, eighty, nights=20, fix_at=7, fix_db=3.0)
    both = compare(rows, facts(FORTY, eighty), datetime(2026, 1, 12, 9, tzinfo=UTC))
    assert both.all_bands is not None and both.all_bands.band == "all bands"
    assert [each.band for each in both.bands] == ["40 m", "80 m"]
    assert both.all_bands.change_db is not None and both.all_bands.change_db.value == pytest.approx(
        -3.0, abs=0.6
    )
    assert len(both.all_bands.periods) == 3


def test_what_a_comparison_rests_on_is_in_its_flags() -> None:
    full = fixed(3.0).bands[0].flags
    assert "weekdays-matched" in full and "no-control" not in full and "own-noise-included" not in full
    bare = replace(FORTY, load=False)
    rows = made(bare, nights=9)
    found = compare(rows, facts(bare), datetime(2026, 1, 9, 9, tzinfo=UTC)).bands[0].flags
    assert {"no-control", "own-noise-included"} <= set(found) and "weekdays-matched" not in found


@cache
def carriers(after_db: float, nights: int = 20) -> str:
    rows = made(FORTY, nights=nights)
    late = (pl.col("for") == "carrier") & (pl.col("night") >= OWN)
    moved = rows.with_columns(
        pl.when(late).then(pl.col("level_antenna_bypass") + after_db).otherwise("level_antenna_bypass")
    )
    return compare(moved, facts(FORTY), datetime(2026, 1, 12, 9, tzinfo=UTC)).sky


@pytest.mark.parametrize(("after_db", "words"), [(12.0, "came in stronger"), (-12.0, "came in weaker")])
def test_carriers_that_changed_are_told_with_their_way(after_db: float, words: str) -> None:
    assert words in carriers(after_db) and "propagation changed too" in carriers(after_db)
    assert "no change in propagation" in carriers(0.0)


def test_too_few_nights_with_carriers_are_told() -> None:
    assert carriers(0.0, nights=8) == "Too few nights with carriers to tell whether propagation changed."


def test_only_the_hours_of_the_fixs_own_night_say_on_which_side_it_lies() -> None:
    rows = made(FORTY, nights=14, hours=(18, 19, 22, 23))
    short = rows.filter((pl.col("night") != OWN) | (pl.col("hour_utc") < 22))
    found = compare(short, GREENWICH, datetime(2026, 1, 12, 22, 30, tzinfo=UTC))
    assert (found.bands[0].nights_before, found.bands[0].nights_after, found.left_out) == (8, 6, None)
    without = rows.filter(pl.col("night") != OWN)
    found = compare(without, GREENWICH, datetime(2026, 1, 12, 22, 30, tzinfo=UTC))
    assert (found.bands[0].nights_before, found.bands[0].nights_after, found.left_out) == (7, 6, None)
