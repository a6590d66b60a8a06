"""Before and after a fix, as a listener is told."""

import json
import math
import re
from datetime import UTC, date, datetime, timedelta

import polars as pl
import pytest

from sweeper.analysis.change.compare import compare
from sweeper.analysis.findings.as_json import comparison_object
from tests.sweeper.analysis.summaries import Place, facts, made

pytestmark = pytest.mark.slow

FORTY = Place("40 m", night_sd_db=1.0)
EIGHTY = Place("80 m", antenna_k=500_000.0, night_sd_db=1.0)
FIX = datetime(2026, 1, 12, 9, 0, tzinfo=UTC)


def two_weeks(*places, **more):
    return made(*places, nights=14, **more)


def test_a_fix_of_three_decibels_is_found_and_sized():
    found = compare(two_weeks(FORTY, EIGHTY, fix_at=7, fix_db=3.0), facts(FORTY, EIGHTY), FIX)
    assert found.all_bands is not None and found.all_bands.change_db is not None
    assert found.all_bands.verdict == "quieter"
    assert found.all_bands.change_db.low <= -3.0 <= found.all_bands.change_db.high
    assert (found.all_bands.nights_before, found.all_bands.nights_after) == (7, 7)
    for hour in found.bands[0].periods:
        assert hour.change_db is not None and hour.change_db.low <= -3.0 <= hour.change_db.high
    assert found.all_bands.reason.startswith("Noise fell by")


def test_the_receivers_own_noise_does_not_hide_half_of_a_fix():
    """On a band where noise stands 3 dB over the receiver's, the meter falls by 1.8 dB when noise falls by 3."""
    deaf = Place("10 m", antenna_k=9_000.0, night_sd_db=0.3, error_db=0.05)
    found = compare(two_weeks(deaf, fix_at=7, fix_db=3.0), facts(deaf), FIX).bands[0]
    assert found.change_db is not None
    assert found.change_db.value == pytest.approx(-3.0, abs=0.5)


def test_a_drifting_meter_is_no_fix():
    """The load drifts with the antenna: nothing happened outside. Without a load the drift looks like a trend."""
    held = compare(two_weeks(FORTY, meter_drift_db=-0.8), facts(FORTY), FIX).bands[0]
    assert held.verdict in ("no change", "undecided")
    without = Place("40 m", night_sd_db=1.0, load=False)
    plain = compare(two_weeks(without, meter_drift_db=-0.8), facts(without), FIX).bands[0]
    assert plain.verdict == "undecided"
    assert "no-control" in plain.flags
    assert {"trend", "leaning"} & set(plain.flags)
    assert held.change_db.value == pytest.approx(0.0, abs=1.5)
    assert plain.change_db.value < -3.0


@pytest.mark.parametrize("load", [True, False])
def test_a_receiver_that_reads_five_decibels_lower_since_the_week_of_the_fix_is_no_fix(load):
    place = Place("40 m", night_sd_db=1.0, load=load)
    before = two_weeks(place)
    late = pl.col("night") >= FIX.date()
    levels = [name for name in before.columns if name.startswith("level_") and not name.endswith("_se_db")]
    found = compare(
        before.with_columns(pl.when(late).then(pl.col(name) - 5.0).otherwise(name) for name in levels),
        facts(place),
        FIX,
    )
    assert found.bands[0].verdict in ("no change", "undecided")
    assert ("carriers-moved" in found.bands[0].flags) is not load
    assert ("or the receiver reads otherwise" in found.sky) is not load
    assert ("no change in propagation" in found.sky) is load


def test_a_quiet_weekend_is_no_fix():
    """Weekends 4 dB louder: matched weekday with weekday they take no part in the change."""
    found = compare(two_weeks(FORTY, weekend_db=4.0), facts(FORTY), FIX).bands[0]
    assert "weekdays-matched" in found.flags
    assert found.verdict in ("no change", "undecided")


def test_bands_that_the_fix_cannot_touch_serve_as_control():
    """The town is loud or quiet for both bands; the fix reaches 40 m alone."""
    forty = Place("40 m", night_sd_db=2.0, error_db=0.05)
    eighty = Place("80 m", antenna_k=500_000.0, night_sd_db=2.0, error_db=0.05)
    rows = two_weeks(forty, eighty)
    late = (pl.col("night") >= date(2026, 1, 12)) & (pl.col("band") == "40 m")
    shared = _alike(rows, of="80 m", to="40 m")
    fixed = _fallen(shared, late, 3.0)
    alone = compare(fixed.filter(pl.col("band") == "40 m"), facts(forty), FIX).bands[0]
    found = compare(fixed, facts(forty, eighty), FIX, control_bands=("80 m",))
    assert [band.band for band in found.bands] == ["40 m"]
    assert (alone.verdict, found.bands[0].verdict) == ("undecided", "quieter")
    assert found.bands[0].change_db.low <= -3.0 <= found.bands[0].change_db.high


