"""The estimate of a change from rows of levels that are known exactly."""

from datetime import date, timedelta

import polars as pl
import pytest

from sweeper.analysis.change.before_after import before_after, matched_nights, shared_dependence

START = date(2026, 1, 5)  # a Monday


def levels(hours_of_nights, after=3, change_db=-4.0, of_hour_db=7.0):
    """Levels without any scatter: `of_hour_db` louder from hour to hour, changed from night number `after` on."""
    rows = [
        {
            "night": START + timedelta(days=night),
            "hour_utc": hour,
            "band": "40 m",
            "level": of_hour_db * hour + (change_db if night >= after else 0.0),
            "controlled": True,
            "external": True,
            "weekend": (START + timedelta(days=night)).isoweekday() >= 6,
            "bandwidth_hz": 0.0,
            "scale": 0.0,
        }
        for night, hours in enumerate(hours_of_nights)
        for hour in hours
    ]
    return pl.DataFrame(rows), START + timedelta(days=after)


def change_of(rows, first, keys=("hour_utc",)):
    matched = matched_nights(rows, first, keys)
    return before_after(matched, shared_dependence([matched]), 0.05)


@pytest.mark.parametrize("change_db", [-4.0, 4.0])
def test_a_change_is_after_minus_before(change_db):
    rows, first = levels([(18, 19)] * 6, change_db=change_db)
    found = change_of(rows.with_columns(pl.col("level") + 0.2 * (pl.col("night").dt.day() % 2)), first)
    assert found.estimate.value == pytest.approx(change_db, abs=0.3)
    assert (found.matched.before, found.matched.after) == (3, 3)


@pytest.mark.parametrize("change_db", [-4.0, 4.0])
def test_nights_of_unlike_hours_and_numbers_change_nothing(change_db):
    """The loud hour was measured mostly before, the quiet one mostly after; there are more nights after than before."""
    hours = [(18, 19), (19,), (19,), (18,), (18,), (18, 19), (18,), (18,)]
    rows, first = levels(hours, change_db=change_db)
    found = matched_nights(rows, first, ("hour_utc",))
    assert [night.after for night in found.nights] == [False] * 3 + [True] * 5
    assert [night.level_db for night in found.nights] == pytest.approx([0.0] * 3 + [change_db] * 5)


def test_hours_of_one_side_alone_take_no_part():
    rows, first = levels([(17, 18), (17, 18), (17, 18), (18, 23), (18, 23), (18, 23)])
    nights = matched_nights(rows, first, ("hour_utc",)).nights
    assert [night.level_db for night in nights] == pytest.approx([0.0] * 3 + [-4.0] * 3)
    rows, first = levels([(17,)] * 3 + [(23,)] * 3)
    nothing = change_of(rows, first)
    assert nothing.estimate is None and (nothing.matched.before, nothing.matched.after) == (3, 3)


@pytest.mark.parametrize(("before", "after", "told"), [(2, 5, False), (5, 2, False), (3, 3, True)])
def test_three_nights_on_each_side_are_wanted(before, after, told):
    rows, first = levels([(18,)] * (before + after), after=before)
    assert (change_of(rows, first).estimate is not None) == told


def test_a_band_that_wanders_counts_less():
    quiet, first = levels([(18,)] * 8, after=4, change_db=-4.0)
    wild, _ = levels([(18,)] * 8, after=4, change_db=0.0)
    wild = wild.with_columns(
        pl.lit("10 m").alias("band"), pl.Series("level", [0.0, 12.0, 0.0, 12.0, 12.0, 0.0, 12.0, 0.0])
    )
    nights = matched_nights(pl.concat([quiet, wild]), first, ("band", "hour_utc")).nights
    after = [night.level_db for night in nights if night.after]
    assert sum(after) / len(after) < -3.0


def test_the_level_that_an_interval_is_due_falls_with_the_number_of_looks():
    few, many = (change_of(*levels([(18,)] * count)).level for count in (6, 20))
    assert 0.0 < few < many < 0.05


def test_noise_that_falls_within_both_sides_too_is_told_beside_the_change():
    """Nights that scatter by a decibel about a slope of −0.3 dB a night, or about none, with a fix of 4 dB."""
    rows, first = levels([(18, 19)] * 20, after=10)
    scatter = pl.Series("night", rows["night"].unique().sort()).to_frame().with_row_index("n")
    scatter = scatter.with_columns(((pl.col("n") * 2.7).sin() * 1.4).alias("off"))
    rows = rows.join(scatter, on="night")
    steady = change_of(rows.with_columns(pl.col("level") + pl.col("off")), first)
    falling = change_of(rows.with_columns(pl.col("level") + pl.col("off") - 0.3 * pl.col("n")), first)
    rising = change_of(rows.with_columns(pl.col("level") + pl.col("off") + 0.3 * pl.col("n")), first)
    assert steady.leaning_db is None and steady.trend_db is None
    assert falling.leaning_db == pytest.approx(-0.3, abs=0.1) or falling.trend_db is not None
    assert rising.leaning_db is None
