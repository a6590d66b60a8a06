"""A band at an hour: what is known of it, from how many nights, and within which bounds."""

from datetime import date, timedelta

import numpy as np
import polars as pl
import pytest

from sweeper.analysis.band.cells import cells_of_bands
from sweeper.analysis.band.gain import Gain
from sweeper.analysis.band.gain_methods import GainEstimate
from sweeper.analysis.physics.friis import snr_lost_db
from sweeper.analysis.statistics.curved_mean import AsymmetricEstimate
from sweeper.analysis.statistics.estimates import Estimate
from tests.sweeper.analysis.summaries import cells_of_band


def gain_of(gain_db=10.0, se_db=0.05, source="load", flags=()):
    part = GainEstimate(source, gain_db, se_db, 30.0, 10)
    return Gain(gain_db, se_db, 30.0, source, (part,), flags)


def rows(differences_db, rises_db=3.0, stage_rises_db=9.0, **more):
    """Nightly rows of one hour, one a night, with these values; `more` overrides any column for all nights."""
    count = len(differences_db)
    start = date(2026, 1, 5)
    columns = {
        "band": ["40 m"] * count,
        "hour_utc": [20] * count,
        "night": [start + timedelta(days=n) for n in range(count)],
        "passes": [4] * count,
        "level_antenna_bypass": [-90.0] * count,
        "level_antenna_stage": [-90.0 + each for each in differences_db],
        "difference_db": list(differences_db),
        "difference_se_db": [0.2] * count,
        "noise_rise_db": np.broadcast_to(rises_db, count).tolist(),
        "noise_rise_se_db": [0.1] * count,
        "stage_noise_rise_db": np.broadcast_to(stage_rises_db, count).tolist(),
        "stage_noise_rise_se_db": [0.1] * count,
        "load_difference_db": [4.0] * count,
        "resolution_db": [0.0] * count,
        "bound": [""] * count,
        "rise_bound": [""] * count,
        "flags": [""] * count,
        **{
            name: [0] * count
            for name in ("floor_passes", "clipped_passes", "stale_passes", "occupied_passes")
        },
    }
    return pl.DataFrame(columns | {name: [value] * count for name, value in more.items()})


def only(nightly_rows, gain):
    (cell,) = cells_of_band(nightly_rows, gain)
    return cell


def test_the_snr_change_is_gain_minus_what_noise_rose():
    cell = only(rows([8.0, 8.2, 7.8, 8.0]), gain_of())
    assert cell.snr_change.value == pytest.approx(2.0, abs=0.3)
    assert (cell.nights, cell.passes) == (4, 16)


def test_ceiling_and_lower_bound_are_what_the_chains_own_noise_costs_without_and_with_the_stage():
    """Y = 3 dB loses 3.02 dB, Y = 9 dB loses 0.58 dB: a stage gives at most 3.02 and costs at most 0.58 (Friis)."""
    cell = only(rows([8.0] * 5, rises_db=3.0, stage_rises_db=9.0), gain_of())
    assert cell.ceiling.value == pytest.approx(3.02, abs=0.005)
    assert cell.lower_bound.value == pytest.approx(-0.584, abs=0.01)


def test_where_antenna_and_load_are_alike_on_any_night_there_is_no_ceiling():
    alike, nearly = [3.0, 0.04, 3.0, 3.0, 3.0], [3.0, 0.06, 3.0, 3.0, 3.0]
    assert only(rows([8.0] * 5, rises_db=alike), gain_of()).ceiling is None
    assert only(rows([8.0] * 5, rises_db=nearly), gain_of()).ceiling is not None
    assert only(rows([8.0] * 5, stage_rises_db=alike), gain_of()).lower_bound is None


@pytest.mark.parametrize(("nights", "bounded"), [(1, True), (2, True), (3, False), (4, False), (5, True)])
def test_the_noise_rise_bounds_the_nights_measured_or_five_and_all_others(nights, bounded):
    """Three nights speak of all nights, and do not show how far quiet ones stray."""
    cell = only(rows([8.0] * nights), gain_of())
    assert (cell.ceiling is not None, cell.lower_bound is not None) == (bounded, bounded)


def test_the_error_of_the_ceiling_grows_with_the_slope_of_what_is_lost():
    """One night: its own error of 0.1 dB in the rise, times 1/(10^(Y/10) − 1)."""
    cell = only(rows([8.0], rises_db=1.0), gain_of())
    assert cell.ceiling.se == pytest.approx(np.hypot(0.1 / (10**0.1 - 1), 0.01), rel=0.01)