def test_a_control_that_changed_itself_controls_nothing():
    summaries = two_weeks(FORTY, EIGHTY, fix_at=7, fix_db=3.0)
    found = compare(summaries, facts(FORTY, EIGHTY), FIX, control_bands=("80 m",)).bands[0]
    assert (found.verdict, "control-changed" in found.flags) == ("undecided", True)
    assert "the control bands changed too" in found.reason


def test_noise_that_was_falling_already_is_no_fix():
    """0.3 dB a night for four weeks, on two bands alike, and no fix."""
    rows = _sinking(made(FORTY, EIGHTY, nights=28), 0.3)
    found = compare(rows, facts(FORTY, EIGHTY), datetime(2026, 1, 19, 9, 0, tzinfo=UTC))
    assert {band.verdict for band in found.bands} <= {"undecided", "no change"}
    assert "trend" in found.bands[0].flags
    assert re.search(r"Noise was falling by about 0\.(2|3)", found.bands[0].reason)


def test_when_the_answer_is_no_it_says_how_small_a_change_would_have_shown():
    found = compare(two_weeks(Place("40 m", night_sd_db=3.0)), facts(), FIX).bands[0]
    assert found.verdict == "undecided"
    assert found.smallest_change_db is not None
    assert f"{found.smallest_change_db:.1f} dB or more" in found.reason


def test_two_nights_after_the_fix_are_too_few():
    found = compare(made(FORTY, nights=9, fix_at=7, fix_db=10.0), facts(FORTY), FIX).bands[0]
    assert (found.verdict, found.change_db) == ("undecided", None)


def test_a_fix_after_the_last_night_has_all_nights_before_it():
    later = datetime(2031, 1, 1, tzinfo=UTC)
    found = compare(two_weeks(FORTY), facts(FORTY), later).bands[0]
    assert (found.nights_before, found.nights_after) == (14, 0)
    assert found.reason.startswith("Not settled yet: 14 nights before the fix and none after;")
    earlier = compare(two_weeks(FORTY), facts(FORTY), datetime(2020, 1, 1, tzinfo=UTC)).bands[0]
    assert (earlier.nights_before, earlier.nights_after) == (0, 14)
    assert "no night was measured before the fix" in earlier.reason


def test_the_night_in_which_the_fix_was_made_belongs_to_neither_side():
    """18:00 to 21:00 UTC was measured. A fix before or after that leaves the night whole; one amid it does not."""
    summaries = two_weeks(FORTY, fix_at=7, fix_db=3.0)

    def sides(fix):
        found = compare(summaries, facts(FORTY), fix)
        return found.bands[0].nights_before, found.bands[0].nights_after, found.left_out

    assert sides(datetime(2026, 1, 12, 15, 0, tzinfo=UTC)) == (7, 7, None)
    assert sides(datetime(2026, 1, 13, 2, 0, tzinfo=UTC)) == (8, 6, None)
    assert sides(datetime(2026, 1, 12, 19, 30, tzinfo=UTC)) == (7, 6, date(2026, 1, 12))


def test_nights_at_other_hours_do_not_match():
    evening, morning = made(FORTY, nights=5), made(FORTY, nights=5, hours=(4, 5), first=date(2026, 1, 12))
    found = compare(pl.concat([evening, morning]), facts(FORTY), FIX).bands[0]
    assert (found.nights_before, found.nights_after, found.change_db) == (5, 5, None)
    assert "at the same hours" in found.reason


def test_carriers_are_asked_about_the_sky():
    assert "no change in propagation" in compare(two_weeks(FORTY), facts(FORTY), FIX).sky
    assert "nothing tells" in compare(two_weeks(Place(carrier=False)), facts(Place(carrier=False)), FIX).sky


def test_carriers_that_were_measured_but_not_heard_are_not_called_none():
    unheard = two_weeks(FORTY).with_columns(carrier_passes=pl.lit(0, pl.Int64))
    sky = compare(unheard, facts(FORTY), FIX).sky
    assert sky.startswith("The carriers measured (") and "kHz) did not stand clear of the noise" in sky


