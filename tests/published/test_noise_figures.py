"""Noise figures against definitions, a reference library, and figures every text on the subject prints."""

import numpy as np
import pytest
import skrf

from sweeper.analysis.band.gain import combine
from sweeper.analysis.band.gain_methods import GainMethods
from sweeper.analysis.band.noise_figure import figures
from sweeper.analysis.band.switching_threshold import predicted_snr_change_db
from sweeper.analysis.physics.friis import cascade, factor_by_source, from_db, to_db, without_second
from sweeper.analysis.physics.radiometer import thermal_dbm
from tests.sweeper.analysis.band.test_gain import season
from tests.sweeper.analysis.nights import Night, facts


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


def test_the_y_factor_example_of_a_handbook():
    """Pozar, Microwave Engineering, 4th ed., Example 10.1: an amplifier of 20 dB and 1 GHz puts out −62.0 dBm with its
    input at 290 K and −64.7 dBm at 77 K. Printed: Y = 2.7 dB = 1.86, Te = 170 K, and −60.7 dBm from a source of 450 K.
    """
    y = from_db(-62.0 - -64.7)
    assert y == pytest.approx(1.86, abs=0.005)
    hot_over_290_k = 290 / 290 - 1  # the excess noise ratio of a source at room temperature
    added_k = 290 * (factor_by_source(hot_over_290_k, y, 77.0) - 1)
    assert added_k == pytest.approx(170, abs=0.5)
    output_dbm = 20 + thermal_dbm(1e9) + to_db((450 + added_k) / 290)
    assert output_dbm == pytest.approx(-60.7, abs=0.05)


def test_a_measurement_by_the_steps_of_an_application_note():
    """Rohde & Schwarz application note 1MA178, The Y Factor Technique for Noise Figure Measurements, gives the steps; a
    measurement by them that R. C. Stephenson published (repository rcstephenson/Yfactor): a source of 6.05 and
    6.01 dB ENR raises −85.79 dBm to −81.22 dBm. Printed: 333.61 K.
    """
    enr_db = (6.05 + 6.01) / 2
    factor = factor_by_source(from_db(enr_db), from_db(-81.22 - -85.79))
    assert 290 * (factor - 1) == pytest.approx(333.61, abs=0.005)


def test_the_same_measurement_through_the_whole_reduction():
    """The temperatures of the measurement above, as a receiver and a noise source of a night of readings."""
    enr_db, printed_k = 6.03, 333.61
    night = Night(receiver_k=printed_k, source_k=290 * (1 + from_db(enr_db)))
    told = facts(night, unit="dB-over-S9", source_enr_db=enr_db)
    summaries = season(night)
    found = figures(summaries, combine(GainMethods(summaries), told), told)
    assert found.found_by == "source"
    assert found.receiver_db.value == pytest.approx(to_db(1 + printed_k / 290), abs=0.05)


def test_the_example_of_what_a_noise_figure_is():
    """Keysight application note 57-1, Fundamentals of RF and Microwave Noise Figure Measurements: thermal noise at
    −100 dBm under a signal of −60 dBm; 20 dB of gain later noise stands at −70 dBm and the signal at −40 dBm. S/N falls
    from 40 to 30 dB, so the noise figure is 10 dB. Two such stages in a row: what the second adds is a hundredth.
    """
    gain_db, input_dbm, output_dbm = 20.0, -100.0, -70.0
    factor = from_db(output_dbm - gain_db - input_dbm)
    assert to_db(factor) == pytest.approx(10.0)
    thermal_alone_db = np.array([0.0])  # the noise rise where the antenna gives no more than the load
    change_db = predicted_snr_change_db(thermal_alone_db, gain_db, output_dbm - input_dbm)
    assert change_db[0] == pytest.approx((-40.0 - -70.0) - (-60.0 - -100.0))
    assert cascade(factor, factor, from_db(gain_db)) == pytest.approx(10 + 9 / 100)


def test_the_receiver_front_end_of_a_handbook():
    """Pozar, Microwave Engineering, 4th ed., Example 10.2: amplifier of 10 dB, 2 dB noise figure; filter of 1 dB loss;
    mixer of 3 dB loss, 4 dB noise figure; 10 MHz. Printed: 2.55 dB, 232 K, and −96.8 dBm out from an antenna of 150 K.
    """
    amplifier, filter_loss, mixer = from_db(2.0), from_db(1.0), from_db(4.0)
    whole = cascade(amplifier, cascade(filter_loss, mixer, 1 / filter_loss), from_db(10.0))
    assert to_db(whole) == pytest.approx(2.55, abs=0.006)
    assert 290 * (whole - 1) == pytest.approx(232, abs=0.5)
    fa = 150 / 290
    output_dbm = 10 - 1 - 3 + thermal_dbm(10e6) + to_db(fa + whole - 1)
    assert output_dbm == pytest.approx(-96.8, abs=0.05)


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
    """A passive network at temperature T gives off kT·(1 − S·S†) (Bosma 1967), S being that of scikit-rf's attenuator.

    Measured as a stage it shows its loss as gain and as noise figure, and a load as warm as itself looks the same
    through it; ahead of a receiver both figures add up.
    """
    media = skrf.media.DefinedGammaZ0(skrf.Frequency(10, 10, 1, "MHz"), z0_port=50)
    s = media.attenuator(-10).s[0]
    loss = 1 / abs(s[1, 0]) ** 2
    given_off_k = 290 * (np.eye(2) - s @ s.conj().T)[1, 1].real
    night = Night(gain=1 / loss, stage_k=given_off_k * loss, external_k=2_000_000)
    told = facts(night, rated_gain_db=None)
    summaries = season(night)
    gain = combine(GainMethods(summaries), told)
    found = figures(summaries, gain, told)
    assert gain.gain_db == pytest.approx(-10.0, abs=0.1)
    assert found.stage_db.value == pytest.approx(10.0, abs=0.3)
    assert found.stage_db.low < 10.0 < found.stage_db.high
    assert summaries["load_difference_db"].drop_nulls().mean() == pytest.approx(0.0, abs=0.05)
    reference_db = 10 * np.log10(float((amplifier(-10.0, to_db(loss)) ** amplifier(0.0, 12.0)).nf(50)[0]))
    assert reference_db == pytest.approx(22.0)
    assert to_db(cascade(loss, from_db(12.0), 1 / loss)) == pytest.approx(reference_db)