@pytest.mark.parametrize(
    ("rise_bound", "ceiling", "lower_bound", "rise"),
    [("", True, True, True), ("at least", True, False, False), ("at most", False, False, False)],
)
def test_a_load_on_the_floor_leaves_a_ceiling_and_an_antenna_on_the_floor_leaves_nothing(
    rise_bound, ceiling, lower_bound, rise
):
    """With the load on the floor the true rise is greater, so that the stage can give less still."""
    cell = only(rows([8.0] * 5, rise_bound=rise_bound), gain_of())
    told = tuple(each is not None for each in (cell.ceiling, cell.lower_bound, cell.noise_rise))
    assert told == (ceiling, lower_bound, rise)


def test_a_choke_has_neither_ceiling_nor_lower_bound():
    for nights in (1, 6):
        told = rows([-6.0] * nights)
        quiet, usual = (
            cells_of_band(told, gain_of(0.0, flags=("quieter-antenna",)), each)[0] for each in (True, False)
        )
        assert quiet.ceiling is None and quiet.lower_bound is None
        assert usual.ceiling is not None and usual.lower_bound is not None


def test_from_three_nights_on_the_error_is_that_of_the_nights():
    """One or two nights are known as well as their passes; three scatter by 1 dB, which no pass tells."""
    bare = gain_of(se_db=0.0, flags=("quieter-antenna",))  # whose nights follow no curve
    two, three = (only(rows(values), bare).snr_change for values in ([7.0, 9.0], [7.0, 8.0, 9.0]))
    assert two.se == pytest.approx(np.hypot(0.2 / np.sqrt(2), 0.01), rel=0.01)
    assert three.se == pytest.approx(np.hypot(1.0 / np.sqrt(3), 0.01), rel=0.01)
    assert only(rows([7.0, 9.0]), bare).about_these_nights_only
    assert not only(rows([7.0, 8.0, 9.0]), bare).about_these_nights_only


def curved(nights_rise_db, gain_db=15.0, load_difference_db=6.0):
    """Nights on the curve of a stage: noise through both routes from noise outside alone, to a tenth of a decibel."""
    rise = np.asarray(nights_rise_db)
    outside = 10 ** (rise / 10) - 1
    stage_rise = 10 * np.log10(1 + outside * 10 ** ((gain_db - load_difference_db) / 10))
    difference = stage_rise + load_difference_db - rise
    return rows(difference, rise, stage_rise, load_difference_db=load_difference_db), gain_of(gain_db)


STRAYING = [1.0, 3.0, 6.0, 2.0, 4.5]


def test_noise_that_strays_along_the_curve_gives_an_asymmetric_interval():
    found = only(*curved(STRAYING)).snr_change
    assert isinstance(found, AsymmetricEstimate)
    ends = found.interval(0.05)
    assert ends.high - found.value > 1.1 * (found.value - ends.low)


def test_two_nights_a_choke_or_a_night_that_cannot_be_told_from_the_load_give_a_plain_one():
    nights, gain = curved(STRAYING)
    assert isinstance(only(*curved(STRAYING[:2])).snr_change, Estimate)
    assert isinstance(only(*curved(STRAYING[:3])).snr_change, AsymmetricEstimate)
    assert isinstance(only(nights, gain_of(15.0, flags=("quieter-antenna",))).snr_change, Estimate)
    low = nights.with_columns(pl.lit(0.4).alias("noise_rise_db"), pl.lit(0.4).alias("stage_noise_rise_db"))
    assert isinstance(only(low, gain).snr_change, Estimate)


def test_a_measurement_off_the_curve_is_not_bent_along_it():
    nights, gain = curved(STRAYING)
    assert isinstance(
        only(nights.with_columns(pl.col("difference_db") - 1.4), gain).snr_change, AsymmetricEstimate
    )
    assert isinstance(only(nights.with_columns(pl.col("difference_db") - 1.6), gain).snr_change, Estimate)
    assert isinstance(only(nights.with_columns(pl.col("difference_db") + 1.6), gain).snr_change, Estimate)


@pytest.mark.parametrize(("nights_on_the_floor", "bound"), [(0, ""), (1, ""), (2, "at most"), (5, "at most")])
def test_a_few_nights_on_the_floor_make_no_bound(nights_on_the_floor, bound):
    """A difference of at least so much is an S/N change of at most so much; one night of five is a fifth."""
    bounds = ["at least"] * nights_on_the_floor + [""] * (5 - nights_on_the_floor)
    nights = rows([8.0] * 5).with_columns(pl.Series("bound", bounds))
    assert only(nights, gain_of()).bound == bound


def test_bounds_on_both_sides_tell_nothing():
    nights = rows([8.0] * 2).with_columns(pl.Series("bound", ["at least", "at most"]))
    assert only(nights, gain_of()).bound == "unknown"


