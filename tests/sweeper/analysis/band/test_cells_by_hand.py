"""What a cell knows, put together by hand: its flags, its spread, its bounds, its errors and its curve."""

import numpy as np
import polars as pl
import pytest
from scipy import stats

from sweeper.analysis.band.cells import nightly_snr_change, persistence
from sweeper.analysis.band.hours_together import hours_together, telling_each_other
from sweeper.analysis.physics.friis import snr_lost_db
from sweeper.analysis.statistics.curved_mean import AsymmetricEstimate, ideal_curve, over_all_nights
from sweeper.analysis.statistics.effective_nights import persistence_of, worth
from sweeper.analysis.statistics.estimates import Estimate, Scatter
from sweeper.analysis.statistics.scatter_of_others import scatters_of_others, together
from tests.sweeper.analysis.band.test_cells import curved, gain_of, only, rows
from tests.sweeper.analysis.summaries import Place, cells_of_band, made

BARE = gain_of(se_db=0.0, flags=("quieter-antenna",))
"""A gain that is known, of a stage whose nights follow no curve."""
UNKNOWN = float("nan")


@pytest.mark.parametrize(
    ("more", "flag"),
    [
        ({"floor_passes": 1}, "floor"), ({"clipped_passes": 1}, "clipped"), ({"stale_passes": 1}, "stale"),
        ({"occupied_passes": 1}, "occupied"), ({"noise_rise_db": None}, "no-load"),
        ({"difference_se_db": UNKNOWN}, "few-passes"), ({"flags": "overload mismatch"}, "mismatch"),
    ],
)  # fmt: skip
def test_each_flag_has_its_column(more: dict[str, object], flag: str) -> None:
    told = rows([8.0]).with_columns(
        pl.lit(value, pl.Float64 if name.endswith("_db") else None).alias(name)
        for name, value in more.items()
    )
    assert flag in only(told, BARE).flags and flag not in only(rows([8.0]), BARE).flags
    assert only(told, BARE).flags == tuple(sorted(only(told, BARE).flags))


def test_without_a_gain_nothing_is_said_of_the_change_and_a_flag_says_why() -> None:
    cell = only(rows([8.0]), None)
    assert cell.flags == ("no-gain-known",) and cell.snr_change is None and cell.difference is not None
    assert only(rows([8.0]), BARE).flags == ()


def test_a_load_that_is_missing_on_some_nights_is_no_missing_load() -> None:
    told = rows([8.0, 8.1]).with_columns(pl.Series("noise_rise_db", [None, 3.0]))
    assert "no-load" not in only(told, BARE).flags


def test_one_or_two_nights_are_as_sure_as_their_passes() -> None:
    one, two = (only(rows(values), BARE).difference for values in ([8.0], [8.0, 9.0]))
    assert one is not None and two is not None
    assert one.se == pytest.approx(np.hypot(0.2, 0.01)) and two.se == pytest.approx(
        np.hypot(0.2 / np.sqrt(2), 0.01)
    )
    assert one.dof == pytest.approx(3.0, rel=0.01) and two.dof == pytest.approx(6.0, rel=0.02)
    assert two.value == 8.5


def test_the_step_of_the_meter_stays_in_the_error_however_many_nights() -> None:
    for count in (1, 8):
        cell = only(rows([8.0] * count, resolution_db=0.4), BARE)
        assert cell.difference is not None and cell.difference.se > 0.4
    mixed = rows([8.0, 8.0]).with_columns(pl.Series("resolution_db", [0.3, 0.5]))
    cell = only(mixed, BARE).difference
    assert cell is not None
    assert cell.se == pytest.approx(np.sqrt(0.2**2 / 2 + (0.09 + 0.25) / 2 + 1e-4))


def test_the_change_has_the_errors_of_gain_and_difference_and_their_freedom() -> None:
    gain = gain_of(10.0, 0.3, flags=("quieter-antenna",))
    cell = only(rows([7.0, 8.0, 9.0, 8.0]), gain)
    change, difference = cell.snr_change, cell.difference
    assert isinstance(change, Estimate) and difference is not None
    assert change.value == pytest.approx(2.0)
    assert change.se == pytest.approx(np.hypot(0.3, difference.se))
    parts = ((0.09, 30.0), (difference.se**2, difference.dof))
    assert change.dof == pytest.approx(sum(v for v, _ in parts) ** 2 / sum(v**2 / n for v, n in parts))


