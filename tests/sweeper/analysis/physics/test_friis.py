"""The chain's formulas against a chain built of temperatures, and their slopes against differences."""

import numpy as np
import pytest

from sweeper.analysis.physics.friis import (
    cascade,
    factor_by_source,
    from_db,
    gain_from_rises,
    kept_share_db,
    kept_share_slope,
    outside_at_change_lin,
    outside_with_stage_lin,
    snr_change_db,
    snr_lost_db,
    to_db,
    without_second,
)


def chain(outside_k, gain_lin=10.0, receiver_k=2_900.0, stage_k=290.0):
    """Powers of antenna and load in bypass and with the stage in, kelvin: a load of 290 K and noise from outside."""
    return {
        "antenna_bypass": 290.0 + outside_k + receiver_k,
        "antenna_stage": gain_lin * (290.0 + outside_k + stage_k) + receiver_k,
        "load_bypass": 290.0 + receiver_k,
        "load_stage": gain_lin * (290.0 + stage_k) + receiver_k,
    }


@pytest.mark.parametrize("rise_db", [0.05, 0.3, 1.0, 3.0, 10.0, 20.0])
def test_the_slope_of_the_kept_share_is_that_of_the_curve(rise_db):
    step = 1e-5
    ends = kept_share_db(np.array([rise_db - step, rise_db + step]))
    assert kept_share_slope(np.array([rise_db]))[0] == pytest.approx(np.diff(ends)[0] / (2 * step), rel=1e-4)


@pytest.mark.parametrize("outside_k", [10.0, 1_000.0, 100_000.0])
@pytest.mark.parametrize("gain_lin", [0.1, 1.0, 10.0, 100.0])
def test_the_snr_change_is_what_the_temperatures_give(outside_k, gain_lin):
    """A signal grows by the gain, noise from antenna-bypass to antenna-stage: S/N change is the one less the other."""
    power = chain(outside_k, gain_lin)
    true_db = to_db(gain_lin) - to_db(power["antenna_stage"] / power["antenna_bypass"])
    difference_db = to_db(power["load_stage"] / power["load_bypass"])
    outside = np.array([outside_k / power["load_bypass"]])
    assert snr_change_db(outside, to_db(gain_lin), difference_db)[0] == pytest.approx(true_db)
    with_stage = outside_with_stage_lin(outside, np.array([to_db(gain_lin)]), np.array([difference_db]))
    assert 1 + with_stage[0] == pytest.approx(power["antenna_stage"] / power["load_stage"])
    if true_db > 0:
        assert outside_at_change_lin(true_db, to_db(gain_lin), difference_db) == pytest.approx(outside[0])


def test_no_noise_gives_a_change_beyond_that_of_a_load():
    assert np.isnan(outside_at_change_lin(8.0, 10.0, 3.0))
    assert np.isnan(outside_at_change_lin(-1.0, 10.0, 3.0))


def test_gain_comes_from_what_the_antenna_adds_to_the_load():
    power = chain(5_000.0)
    rises = [to_db(power[f"antenna_{route}"] / power[f"load_{route}"]) for route in ("bypass", "stage")]
    difference_db = to_db(power["load_stage"] / power["load_bypass"])
    given = [np.array([value]) for value in (difference_db, *rises, 0.1, 0.02, 0.03)]
    gain_db, error_db = gain_from_rises(*given)
    assert gain_db[0] == pytest.approx(10.0)
    shares = [1 / (from_db(rise) - 1) for rise in rises]
    expected = np.sqrt(((1 + max(shares)) * 0.1) ** 2 + (shares[0] * 0.02) ** 2 + (shares[1] * 0.03) ** 2)
    assert error_db[0] == pytest.approx(expected)


def test_an_antenna_that_adds_nothing_tells_no_gain():
    one = np.array([1.0])
    assert np.isnan(gain_from_rises(one, np.array([0.0]), one, one, one, one)[0]).all()
    assert np.isnan(gain_from_rises(one, one, np.array([-0.5]), one, one, one)[0]).all()


def test_decibels_and_ratios_turn_into_each_other_and_nought_has_none():
    assert to_db(100.0) == pytest.approx(20.0) and from_db(-3.0) == pytest.approx(0.5012, abs=1e-4)
    assert np.isnan(to_db(0.0)) and np.isnan(to_db(-1.0))


def test_what_the_chains_own_noise_costs_is_the_table_of_its_formula():
    """L(Y) = Y − 10·log₁₀(10^(Y/10) − 1), worked out by hand for these."""
    rises = np.array([1.0, 2.0, 3.0, 6.0, 10.0, 20.0])
    assert snr_lost_db(rises) == pytest.approx([6.87, 4.33, 3.02, 1.26, 0.46, 0.04], abs=0.005)
    assert np.isinf(snr_lost_db(np.array([0.0, -1.0]))).all()


@pytest.mark.parametrize(("cold_k", "factor"), [(290.0, 10.0), (580.0, 8.0), (145.0, 11.0)])
def test_a_noise_factor_by_a_source_follows_the_definition(cold_k, factor):
    """F = (ENR − y·(Tc/T₀ − 1))/(y − 1), worked out for ENR 10 and y 2."""
    assert factor_by_source(10.0, 2.0, cold_k) == pytest.approx(factor)
    assert factor_by_source(10.0, 2.0) == pytest.approx(10.0)
    assert factor_by_source(10.0, 3.0) == pytest.approx(5.0)
    assert np.isnan(factor_by_source(10.0, 1.0, cold_k)) and np.isnan(factor_by_source(10.0, 0.5, cold_k))


def test_a_cascade_and_its_first_stage_turn_into_each_other():
    """Friis 1944: F₁ + (F₂ − 1)/G₁ = 2 + 9/10."""
    assert cascade(2.0, 10.0, 10.0) == pytest.approx(2.9)
    assert without_second(2.9, 10.0, 10.0) == pytest.approx(2.0)


def test_errors_of_the_loads_count_by_their_own_slopes():
    given = [np.array([value]) for value in (9.0, 3.0, 6.0, 0.0, 0.2, 0.0)]
    assert gain_from_rises(*given)[1][0] == pytest.approx(0.2 / (from_db(3.0) - 1))
    given = [np.array([value]) for value in (9.0, 3.0, 6.0, 0.0, 0.0, 0.2)]
    assert gain_from_rises(*given)[1][0] == pytest.approx(0.2 / (from_db(6.0) - 1))