def test_without_a_date_the_change_is_looked_for_and_notes_are_laid_beside_it():
    note = (datetime(2026, 1, 18, 20, 0, tzinfo=UTC), "ferrite on the modem's lead")
    summaries = made(FORTY, EIGHTY, nights=28, fix_at=14, fix_db=4.0)
    found = compare(summaries, facts(FORTY, EIGHTY), None, notes=[note])
    assert [change.night for change in found.changes] == [date(2026, 1, 19)]
    assert found.changes[0].notes == ("ferrite on the modem's lead",)
    assert found.all_bands is not None and found.all_bands.verdict == "quieter"


@pytest.mark.parametrize(("first_db", "second_db", "taken"), [(4.0, 9.0, 28), (9.0, 4.0, 14)])
def test_of_several_changes_as_clear_as_each_other_the_greater_is_compared(first_db, second_db, taken):
    rows, start = made(FORTY, EIGHTY, nights=42), date(2026, 1, 5)
    for at, less_db in ((14, first_db), (28, second_db)):
        rows = _fallen(rows, pl.col("night") >= start + timedelta(days=at), less_db)
    found = compare(rows, facts(FORTY, EIGHTY), None)
    assert [(change.night - start).days for change in found.changes] == [14, 28]
    assert len({change.chance for change in found.changes}) == 1
    assert found.fix is not None and (found.fix.date() - start).days == taken


def test_without_a_date_and_without_a_change_nothing_is_made_up():
    found = compare(two_weeks(FORTY), facts(FORTY), None)
    assert (found.fix, found.bands, found.changes, found.sky) == (None, (), (), "")


def test_where_no_noise_was_measured_no_change_of_it_is_denied():
    """With the gain control on only ratios are kept."""
    assert "cannot be told" in compare(two_weeks(FORTY).clear(), facts(FORTY), None).sky


def test_the_json_of_a_comparison_has_the_fixed_keys():
    written = json.loads(
        json.dumps(comparison_object(compare(two_weeks(FORTY), facts(FORTY), FIX)), allow_nan=False)
    )
    assert written["format"] == "sweeper-comparison-1"
    assert written["fix"] == "2026-01-12T09:00:00Z"
    assert {"band", "change_db", "nights_before", "nights_after", "verdict", "periods"} <= set(
        written["bands"][0]
    )
    assert set(written["bands"][0]["periods"][0]) == {"hour_utc", "change_db"}


def test_another_bandwidth_is_no_change_of_noise():
    """500 instead of 2400 Hz holds 6.8 dB less noise. With a load, which falls as much, the fix is still seen."""
    without = Place("40 m", night_sd_db=1.0, load=False)
    narrow = _narrowed(two_weeks(without), from_night=date(2026, 1, 12))
    found = compare(narrow, facts(without), FIX).bands[0]
    assert (found.verdict, found.change_db) == ("undecided", None)
    assert "bandwidth-changed" in found.flags
    assert found.reason.startswith("Cannot be told: 7 nights before the fix and 7 nights after")
    assert "bandwidth" in found.reason
    assert compare(narrow, facts(without), None).changes == ()

    narrow = _narrowed(two_weeks(FORTY, EIGHTY, fix_at=7, fix_db=3.0), from_night=date(2026, 1, 12))
    with_load = compare(narrow, facts(FORTY, EIGHTY), FIX).all_bands
    assert with_load.change_db.value == pytest.approx(-3.0, abs=1.5)
    assert "bandwidth-changed" not in with_load.flags


def test_nights_of_the_same_bandwidth_on_both_sides_are_compared_and_the_others_left_out():
    without = Place("40 m", night_sd_db=0.5, load=False)
    narrow = _narrowed(two_weeks(without, fix_at=7, fix_db=3.0), from_night=date(2026, 1, 16))
    found = compare(narrow, facts(without), FIX).bands[0]
    assert (found.nights_before, found.nights_after) == (7, 4)
    assert found.change_db.value == pytest.approx(-3.0, abs=1.0)
    assert "bandwidth-changed" in found.flags


def test_a_night_in_another_band_width_moves_no_other_band():
    """The load tells what the meter did; a narrower band on one band is not what the meter did on another."""
    deaf = Place("10 m", antenna_k=50.0, night_sd_db=0.3, error_db=0.05)
    rows = two_weeks(deaf, FORTY)
    there = pl.col("band") == "40 m"
    found = compare(
        pl.concat([rows.filter(~there), _narrowed(rows.filter(there), from_night=date(2026, 1, 12))]),
        facts(deaf, FORTY),
        FIX,
    ).bands[0]
    assert abs(found.change_db.value) < 0.5