@pytest.mark.parametrize(("count", "spread"), [(2, "usual"), (3, "own")])
def test_how_far_nights_stray_is_their_own_from_three_on_and_before_what_is_usual(
    count: int, spread: str
) -> None:
    """Before: 4 dB of noise from outside (ITU-R P.372), by how much the hour follows it: 10^(−0.3) less 10^(−0.9)."""
    cell = only(rows([6.0, 10.0, 8.0][:count]), BARE)
    shape = np.hypot(10**-0.3 - 10**-0.9, 0.2 / 4.0)
    assert cell.night_sd_db == pytest.approx(2.0 if spread == "own" else 4.0 * shape)


def test_a_night_whose_error_nobody_knows_follows_noise_as_if_it_had_none() -> None:
    """The other by its 0.2 dB of 4 dB as well; root mean square over both."""
    told = rows([7.0, 9.0]).with_columns(pl.Series("difference_se_db", [None, 0.2], pl.Float64))
    slope = 10**-0.3 - 10**-0.9
    (shape,) = hours_together(told, BARE).shape
    assert shape == pytest.approx(np.sqrt((slope**2 + slope**2 + (0.2 / 4.0) ** 2) / 2))


def test_how_an_hour_follows_noise_is_told_by_the_nights_that_know() -> None:
    told = rows([7.0, 9.0]).with_columns(pl.Series("noise_rise_db", [None, 3.0], pl.Float64))
    (shape,) = hours_together(told, BARE).shape
    assert shape == pytest.approx(np.hypot(10**-0.3 - 10**-0.9, 0.2 / 4.0))


def test_where_nobody_knows_how_an_hour_follows_noise_it_is_taken_for_half() -> None:
    told = rows([8.0]).with_columns(
        pl.lit(None, pl.Float64).alias(name) for name in ("noise_rise_db", "stage_noise_rise_db")
    )
    assert only(told, BARE).night_sd_db == 2.0


@pytest.mark.parametrize(
    ("bounds", "said"),
    [
        (["at least"] * 3, "at most"), (["at most"] * 3, "at least"), (["at least", "at most", ""], "unknown"),
        (["odd"] * 3, "unknown"), (["at least", "", "", "", ""], ""), (["at least", "at least", "", "", ""], "at most"),
    ],
)  # fmt: skip
def test_a_bound_of_the_difference_is_the_other_bound_of_the_change(bounds: list[str], said: str) -> None:
    told = rows([8.0] * len(bounds)).with_columns(pl.Series("bound", bounds))
    assert only(told, BARE).bound == said


def test_hours_stand_in_order_each_with_its_own_nights() -> None:
    first, second = rows([8.0] * 4), rows([4.0] * 3, hour_utc=3)
    cells = cells_of_band(pl.concat([first, second]), BARE)
    assert [(cell.hour_utc, cell.nights, cell.passes) for cell in cells] == [(3, 3, 12), (20, 4, 16)]
    assert [cell.difference.value for cell in cells if cell.difference] == pytest.approx([4.0, 8.0])
    assert cells_of_band(rows([8.0], passes=0), BARE) == []


def test_nights_without_a_pass_take_no_part_but_in_flags() -> None:
    told = pl.concat([rows([8.0] * 3), rows([20.0], passes=0, flags="mismatch")])
    cell = only(told, BARE)
    assert cell.difference is not None and cell.difference.value == 8.0
    assert cell.nights == 3 and "mismatch" in cell.flags


def test_what_bounded_a_night_without_a_pass_bounds_nothing() -> None:
    idle = rows([20.0] * 5, passes=0, bound="at least", rise_bound="at most")
    cell = only(pl.concat([rows([8.0] * 5), idle]), gain_of())
    assert cell.bound == "" and cell.ceiling is not None and cell.noise_rise is not None


@pytest.mark.parametrize("nights", [2, 3])
def test_of_the_nights_measured_two_speak_for_themselves_with_all_that_is_known(nights: int) -> None:
    """Three may say something of others: as measured, their change is that of these nights, and nothing caps it."""
    cell = only(rows([7.0, 9.0, 8.6][:nights]), gain_of())
    told = cell.as_measured
    assert (told == cell) == (nights == 2)
    if nights == 3:
        assert (told.snr_change, told.ceiling, told.lower_bound) == (cell.on_these_nights, None, None)
    else:
        assert told.ceiling is not None and told.lower_bound is not None


RISES = [12.0, 10.0, 14.0, 11.0, 13.0, 12.5, 11.5]


def test_nights_on_the_curve_of_the_stage_are_bent_along_it() -> None:
    told = curved(RISES)[0]
    cell = only(told, gain_of(15.0))
    assert isinstance(cell.snr_change, AsymmetricEstimate)
    ends = cell.snr_change.interval(0.05)
    assert ends.high - cell.snr_change.value > cell.snr_change.value - ends.low
    off = told.with_columns(pl.col("difference_db") - 1.6)
    assert isinstance(only(off, gain_of(15.0)).snr_change, Estimate)
    near = told.with_columns(pl.col("difference_db") - 1.4)
    assert isinstance(only(near, gain_of(15.0)).snr_change, AsymmetricEstimate)