def test_flags_say_what_was_seen_and_what_is_missing():
    nights = rows([8.0] * 3, floor_passes=1, stale_passes=1, occupied_passes=2, flags="mixed-bandwidth")
    assert only(nights, gain_of()).flags == ("floor", "mixed-bandwidth", "occupied", "stale")
    bare = rows([8.0] * 3).with_columns(pl.lit(None, dtype=pl.Float64).alias("noise_rise_db"))
    assert only(bare, None).flags == ("no-gain-known", "no-load")
    assert snr_lost_db(np.array([4.0]))[0] == pytest.approx(2.20, abs=0.005)


def test_what_the_noise_rise_allows_reaches_further_up_than_down():
    """A quiet night gives much more than a loud one takes: the ceiling's interval is as skewed as what is lost."""
    cell = only(rows([8.0] * 7, rises_db=[2.0, 3.0, 4.0, 3.0, 2.5, 3.5, 3.0]), gain_of())
    ends = cell.ceiling.interval(0.05)
    assert cell.ceiling.value == pytest.approx(
        3.09, abs=0.1
    )  # what those rises lose (Friis): 4.33 to 2.20 dB
    assert ends.high - cell.ceiling.value > 1.2 * (cell.ceiling.value - ends.low)
    loss = cell.lower_bound.interval(0.05)
    assert loss.low < cell.lower_bound.value < loss.high


def test_before_a_week_noisy_nights_leave_room_for_a_quiet_one():
    """Noise 12 dB over the load: 10 dB less would leave 2 dB and lose 4.3 dB (Friis). A week shows its weekend."""
    rises = [12.0, 12.5, 11.5, 12.0, 11.8, 12.2, 12.0]
    five, seven = (
        only(rows([8.0] * n, rises_db=rises[:n]), gain_of()).ceiling.interval(0.02) for n in (5, 7)
    )
    assert five.high > 1.0 > seven.high


def test_alike_nights_are_fewer_and_the_interval_wider():
    values = [7.0, 9.0, 8.0, 8.5, 7.5, 8.0]
    bare = gain_of(se_db=0.0, flags=("quieter-antenna",))
    (apart,), (alike,) = (cells_of_band(rows(values), bare, alike=rho) for rho in (0.0, 0.5))
    assert alike.snr_change.value == pytest.approx(apart.snr_change.value)
    assert alike.snr_change.se > 1.5 * apart.snr_change.se
    assert alike.snr_change.dof < apart.snr_change.dof


def test_bands_tell_each_other_how_far_nights_stray():
    """Five nights that agree by chance say less where the band beside strays; a band without a load says nothing."""
    calm, gain = curved([3.0, 3.4, 2.7, 3.2, 2.9])
    wild, _ = curved([1.0, 9.0, 6.0, 1.5, 4.5])
    bare = wild.with_columns(
        pl.lit(None, pl.Float64).alias(name)
        for name in ("noise_rise_db", "stage_noise_rise_db", "load_difference_db")
    )

    def first(*bands):
        asked = {str(place): band for place, band in enumerate(bands)}
        cells = cells_of_bands(asked, dict.fromkeys(asked, gain), dict.fromkeys(asked, False))
        span = cells[0].snr_change.interval(0.01)
        return cells[0].snr_change.dof, span.high - span.low

    alone, beside_wild, beside_bare = first(calm), first(calm, wild), first(calm, bare)
    assert alone[0] > 5.0, "four of its own, and what is usual anywhere"
    assert beside_wild[0] > alone[0] + 0.5
    assert beside_wild[1] > 1.1 * alone[1]
    assert beside_bare == pytest.approx(alone)


@pytest.mark.parametrize(("stray_db", "left"), [(0.0, 1.0), (8.0, 0.38)])
def test_what_an_s_meter_rounds_averages_out_over_nights_whose_levels_stray(stray_db, left):
    """Seven nights by a meter of 6 dB a step that leaves 1 dB in each; differences that hardly scatter."""
    nights = rows(
        [8.0, 8.01, 7.99, 8.0, 8.01, 7.99, 8.0], resolution_db=1.0, rises_db=None, stage_rises_db=None
    )
    level = stray_db * np.array([-1.0, 1.0, 0.2, -0.6, 0.7, -0.3, 0.5])
    nights = nights.with_columns(
        level_antenna_bypass=pl.Series(level), level_antenna_stage=pl.Series(level + 8.0)
    )
    (cell,) = cells_of_bands({"": nights}, {"": gain_of(se_db=0.0)}, {"": False}, step_db=6.0)
    assert cell.snr_change.se == pytest.approx(left, abs=0.02)
    assert cell.on_these_nights.se == pytest.approx(left, abs=0.05)