def test_another_calibration_or_unit_is_no_change_of_noise():
    without = Place("40 m", night_sd_db=1.0, load=False)
    rows = two_weeks(without)
    late = pl.col("night") >= date(2026, 1, 12)
    moved = rows.with_columns(
        pl.when(late).then(pl.col("level_antenna_bypass") - 75.0).otherwise("level_antenna_bypass"),
        pl.when(late).then(-75).otherwise(0).cast(pl.Int64).alias("scale"),
    )
    found = compare(moved, facts(without), FIX)
    assert (found.bands[0].verdict, found.bands[0].change_db) == ("undecided", None)
    assert "calibration-changed" in found.bands[0].flags
    assert "sky itself changed" not in found.sky or "Too few" in found.sky


def _narrowed(rows: pl.DataFrame, from_night: date) -> pl.DataFrame:
    """The same nights, from one on measured through 500 Hz."""
    late, less_db = pl.col("night") >= from_night, 10 * math.log10(2400 / 500)
    levels = [name for name in rows.columns if name.startswith("level_") and not name.endswith("_se_db")]
    return rows.with_columns(
        *(pl.when(late).then(pl.col(name) - less_db).otherwise(name).alias(name) for name in levels),
        pl.when(late).then(500).otherwise("bandwidth_hz").cast(pl.Int64).alias("bandwidth_hz"),
    )


def test_a_steady_place_is_told_that_nothing_changed():
    still = Place("40 m", night_sd_db=0.2, error_db=0.05)
    found = compare(made(still, nights=30), facts(still), datetime(2026, 1, 20, 9, 0, tzinfo=UTC)).bands[0]
    assert found.verdict == "no change"
    assert found.reason.startswith("No change that matters:")
    assert -1.0 < found.change_db.low < found.change_db.high < 1.0


@pytest.mark.parametrize(("worthwhile_db", "verdict"), [(1.0, "no change"), (0.05, "undecided")])
def test_what_matters_is_for_the_listener_to_say(worthwhile_db, verdict):
    still = Place("40 m", night_sd_db=0.2, error_db=0.05)
    told = facts(still, worthwhile_db=worthwhile_db)
    assert (
        compare(made(still, nights=30), told, datetime(2026, 1, 20, 9, 0, tzinfo=UTC)).bands[0].verdict
        == verdict
    )


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_no_change_needs_both_ends_within_what_matters(sign):
    """An interval that reaches nine times as far to one side of nought as to the other."""
    still = Place("40 m", night_sd_db=0.5)
    late, rows = pl.col("night") >= date(2026, 1, 12), two_weeks(still)
    plain = compare(rows, facts(still), FIX).bands[0].change_db
    half = (plain.high - plain.low) / 2
    moved = _fallen(rows, late, plain.value - sign * 0.8 * half)
    told = {}
    for share in (0.5, 1.4, 1.9):
        found = compare(moved, facts(still, worthwhile_db=share * half), FIX).bands[0]
        near, far = sorted((abs(found.change_db.low), abs(found.change_db.high)))
        assert found.change_db.low < 0.0 < found.change_db.high and near < 0.5 * half and 1.4 * half < far
        told[share] = found.verdict
    assert told == {0.5: "undecided", 1.4: "undecided", 1.9: "no change"}


def test_how_alike_nights_are_is_told_by_the_control_bands_too():
    """Also where they changed at the fix themselves and control nothing: their nights wander slowly."""
    rows = two_weeks(FORTY, EIGHTY)
    night = (pl.col("night") - date(2026, 1, 5)).dt.total_days()
    wander_db = 4.0 * (night * (math.pi / 13)).sin() - 8.0 * (night >= 7)
    wandering = rows.with_columns(
        pl.when(pl.col("band") == "80 m").then(pl.col(name) + wander_db).otherwise(name).alias(name)
        for name in [*_levels(rows), "noise_rise_db", "stage_noise_rise_db"]
    )
    alone = compare(rows.filter(pl.col("band") == "40 m"), facts(FORTY), FIX).bands[0].change_db
    found = compare(wandering, facts(FORTY, EIGHTY), FIX, control_bands=("80 m",)).bands[0]
    assert "control-changed" in found.flags
    assert found.change_db.high - found.change_db.low > 1.05 * (alone.high - alone.low)


def test_one_band_alone_is_believed_at_the_confidence_asked_for():
    """Just so: at twice as sure its interval holds nought."""
    fallen, fix = two_weeks(FORTY, fix_at=7, fix_db=1.6), FIX
    just, surer = (compare(fallen, facts(FORTY, confidence=each), fix).bands[0] for each in (0.95, 0.975))
    assert -0.3 < just.change_db.high < 0.0 < surer.change_db.high
    assert (just.verdict, "table" in just.flags) == ("quieter", False)


