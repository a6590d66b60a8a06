"""A recording tells what its noise gives away: the whole way from a file, which another program's library writes."""

from pathlib import Path

import numpy as np
import pytest
import scipy.signal
import soundfile

from sweeper.recordings.comparing import Asked, compare_recording

pytestmark = pytest.mark.slow


def switched(samples: np.ndarray, rate_hz: int, every_s: float = 5.0) -> np.ndarray:
    """The stage brings 10 dB, in and out by turns, out first."""
    staged = (np.arange(len(samples)) / rate_hz // every_s) % 2 == 1
    return samples * np.where(staged, np.sqrt(10.0), 1.0).astype(np.float32)


@pytest.mark.parametrize("share", [0.4, 0.0])
def test_noise_that_comes_with_the_mains_is_told_and_steady_noise_is_not(
    tmp_path: Path, share: float
) -> None:
    rate, seconds, dice = 16_000, 60, np.random.default_rng(3)
    time = np.arange(rate * seconds) / rate
    arc = ((100.03 * time) % 1.0 < 0.2) / 0.2
    parts = dice.standard_normal((2, len(time)))
    noise = np.sqrt(1 - share) * parts[0] + np.sqrt(share * arc) * parts[1]
    sound = switched((0.01 * noise + 0.01 * np.sin(2 * np.pi * 1000 * time)).astype(np.float32), rate)
    soundfile.write(tmp_path / "evening.wav", sound, rate, "PCM_24")
    told = compare_recording(
        Asked((tmp_path / "evening.wav",), 7_100_000, "USB", switched="every 5 s from 5 s", first="bypass")
    )
    of_mains = [note for note in told.notes if "with the mains" in note]
    assert len(of_mains) == (share > 0)
    assert all("100.0 times a second" in note for note in of_mains)


@pytest.mark.slow
@pytest.mark.parametrize("planted", [True, False])
def test_lines_at_equal_distance_are_told(tmp_path: Path, planted: bool) -> None:
    rate, seconds, dice = 192_000, 14, np.random.default_rng(4)
    time = np.arange(rate * seconds) / rate
    band = 0.01 * (dice.standard_normal(len(time)) + 1j * dice.standard_normal(len(time)))
    band += 0.01 * np.exp(2j * np.pi * 31_000.0 * time)  # a carrier to compare by
    if planted:
        for hz in np.arange(-84_300.0, 86_000.0, 17_250.0):
            band += 6e-4 * np.exp(2j * np.pi * (hz * time + dice.random()))
    both = np.stack([switched(part.astype(np.float32), rate, 2.0) for part in (band.real, band.imag)], axis=1)
    soundfile.write(tmp_path / "band_7100kHz_.wav", both, rate, "FLOAT")
    told = compare_recording(
        Asked((tmp_path / "band_7100kHz_.wav",), switched="every 2 s from 2 s", first="bypass")
    )
    of_comb = [note for note in told.notes if note.startswith("Lines every")]
    assert len(of_comb) == planted
    assert all("every 17.25 kHz" in note for note in of_comb)


def test_keying_in_step_with_the_mains_is_not_put_down_to_the_mains_alone(tmp_path: Path) -> None:
    """Dots of 60 and 100 ms: 20 and 12 words a minute (1.2 s over the speed, common practice). 100 Hz is in step."""
    rate, seconds, dice = 12_000, 120, np.random.default_rng(5)
    time = np.arange(rate * seconds) / rate
    band = scipy.signal.butter(6, (300, 2700), "bandpass", fs=rate, output="sos")
    sound = 0.02 * scipy.signal.sosfilt(band, dice.standard_normal(len(time)))
    for hz, dot_s, loud in ((700.0, 0.06, 0.12), (1400.0, 0.1, 0.06)):
        dots = dice.random(round(seconds / dot_s) + 1) < 0.5
        sound += loud * np.repeat(dots, round(dot_s * rate))[: len(time)] * np.sin(2 * np.pi * hz * time)
    soundfile.write(tmp_path / "evening.wav", switched(sound.astype(np.float32), rate), rate, "PCM_24")
    told = compare_recording(
        Asked((tmp_path / "evening.wav",), 7_100_000, "USB", switched="every 5 s from 5 s", first="bypass")
    )
    of_mains = [note for note in told.notes if "with the mains" in note]
    assert of_mains and "in step with a signal that is keyed" in of_mains[0]