def test_the_step_of_the_meter_widens_a_change_along_the_curve_as_an_error_of_the_gain_does() -> None:
    """Student's t of thirty degrees of freedom is 4 % wider than a step, whose size is known."""
    told = curved(RISES)[0]

    def width(resolution_db: float, gain_se_db: float) -> float:
        made_so = told.with_columns(pl.lit(resolution_db).alias("resolution_db"))
        change = only(made_so, gain_of(15.0, se_db=gain_se_db)).snr_change
        assert isinstance(change, AsymmetricEstimate)
        ends = change.interval(0.05)
        return ends.high - ends.low

    for error_db in (0.3, 2.0):
        assert width(error_db, 0.01) == pytest.approx(0.97 * width(0.01, error_db), rel=0.03)
        assert width(error_db, 0.01) > 3.0 * width(0.01, 0.01)


@pytest.mark.parametrize("spoil", ["load_difference_db", "stage_noise_rise_db", "noise_rise_db"])
def test_without_load_or_rises_there_is_no_curve(spoil: str) -> None:
    told = curved(RISES)[0].with_columns(pl.lit(None, pl.Float64).alias(spoil))
    assert isinstance(only(told, gain_of(15.0)).snr_change, Estimate)


def test_a_quiet_night_is_told_by_the_stage_route_where_it_stands_clear_there() -> None:
    """0.2 dB over the load in bypass is too little to tell noise by; with the stage in it is 1.6 dB."""
    clear = curved([0.2, 3.0, 4.0, 5.0, 6.0], gain_db=20.0, load_difference_db=10.0)[0]
    assert isinstance(only(clear, gain_of(20.0)).snr_change, AsymmetricEstimate)
    hidden = curved([0.02, 3.0, 4.0, 5.0, 6.0], gain_db=20.0, load_difference_db=10.0)[0]
    assert isinstance(only(hidden, gain_of(20.0)).snr_change, Estimate)


def test_a_stage_that_stands_lower_over_the_load_is_told_by_bypass() -> None:
    deaf = curved([2.0, 3.0, 4.0, 5.0, 6.0], gain_db=-6.0, load_difference_db=-1.0)[0]
    assert isinstance(only(deaf, gain_of(-6.0)).snr_change, AsymmetricEstimate)


def test_the_ceiling_of_a_week_is_at_least_as_unsure_as_its_nights_are_alike() -> None:
    still = only(rows([8.0] * 7, rises_db=3.0), gain_of()).ceiling
    assert isinstance(still, AsymmetricEstimate)
    ends = still.interval(0.05)
    assert ends.low < still.value < ends.high
    wild = only(rows([8.0] * 7, rises_db=[3.0, 2.0, 4.0, 3.0, 2.5, 3.5, 3.0]), gain_of()).ceiling
    assert isinstance(wild, AsymmetricEstimate)
    assert wild.interval(0.05).high > ends.high and wild.interval(0.05).low < ends.low


def test_each_night_has_its_change_by_the_gain_of_its_band() -> None:
    told = pl.DataFrame({"band": ["40 m", "20 m", "10 m"], "difference_db": [8.0, 9.0, None]})
    found = nightly_snr_change(told, {"40 m": gain_of(10.0), "20 m": None, "10 m": gain_of(5.0)})
    assert found["snr_change_db"].to_list() == [2.0, None, None]


def test_persistence_is_that_of_the_bands_mean_nights() -> None:
    """One series a band, the mean over hours and channels, each about its own mean; carriers take no part."""
    told = made(Place("40 m"), Place("20 m"), nights=12)
    noise = told.filter((pl.col("for") == "noise") & (pl.col("passes") > 0))
    series = []
    for band in ("20 m", "40 m"):
        here = noise.filter(pl.col("band") == band)
        grid = here.pivot("hour_utc", index="night", values="difference_db", sort_columns=False).sort("night")
        values = grid.drop("night").to_numpy()
        series.append((np.arange(12.0), (values - values.mean(axis=0)).mean(axis=1)))
    assert persistence(told) == pytest.approx(persistence_of(series))