@pytest.mark.parametrize(("fix_db", "verdict"), [(1.75, "undecided"), (2.0, "quieter")])
def test_of_two_bands_the_clearer_needs_a_quarter_of_the_chance(fix_db, verdict):
    """Half is left for both together, and a half of that is for the clearer (Benjamini and Hochberg): 1.25 %."""
    late = (pl.col("night") >= date(2026, 1, 12)) & (pl.col("band") == "40 m")
    rows = _fallen(two_weeks(FORTY, EIGHTY), late, fix_db)
    found, at_half, at_quarter = (
        compare(rows, facts(FORTY, EIGHTY, confidence=each), FIX).bands[0] for each in (0.95, 0.975, 0.9875)
    )
    assert found.change_db.high < at_half.change_db.high < 0.0
    assert (found.verdict, "table" in found.flags) == (verdict, verdict == "undecided")
    assert (at_quarter.change_db.high < 0.0) == (verdict == "quieter")


@pytest.mark.slow
def test_among_many_bands_one_that_looks_changed_is_not_believed():
    """The same nights of one band: by themselves they tell of a change, beside nineteen steady bands they do not."""
    moved = Place("40 m", night_sd_db=1.0)
    others = [Place(f"band {n}", night_sd_db=1.0) for n in range(19)]
    hit = two_weeks(moved, fix_at=7, fix_db=4.2, seed=3)
    alone = compare(hit, facts(moved), FIX).bands[0]
    steady = two_weeks(moved, *others, seed=4).filter(pl.col("band") != "40 m")
    among = {band.band: band for band in compare(pl.concat([hit, steady]), facts(moved, *others), FIX).bands}[
        "40 m"
    ]
    assert alone.verdict == "quieter" and "table" not in alone.flags
    assert among.verdict == "undecided" and "table" in among.flags
    assert "among so many bands one looks changed by chance" in among.reason


@pytest.mark.parametrize(
    ("longitude", "left_out"),
    [(150.0, date(2026, 1, 12)), (-150.0, date(2026, 1, 11)), (8.1, date(2026, 1, 12))],
)
def test_the_night_left_out_is_that_of_the_stations_own_noon(longitude, left_out):
    """A fix at 19:30 UTC amid hours 18 to 20 UTC. At 150° E local noon is at 02 UTC, at 150° W at 22 UTC, so that there
    those hours belong to the night that began the day before."""
    summaries = two_weeks(FORTY)
    found = compare(summaries, facts(FORTY, longitude=longitude), datetime(2026, 1, 12, 19, 30, tzinfo=UTC))
    assert found.left_out == left_out


def _levels(rows: pl.DataFrame) -> list[str]:
    return [name for name in rows.columns if name.startswith("level_antenna") and not name.endswith("_se_db")]


def _fallen(rows: pl.DataFrame, where: pl.Expr, less_db: float) -> pl.DataFrame:
    """The same nights, with less noise from outside by so much where it stands far over the receiver's own."""
    moved = [*_levels(rows), "noise_rise_db", "stage_noise_rise_db"]
    return rows.with_columns(
        pl.when(where).then(pl.col(name) - less_db).otherwise(name).alias(name) for name in moved
    )


def _sinking(rows: pl.DataFrame, a_night_db: float) -> pl.DataFrame:
    nights = (pl.col("night") - pl.col("night").min()).dt.total_days()
    moved = [*_levels(rows), "noise_rise_db", "stage_noise_rise_db"]
    return rows.with_columns(pl.col(name) - a_night_db * nights for name in moved)


def _alike(rows: pl.DataFrame, of: str, to: str) -> pl.DataFrame:
    """The band `to` with the nights of the band `of`, each about its own mean."""
    moved = [*_levels(rows), "noise_rise_db", "stage_noise_rise_db"]
    keys = ("night", "hour_utc", "for")
    other = rows.filter(pl.col("band") == of).select(
        *keys,
        *(
            (pl.col(name) - pl.col(name).mean().over("hour_utc", "for")).alias(f"{name}_other")
            for name in moved
        ),
    )
    joined = rows.join(other.unique(keys), on=keys, how="left", maintain_order="left")
    here = pl.col("band") == to
    return joined.with_columns(
        pl.when(here)
        .then(pl.col(name).mean().over("band", "hour_utc", "for") + pl.col(f"{name}_other"))
        .otherwise(name)
        .alias(name)
        for name in moved
    ).drop(f"{name}_other" for name in moved)
