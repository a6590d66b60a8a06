"""Recordings hold what was planted: noise densities, carriers, side bands, gain control, gaps; read by SciPy."""

import dataclasses

import numpy as np
import pytest
from scipy.signal import welch

from sweeper.simulation.recordings import (
    Chain,
    Mishaps,
    Planted,
    Receiving,
    Signal,
    Stay,
    by_hand,
    by_relay,
    render,
    truth,
    with_load,
)
from sweeper.simulation.recordings.gain_control import GainControl
from sweeper.simulation.recordings.modulation import modulation
from sweeper.simulation.recordings.on_air import Slow
from sweeper.simulation.recordings.planted import Gaining, over_noise
from sweeper.simulation.recordings.rendering import noise_density
from sweeper.words import ANTENNA_BYPASS, ANTENNA_STAGE, LOAD_BYPASS, LOAD_STAGE

pytestmark = pytest.mark.slow

CHAIN = Chain(external=40.0, receiver=25.0, stage=2.0, gain=20.0)


def audio(**changes):
    planted = Planted("audio", 12000, 20.0, 7_100_000, by_relay(20.0, 10.0), CHAIN)
    return dataclasses.replace(planted, **changes)


def samples(**changes):
    planted = Planted("samples", 16000, 20.0, 7_100_000, by_relay(20.0, 10.0), CHAIN)
    return dataclasses.replace(planted, **changes)


def heard(planted):
    return np.concatenate(list(render(planted)))


def density(planted, voltage, low_hz, high_hz, from_s, to_s):
    """Mean density between two frequencies and two instants, by SciPy's `welch`."""
    rate = planted.rate_hz
    piece = voltage[int(from_s * rate) : int(to_s * rate)]
    hz, power = welch(piece, rate, nperseg=2048, return_onesided=planted.kind == "audio", detrend=False)
    return float(power[(hz > low_hz) & (hz < high_hz)].mean())


@pytest.mark.parametrize("make", [audio, samples])
def test_noise_of_every_path_has_the_density_of_the_chain(make):
    """fa + fr − 1, g (fa + fs − 1) + fr − 1, fr, g fs + fr − 1: Friis 1944; spectra by SciPy."""
    stays = with_load(by_relay(10.0, 5.0), 5.0)
    planted = make(stays=stays)
    voltage = heard(planted)
    for at_s, path in [(0, LOAD_BYPASS), (5, LOAD_STAGE), (10, ANTENNA_BYPASS), (15, ANTENNA_STAGE)]:
        seen = density(planted, voltage, 600, 2400, at_s + 0.1, at_s + 4.9)
        assert 10 * np.log10(seen / noise_density(planted, path)) == pytest.approx(0.0, abs=0.2)
    expected = 10 * np.log10((20 * 41 + 24) / 64)
    assert truth(planted)["noise_change_db"] == pytest.approx(expected)
    assert truth(planted)["snr_change_db"] == pytest.approx(10 * np.log10(20) - expected)
    assert truth(planted)["noise_rise_db"] == pytest.approx(10 * np.log10(64 / 25))


@pytest.mark.parametrize("make", [audio, samples])
def test_a_carrier_stands_where_and_as_high_as_planted(make):
    planted = make(signals=(Signal(1000.0, over_noise(CHAIN, 30.0), doppler_hz=0.0),))
    voltage = heard(planted)[: 9 * planted.rate_hz]
    size = np.abs(np.mean(voltage * np.exp(-2j * np.pi * 1000 * np.arange(voltage.size) / planted.rate_hz)))
    power = size**2 * (2 if planted.kind == "audio" else 1)
    noise = 2400 * noise_density(planted, ANTENNA_BYPASS)
    assert 10 * np.log10(power / noise) == pytest.approx(30.0, abs=0.1)


def test_a_fading_carrier_has_no_side_bands_of_the_making():
    """Between nodes a fade runs smoothly: an 80 dB carrier does not lift its neighbours."""
    slow = Slow(48000, 0.0)
    times = slow.times(0)
    wave = slow.between(np.exp(2j * np.pi * 1.0 * times))
    exact = np.exp(2j * np.pi * 1.0 * np.arange(48000) / 48000)
    assert np.abs(wave - exact).max() < 1e-6


@pytest.mark.parametrize("manner", ["voice", "am", "keyed", "phase", "shift", "wide"])
def test_modulated_signals_have_their_power_and_keep_to_their_width(manner):
    rate = 12000
    blocks = modulation(manner, np.random.default_rng(1), rate, rate)
    sent = np.concatenate([next(blocks) for _ in range(40)])
    assert 10 * np.log10(np.mean(np.abs(sent) ** 2)) == pytest.approx(0.0, abs=1.5)
    hz, power = welch(sent, rate, "blackmanharris", nperseg=1024, return_onesided=False, detrend=False)
    inside = {"voice": 2900, "am": 2900, "keyed": 200, "phase": 80, "shift": 300, "wide": 1400}[manner]
    assert power[np.abs(hz) < inside].sum() / power.sum() > 0.99
    assert power.max() / power[np.abs(hz) > 5000].mean() > 1e4


