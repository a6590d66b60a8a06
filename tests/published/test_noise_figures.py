"""Noise figures against definitions, a reference library, and figures every text on the subject prints."""

import numpy as np
import pytest
import skrf

from sweeper.analysis.noise_figure import (
    cascade,
    factor_by_source,
    from_db,
    thermal_dbm,
    to_db,
    without_second,
)
from sweeper.analysis.rule import predicted_snr_change_db


def amplifier(gain_db, noise_figure_db):
    """A matched, unilateral two-port of scikit-rf whose noise is least in 50 ohms."""
    frequency = skrf.Frequency(10, 10, 1, "MHz")
    s = np.zeros((1, 2, 2), dtype=complex)
    s[0, 1, 0] = 10 ** (gain_db / 20)
    network = skrf.Network(frequency=frequency, s=s, z0=50)
    network.set_noise_a(
        frequency, nfmin_db=noise_figure_db, gamma_opt=0, rn=50 * (from_db(noise_figure_db) - 1) / 4
    )
    return network


@pytest.mark.parametrize("gain_db", [-10.0, 0.0, 15.0, 30.0])
@pytest.mark.parametrize(("first_db", "second_db"), [(1.0, 25.0), (3.0, 10.0), (10.0, 3.0), (12.0, 12.0)])
def test_a_cascade_has_the_noise_figure_that_scikit_rf_gives_it(gain_db, first_db, second_db):
    """Friis 1944; reference library scikit-rf, noise of cascaded two-ports."""
    both = amplifier(gain_db, first_db) ** amplifier(0.0, second_db)
    reference_db = 10 * np.log10(float(both.nf(50)[0]))
    ours = cascade(from_db(first_db), from_db(second_db), from_db(gain_db))
    assert to_db(ours) == pytest.approx(reference_db, abs=1e-6)
    assert to_db(without_second(ours, from_db(second_db), from_db(gain_db))) == pytest.approx(first_db)


@pytest.mark.parametrize(
    ("fa_db", "gain_db", "stage_db", "receiver_db"), [(15, 15, 3, 12), (0, 20, 1, 20), (40, 10, 6, 10)]
)
def test_the_predicted_snr_change_is_that_of_the_cascade_in_scikit_rf(fa_db, gain_db, stage_db, receiver_db):
    """S/N change = (fa + fr − 1)/(fa + f − 1), f the noise factor of stage and receiver together (Friis 1944)."""
    both = float((amplifier(gain_db, stage_db) ** amplifier(0.0, receiver_db)).nf(50)[0])
    fa, fr, g, fs = (from_db(value) for value in (fa_db, receiver_db, gain_db, stage_db))
    reference_db = to_db((fa + fr - 1) / (fa + both - 1))
    rise_db = to_db((fa + fr - 1) / fr)
    load_difference_db = to_db((g * fs + fr - 1) / fr)
    assert predicted_snr_change_db(np.array([rise_db]), gain_db, load_difference_db)[0] == pytest.approx(
        reference_db
    )


def test_thermal_noise_at_290_k():
    """SI value of k: −173.98 dBm in 1 Hz, −140.17 dBm in 2400 Hz."""
    assert thermal_dbm(1) == pytest.approx(-173.98, abs=0.005)
    assert thermal_dbm(2400) == pytest.approx(-140.17, abs=0.005)


@pytest.mark.parametrize("cold_k", [77.0, 290.0, 296.0])
@pytest.mark.parametrize("noise_figure_db", [1.0, 5.0, 15.0])
def test_hot_and_cold_give_the_noise_temperature_of_the_definition(cold_k, noise_figure_db):
    """IEEE: Te = (Th − y·Tc)/(y − 1) and F = 1 + Te/290 K; ENR = Th/290 K − 1."""
    hot_k, enr_db = 290 * (1 + 10**1.52), 15.2
    true_k = 290 * (10 ** (noise_figure_db / 10) - 1)
    y = (hot_k + true_k) / (cold_k + true_k)
    assert (hot_k - y * cold_k) / (y - 1) == pytest.approx(true_k)
    assert to_db(factor_by_source(from_db(enr_db), y, cold_k)) == pytest.approx(noise_figure_db)


def test_noise_figure_by_the_rule_of_thumb():
    """NF = ENR − 10·log₁₀(Y − 1): common practice. 15.2 dB ENR and a rise of 10 dB make 5.66 dB."""
    assert to_db(factor_by_source(from_db(15.2), from_db(10.0))) == pytest.approx(15.2 - 9.542, abs=0.001)


@pytest.mark.parametrize(
    ("noise_figure_db", "kelvin"), [(0.5, 35.4), (1.0, 75.1), (3.0, 288.6), (10.0, 2610.0)]
)
def test_noise_figures_as_temperatures(noise_figure_db, kelvin):
    """The table of noise figure and temperature in every manufacturer's noise guide; from memory."""
    assert 290 * (from_db(noise_figure_db) - 1) == pytest.approx(kelvin, abs=0.06)


def test_a_matched_attenuator_has_a_noise_figure_equal_to_its_loss():
    """Any text: at 290 K, F = L. With a load ahead of it the receiver's noise does not change."""
    loss, receiver = from_db(10.0), from_db(12.0)
    assert 1 / loss * loss + receiver - 1 == pytest.approx(receiver)
    assert to_db(cascade(loss, receiver, 1 / loss)) == pytest.approx(22.0)