def test_an_hour_that_was_missed_does_not_move_its_night() -> None:
    """Each hour is taken about its own mean: one that lies 12 dB higher and is there on every other night alone."""
    nights = 12
    told = made(Place("40 m"), nights=nights).filter(pl.col("for") == "noise")
    hours = told["hour_utc"].unique().sort()
    odd = pl.col("night").dt.ordinal_day() % 2 == 1
    gappy = told.with_columns(
        pl.when(pl.col("hour_utc") == hours[0])
        .then(pl.col("difference_db") + 12.0)
        .otherwise(pl.col("difference_db"))
    ).filter(~((pl.col("hour_utc") == hours[0]) & odd))
    grid = (
        gappy.pivot("hour_utc", index="night", values="difference_db").sort("night").drop("night").to_numpy()
    )
    strayed = np.nanmean(grid - np.nanmean(grid, axis=0), axis=1)
    assert persistence(gappy) == pytest.approx(persistence_of([(np.arange(float(nights)), strayed)]))


def test_alike_nights_leave_the_value_and_widen_the_errors() -> None:
    values = [7.0, 9.0, 8.0, 8.5, 7.5, 8.0, 8.0]
    (apart,), (alike,) = (cells_of_band(rows(values), BARE, alike=rho) for rho in (0.0, 0.6))
    assert apart.difference is not None and alike.difference is not None
    count = np.arange(7)
    correlation = 0.6 ** np.abs(np.subtract.outer(count, count))
    worth = 49 / correlation.sum()
    spread = 6 / np.trace(correlation - correlation.mean(axis=0, keepdims=True))
    variance = np.var(values, ddof=1) * spread / worth
    assert alike.difference.se == pytest.approx(np.sqrt(variance + 1e-4))
    assert apart.difference.interval(0.05).high == pytest.approx(
        8.0 + stats.t.isf(0.025, apart.difference.dof) * apart.difference.se
    )


def test_between_looks_the_last_one_stands_and_the_nights_measured_go_on() -> None:
    """Nine nights are looked at as seven; an hour that missed two of ten nights is looked at with the band's ten."""
    values = [7.0, 9.0, 8.0, 8.5, 7.5, 8.0, 8.2, 12.0, 13.0]
    seven, nine = (only(rows(values[:count]), BARE) for count in (7, 9))
    assert (nine.nights, nine.looked, seven.looked) == (9, 7, 7)
    assert (nine.difference, nine.noise_rise, nine.snr_change) == (
        seven.difference,
        seven.noise_rise,
        seven.snr_change,
    )
    assert nine.on_these_nights is not None and nine.on_these_nights.value == pytest.approx(
        10.0 - np.mean(values)
    )
    whole, gappy = rows([8.0, 8.5] * 5), rows([8.0, 8.5] * 5, hour_utc=3)[[0, 1, 2, 4, 5, 7, 8, 9]]
    new = rows([8.0, 8.5] * 5, hour_utc=4)[8:]
    told = cells_of_band(pl.concat([whole, gappy, new]), BARE)
    assert {each.hour_utc: (each.nights, each.looked) for each in told} == {
        20: (10, 10),
        3: (8, 8),
        4: (2, 2),
    }


def test_what_other_bands_let_expect_is_of_all_nights_already() -> None:
    """Only what these nights show is widened for being alike."""
    nights, gain = curved([3.0, 5.0, 4.0, 6.0, 2.5, 4.5, 5.5])
    apart, alike = (hours_together(nights, gain, rho) for rho in (0.0, 0.6))
    (told,), (others,) = telling_each_other([alike]), scatters_of_others([None], np.zeros((7, 1)))
    of_all = worth(np.arange(7.0), 0.6).all_nights(apart.outside_scatter[0])
    assert of_all.variance > 1.3 * apart.outside_scatter[0].variance
    assert told.outside_scatter == [together(of_all, others)]


def test_an_hour_measured_since_the_last_look_has_looks_of_its_own() -> None:
    late = rows([8.0, 8.5] * 7, hour_utc=4)
    for nights, looked in ((12, 2), (13, 3), (14, 4)):
        told = cells_of_band(pl.concat([rows([8.0, 8.5] * 7)[:nights], late[10:nights]]), BARE)
        assert [each.looked for each in told] == [looked, 10 if nights < 14 else 14]


def test_nights_all_alike_are_taken_to_scatter_by_two_hundredths_of_a_decibel() -> None:
    cell = only(rows([8.0] * 7, rises_db=3.0), gain_of())
    excess_db, lost_db = np.full(7, 10 * np.log10(10**0.3 - 1)), snr_lost_db(np.full(7, 3.0))
    scatter, hair = Scatter(0.02**2, 6.0), Estimate(0.0, 0.01, 1e6)
    due = over_all_nights(ideal_curve(), excess_db, lost_db, scatter, hair, 7.0)
    assert isinstance(cell.ceiling, AsymmetricEstimate)
    for level in (0.01, 0.05, 0.3):
        ends, expected = cell.ceiling.interval(level), due.interval(level)
        assert (ends.low, ends.high) == pytest.approx((expected.low, expected.high))