def test_speech_has_one_side_band_and_skirts():
    rate = 12000
    blocks = modulation("voice", np.random.default_rng(1), rate, rate)
    sent = np.concatenate([next(blocks) for _ in range(40)])
    hz, power = welch(sent, rate, "blackmanharris", nperseg=1024, return_onesided=False, detrend=False)
    inside, below, above = (
        power[(hz > a) & (hz < b)].mean() for a, b in ((400, 2600), (-1500, -300), (3200, 4200))
    )
    for skirt in (below, above):
        assert 15 < 10 * np.log10(inside / skirt) < 50


@pytest.mark.parametrize("decay_s", [0.2, 2.0])
def test_gain_control_attacks_and_recovers_with_its_time_constants(decay_s):
    """One pole each way: after a step, 63 % of the way within one time constant (any text on linear systems)."""
    rate = 12000
    control = GainControl(Gaining(0.02, decay_s, slope=0.0), rate, threshold=0.01)
    loud, soft = np.full(rate, 1.0, np.complex64), np.full(6 * rate, 0.1, np.complex64)
    # With slope 0 the gain is threshold over level, so that the level can be read off input over output.
    first = 0.01 / np.abs(control.take(loud))
    assert first[int(0.02 * rate)] == pytest.approx(1 - 0.99 / np.e, abs=0.03)
    assert first[-1] == pytest.approx(1.0, abs=0.01)
    second = 0.01 / (np.abs(control.take(soft)) / 0.1)
    assert second[int(decay_s * rate)] == pytest.approx(0.1 + 0.9 / np.e, abs=0.02)


def test_gain_control_makes_all_routes_as_loud():
    planted = audio(
        receiving=Receiving(agc=Gaining(0.002, 0.2)), signals=(Signal(1000, over_noise(CHAIN, 20)),)
    )
    voltage = heard(planted)
    bypass, stage = (np.mean(voltage[a * 12000 : b * 12000] ** 2) for a, b in ((2, 9), (12, 19)))
    assert abs(10 * np.log10(stage / bypass)) < 1.5


def test_changes_stand_where_they_should_in_the_file():
    for planted in (audio(), audio(rate_hz=24000), samples()):
        level = np.abs(heard(planted)).reshape(-1, planted.rate_hz // 100).mean(1)
        steps = [level[n : n + 40].mean() / level[n - 40 : n].mean() for n in range(40, level.size - 40)]
        assert (40 + int(np.argmax(steps))) / 100 == pytest.approx(10.0, abs=0.03)


def test_lost_samples_shorten_the_file_and_move_the_marks():
    planted = audio(mishaps=Mishaps(lost_s=((4.0, 1.5),)))
    assert heard(planted).size == 18.5 * 12000
    assert truth(planted)["switched"][1]["at_s"] == pytest.approx(8.5)
    silent = heard(audio(mishaps=Mishaps(zeroed_s=((4.0, 1.5),))))
    assert not silent[4 * 12000 : int(5.5 * 12000)].any()


def test_an_overloaded_stage_makes_third_order_products():
    """Two tones make products at 2 f1 − f2, 3 dB more for each dB of theirs (any text on receivers)."""
    levels = []
    for power in (2e8, 6e8):
        signals = (Signal(4000, power, doppler_hz=0), Signal(6000, power, doppler_hz=0))
        planted = samples(
            signals=signals,
            chain=dataclasses.replace(CHAIN, intercept=1e11),
            stays=(Stay(0.0, ANTENNA_STAGE),),
            seconds=5.0,
        )
        voltage = heard(planted)
        turned = voltage * np.exp(-2j * np.pi * 2000 * np.arange(voltage.size) / planted.rate_hz)
        size = np.abs(turned.mean()) ** 2 / noise_density(planted, ANTENNA_STAGE)
        levels.append(size * CHAIN.noise(ANTENNA_STAGE) / CHAIN.gain)
    # Product power P³/IP3².
    assert 10 * np.log10(levels[1] / (6e8**3 / 1e11**2)) == pytest.approx(0.0, abs=0.5)
    assert 10 * np.log10(levels[1] / levels[0]) == pytest.approx(30 * np.log10(3), abs=1.0)


def test_the_mirror_image_is_as_weak_as_planted():
    planted = samples(
        receiving=Receiving(image_db=30.0), signals=(Signal(5000, over_noise(CHAIN, 50), doppler_hz=0),)
    )
    voltage = heard(planted)[: 9 * 16000]
    at = [
        np.abs((voltage * np.exp(-2j * np.pi * hz * np.arange(voltage.size) / 16000)).mean())
        for hz in (5000, -5000)
    ]
    assert 20 * np.log10(at[0] / at[1]) == pytest.approx(30.0, abs=0.3)


def test_memory_does_not_grow_with_length():
    planted = audio(seconds=36000.0)
    blocks = render(planted)
    assert sum(next(blocks).size for _ in range(5)) == 5 * 12000


def test_a_hand_keeps_no_time():
    stays = by_hand(600.0, 30.0, 6.0, seed=4)
    lasts = np.diff([stay.at_s for stay in stays])
    assert lasts.min() >= 24.0
    assert lasts.max() <= 36.0
    assert lasts.std() > 2.0
    assert [stay.path for stay in stays[:3]] == [ANTENNA_BYPASS, ANTENNA_STAGE, ANTENNA_BYPASS]


def test_the_same_seed_is_the_same_recording():
    assert np.array_equal(heard(audio(seconds=3.0)), heard(audio(seconds=3.0)))
    assert not np.array_equal(heard(audio(seconds=3.0)), heard(audio(seconds=3.0, seed=2)))
