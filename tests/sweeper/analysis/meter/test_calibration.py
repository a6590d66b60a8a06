"""A meter curve is believed when it could be one, and refused with a reason when it could not."""

import numpy as np
import pytest

from sweeper.analysis.meter.calibration import (
    BudgetLine,
    Implausible,
    KnownLevel,
    bandwidth_uncertainty_db,
    combined_db,
    curve_of,
    flatness_line,
    mismatch_line,
    noise_bandwidth_hz,
    tolerance_line,
)


def levels(meter, dbm=range(-120, -29, 10), repeats=5, noise_db=0.0, seed=1):
    rng = np.random.default_rng(seed)
    return [
        KnownLevel(
            float(level),
            tuple(float(meter(level)) + noise_db * rng.standard_normal() for _ in range(repeats)),
        )
        for level in dbm
    ]


def test_an_honest_meter_gives_its_own_curve():
    curve = curve_of(levels(lambda dbm: dbm + 73))
    assert curve.pairs[0] == pytest.approx((-47, -120), abs=0.01)
    assert curve.pairs[-1] == pytest.approx((43, -30), abs=0.02)
    assert curve.uncertainty_db < 0.05


def test_an_uneven_meter_is_straightened_between_its_points():
    curve = curve_of(levels(lambda dbm: (dbm + 73) * (0.6 if dbm < -73 else 1.0)))
    reading, dbm = np.array(curve.pairs).T
    assert np.interp(0.6 * (-85 + 73), reading, dbm) == pytest.approx(-85, abs=1)


def test_levels_may_be_noted_in_any_order():
    falling = curve_of(list(reversed(levels(lambda dbm: dbm + 73))))
    assert falling.pairs == curve_of(levels(lambda dbm: dbm + 73)).pairs


def test_the_flat_ends_are_the_meters_floor_and_top():
    curve = curve_of(levels(lambda dbm: min(max(dbm + 73, -36), 30)))
    assert (curve.floor, curve.top) == (-36, 30)
    assert len(curve.remarks) == 2


def test_noise_on_the_readings_is_in_the_budget():
    curve = curve_of(levels(lambda dbm: dbm + 73, noise_db=1.0))
    repeatability = next(line for line in curve.budget if line.kind == "A")
    assert repeatability.standard_db == pytest.approx(1 / np.sqrt(5), rel=0.4)
    assert all(first[0] < second[0] for first, second in zip(curve.pairs, curve.pairs[1:], strict=False))


def test_a_coarse_meter_is_as_uncertain_as_its_step():
    curve = curve_of(levels(lambda dbm: 6 * round((dbm + 73) / 6)), step_db=6)
    assert curve.uncertainty_db > 1.5


@pytest.mark.parametrize(
    ("bad", "said"),
    [
        (levels(lambda dbm: dbm + 73 if dbm < -60 else -dbm - 47), "folds back"),
        (levels(lambda dbm: dbm + 73, dbm=(-80, -70)), "too few"),
        (levels(lambda dbm: dbm + 73, dbm=(-80, -76, -72)), "at least 20 dB"),
        (levels(lambda dbm: 0.0), "fewer than three"),
        (levels(lambda dbm: 10 * dbm), "no meter in decibels"),
        (levels(lambda dbm: 0.06 * dbm), "no meter in decibels"),
        ([*levels(lambda dbm: dbm), KnownLevel(-20.0, (float("nan"),))], "no number"),
        ([*levels(lambda dbm: dbm), KnownLevel(-20.0, ())], "no reading"),
        ([*levels(lambda dbm: dbm), KnownLevel(-30.0, (-30.0,))], "given twice"),
        ([*levels(lambda dbm: dbm), KnownLevel(float("inf"), (-30.0,))], "no number"),
    ],
)
def test_what_cannot_be_a_meter_is_refused_with_a_reason(bad, said):
    with pytest.raises(Implausible, match=said):
        curve_of(bad)


def test_contributions_add_as_squares():
    assert combined_db([BudgetLine("a", 0.3, "A"), BudgetLine("b", 0.4, "B")]) == pytest.approx(0.5)


def test_a_tolerance_of_one_decibel_is_a_standard_uncertainty_of_0_58_db():
    assert tolerance_line("generator", 1.0).standard_db == pytest.approx(0.577, abs=0.001)


def test_a_poor_match_costs_certainty():
    assert mismatch_line(10, 10).standard_db > mismatch_line(20, 20).standard_db


def test_a_noise_source_measures_the_bandwidth_it_is_heard_in():
    cold_w = 1.380649e-23 * 290 * 2100 * 10
    hot_w = cold_w + 1.380649e-23 * 290 * 2100 * 31.6228
    found = noise_bandwidth_hz(10 * np.log10(hot_w * 1000), 10 * np.log10(cold_w * 1000), 15.0)
    assert found == pytest.approx(2100, rel=1e-4)


def test_a_noise_source_that_is_not_heard_measures_nothing():
    with pytest.raises(Implausible, match="no supply"):
        noise_bandwidth_hz(-130, -129.9, 15.0)


def test_levels_that_were_read_once_tell_no_repeatability_and_it_is_guessed_and_said_so():
    once = curve_of(levels(lambda dbm: dbm + 73, repeats=1))
    (line,) = [line for line in once.budget if line.what.startswith("repeatability")]
    assert (line.kind, line.standard_db) == ("B", pytest.approx(0.5, rel=1e-3))
    assert "guessed" in line.what
    assert np.isnan(once.residuals_db).all()


def test_a_level_that_was_read_once_scatters_as_the_others_do():
    read = levels(lambda dbm: dbm + 73, repeats=200, noise_db=1.0)
    mixed = curve_of([*read[:-1], KnownLevel(read[-1].dbm, read[-1].readings[:1])])
    (line,) = [line for line in mixed.budget if line.what.startswith("repeatability")]
    assert (line.kind, line.what) == ("A", "repeatability of the readings")
    # root mean square over nine means of 200 readings and one single reading
    assert line.standard_db == pytest.approx(np.sqrt((9 / 200 + 1) / 10), rel=0.1)
    assert np.isnan(mixed.residuals_db).tolist() == [False] * 9 + [True]


def test_a_curve_from_one_frequency_is_less_sure_on_other_bands():
    assert flatness_line(7_050_000, [7_038_500, 7_202_000], 2.0).standard_db == 0.0
    far = flatness_line(7_050_000, [7_038_500, 14_100_000], 2.0)
    assert (far.kind, far.standard_db) == ("B", pytest.approx(2 / np.sqrt(3)))
    assert flatness_line(None, [7_038_500], 2.0).standard_db > 0  # nobody said where it was calibrated


def test_a_measured_bandwidth_is_as_unsure_as_curve_source_and_readings():
    """Independent contributions as squares: GUM, JCGM 100:2008, 5.1.2."""
    steady = bandwidth_uncertainty_db([10.0, 10.0], [1.0, 1.0], curve_db=0.6, enr_db=0.8)
    assert steady == pytest.approx(1.0)
    rng = np.random.default_rng(1)
    hot, cold = (power * rng.gamma(48, 1 / 48, 32) for power in (2.0, 1.0))
    # 4.34/sqrt(48 x 32) dB a side, of powers 2 and 1, over a rise of 1
    expected_db = 10 / np.log(10) * np.sqrt((2**2 + 1**2) / (48 * 32))
    assert bandwidth_uncertainty_db(hot, cold, 0.0, 0.0) == pytest.approx(expected_db, rel=0.3)
