"""The chain's formulas against a chain built of temperatures, and their slopes against differences."""

import numpy as np
import pytest

from sweeper.analysis.physics.friis import (
    from_db,
    gain_from_rises,
    kept_share_db,
    kept_share_slope,
    outside_at_change_lin,
    outside_with_stage_lin,
    snr_change_db,
    to_db,
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
