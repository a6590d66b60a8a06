"""Static is left out of a stay, signals that come and go are not, and noise alone loses nothing."""

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.signal import butter, get_window, sosfiltfilt

from drivers.contracts import Block
from sweeper.spectra.axis import axis_of
from sweeper.spectra.calm import calm_spectrum
from sweeper.spectra.welch import spectrum

pytestmark = pytest.mark.slow

RATE_HZ = 12_000
AXIS = axis_of(RATE_HZ, real=True, band_hz=(0.0, 5000.0))
BAND_HZ = (200.0, 3000.0)


def level_db(block: Block) -> float:
    one = calm_spectrum(block, AXIS, BAND_HZ)
    hz = one.start_hz + one.step_hz * np.arange(len(one.mean))
    return 10 * math.log10(float(one.mean[(hz > 2000) & (hz < 2800)].mean()))


def noise(seed: int, seconds: float = 1.0) -> np.ndarray:
    return np.random.default_rng(seed).standard_normal(round(seconds * RATE_HZ)).astype(np.float32)


def block(samples: np.ndarray) -> Block:
    return Block(samples, RATE_HZ, (0.0, len(samples) / RATE_HZ))


def test_noise_alone_is_as_it_was() -> None:
    """Not one in a hundred stays loses a piece, so that the level is biased by nothing that counts."""
    lost = 0
    for seed in range(100):
        mine = block(noise(seed))
        lost += calm_spectrum(mine, AXIS, BAND_HZ).segments < spectrum([mine], AXIS).segments
    assert lost <= 1


@pytest.mark.parametrize("crashes", [1, 3])
def test_a_crash_of_static_does_not_lift_the_noise(crashes: int) -> None:
    off = []
    for seed in range(20):
        samples = noise(seed)
        quiet = level_db(block(samples.copy()))
        for nth in range(crashes):
            samples[2000 + 3000 * nth : 2060 + 3000 * nth] *= 30.0
        off.append(level_db(block(samples)) - quiet)
    assert np.abs(np.mean(off)) < 0.1


def test_a_signal_that_comes_and_goes_is_no_crash() -> None:
    samples = noise(5)
    at = np.arange(len(samples)) / RATE_HZ
    samples += (3.0 * np.sin(2 * np.pi * 1000 * at) * (np.sin(2 * np.pi * 3 * at) > 0)).astype(np.float32)
    mine = block(samples)
    assert calm_spectrum(mine, AXIS, BAND_HZ).segments == spectrum([mine], AXIS).segments


def test_noise_that_is_restless_all_the_time_is_taken_as_it_is() -> None:
    samples = noise(6)
    samples *= np.where((np.arange(len(samples)) // 1200) % 2, 4.0, 1.0)
    mine = block(samples.astype(np.float32))
    assert calm_spectrum(mine, AXIS, BAND_HZ).segments > 0.4 * spectrum([mine], AXIS).segments


LENGTH, HOP = AXIS.length, AXIS.length // 2
"""Of a segment and to the next; a piece is four segments."""


def of_segments(count: int, seed: int = 1) -> np.ndarray:
    """Noise for so many segments."""
    return noise(seed, 2.0)[: LENGTH + (count - 1) * HOP]


def lifted(samples: np.ndarray, piece: int, times: float, pieces: int = 1) -> np.ndarray:
    """The power of some pieces times that, from the middle of the first segment to the middle of the last."""
    louder = samples.copy()
    begin = 4 * HOP * piece + HOP // 2
    louder[begin : begin + 4 * HOP * pieces] *= math.sqrt(times)
    return louder


@pytest.mark.parametrize(("times", "left_out"), [(1.25, False), (2.4, True)])
def test_a_piece_is_left_out_from_five_standard_deviations_on(times: float, left_out: bool) -> None:
    """89 bins of some three independent segments each, half of them independent: a quartile scatters by an eighth."""
    for seed in range(10):
        mine = block(lifted(of_segments(40, seed), 5, times))
        whole, calm = spectrum([mine], AXIS).segments, calm_spectrum(mine, AXIS, BAND_HZ).segments
        assert (whole, calm < whole) == (40, left_out)


def test_what_is_left_is_the_mean_of_all_other_segments() -> None:
    """Each segment computed by itself, with SciPy's window."""
    samples = lifted(of_segments(40), 5, 100.0)
    told = calm_spectrum(block(samples), AXIS, BAND_HZ)
    taper = get_window("blackmanharris", LENGTH)
    each = [2 * np.abs(np.fft.rfft(samples[at : at + LENGTH] * taper / taper.sum())) ** 2
            for at in range(0, 40 * HOP, HOP)]  # fmt: skip
    loud = {piece for piece in range(10) if np.mean(each[4 * piece : 4 * piece + 4]) > 2 * np.median(each)}
    kept = [one for nth, one in enumerate(each) if nth // 4 not in loud]
    assert 5 in loud and told.segments == len(kept) == 40 - 4 * len(loud)
    assert np.allclose(told.mean[1:], np.mean(kept, axis=0)[1 : len(told.mean)], rtol=1e-3)
    assert told.low is None and told.start_hz == 0.0


@pytest.mark.parametrize(("segments", "cleaned"), [(20, False), (24, True)])
def test_fewer_than_six_pieces_are_taken_as_they_are(segments: int, cleaned: bool) -> None:
    mine = block(lifted(of_segments(segments), 3, 100.0))
    assert (calm_spectrum(mine, AXIS, BAND_HZ).segments < segments) == cleaned


@pytest.mark.parametrize(("loud", "left"), [(3, 12), (4, 24)])
def test_half_of_the_pieces_have_to_be_calm(loud: int, left: int) -> None:
    """Of six. Where three are loud the median lies half-way up, and sixteen times is still clear of that."""
    mine = block(lifted(of_segments(24), 6 - loud, 60.0, loud + 1))
    assert calm_spectrum(mine, AXIS, BAND_HZ).segments == left


@pytest.mark.parametrize(("highest_hz", "cleaned"), [(200.0 + 31.25 * 7, False), (200.0 + 31.25 * 8, True)])
def test_the_receivers_noise_needs_eight_bins_to_tell_a_crash(highest_hz: float, cleaned: bool) -> None:
    samples = of_segments(40)
    mine = block(lifted(samples, 5, 10_000.0))
    told = calm_spectrum(mine, AXIS, (200.0, highest_hz))
    assert (told.segments < 40) == cleaned


@pytest.mark.parametrize("inverted", [False, True])
def test_only_the_sound_in_which_receiver_noise_is_heard_is_asked(inverted: bool) -> None:
    """A burst from 0 to 3 kHz is a crash, one above is none, in the lower side band too."""
    axis = replace(AXIS, inverted=inverted, centre_hz=7_000_000.0)
    samples = of_segments(40)
    for edges, cleaned in (((3.0, 3_000.0), True), ((3_050.0, 5_900.0), False)):
        burst = sosfiltfilt(butter(8, edges, "bandpass", fs=RATE_HZ, output="sos"), samples)
        burst[: 20 * HOP], burst[24 * HOP :] = 0.0, 0.0
        mine = block((samples + 10.0 * burst).astype(np.float32))
        assert (calm_spectrum(mine, axis, BAND_HZ).segments < 40) == cleaned


def test_a_stay_with_samples_lost_at_unknown_places_stays_void() -> None:
    told = calm_spectrum(replace(block(lifted(of_segments(40), 5, 100.0)), unplaced=True), AXIS, BAND_HZ)
    assert "void" in told.quality
