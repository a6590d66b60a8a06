"""Steps of a converter are found in the samples, whatever the file says, and bend no difference of noise."""

from pathlib import Path

import numpy as np
import pytest
import soundfile

from drivers.samples.file import Recording, open_recording
from sweeper.recordings.at_edges import AtEdges
from sweeper.recordings.converter import Converter, converter_of, step_of
from sweeper.recordings.labels import Mark
from sweeper.recordings.refused import hardly_moved
from sweeper.spectra.axis import axis_of
from sweeper.words import ANTENNA_BYPASS, ANTENNA_STAGE

RATE_HZ, SECONDS, AT_S = 48_000, 8.0, 4.0
STEP = 1.0 / 128.0


def recorded(
    file: Path, noise_steps: float, louder: float, subtype: str, channels: int = 2, bits: int = 8
) -> Recording:
    """Noise of so many steps of eight bits in each part, `louder` times as strong from `AT_S` on, taken by `bits`."""
    dice = np.random.default_rng(7)
    parts = noise_steps * STEP * dice.standard_normal((round(RATE_HZ * SECONDS), channels))
    parts[round(RATE_HZ * AT_S) :] *= louder
    step = 2.0 / 2**bits
    soundfile.write(file, np.round(parts / step) * step, RATE_HZ, subtype=subtype)
    return open_recording([file], centre_hz=7.1e6 if channels == 2 else None)


@pytest.mark.parametrize("subtype", ["PCM_U8", "PCM_16", "PCM_24", "FLOAT"])
@pytest.mark.parametrize("channels", [1, 2])
def test_eight_bits_are_found_in_files_of_more(tmp_path: Path, subtype: str, channels: int) -> None:
    found = converter_of(recorded(tmp_path / "eight.wav", 2.0, 1.0, subtype, channels))
    assert found.step_noise == pytest.approx(channels * STEP**2 / 12.0, rel=1e-3)  # step²/12 (Widrow 1956)
    assert found.moving == pytest.approx(channels * (4.0 + 1.0 / 12.0) * STEP**2, rel=0.05)
    assert not found.hardly_moved


def test_numbers_of_any_size_have_no_steps(tmp_path: Path) -> None:
    smooth = 0.01 * np.random.default_rng(8).standard_normal((RATE_HZ, 2))
    soundfile.write(tmp_path / "smooth.wav", smooth, RATE_HZ, subtype="FLOAT")
    assert converter_of(open_recording([tmp_path / "smooth.wav"], centre_hz=7.1e6)).step_noise == 0.0


def test_a_step_is_what_all_values_are_whole_numbers_apart_of() -> None:
    values = np.random.default_rng(9).integers(-20, 20, 1000)
    assert step_of((values + 0.5) / 127.5) == pytest.approx(1.0 / 127.5)
    assert step_of(np.append(values / 127.5, 0.3 / 127.5)) == 0.0
    assert step_of(np.array([0.5, 0.5, 0.75])) == 0.25
    assert step_of(np.array([0.5, 0.5])) == 0.0


def noise_change_db(recording: Recording, step_noise: float) -> float:
    marks = [Mark(0.0, ANTENNA_BYPASS), Mark(AT_S, ANTENNA_STAGE)]
    axis = axis_of(float(RATE_HZ), real=recording.real)
    table = list(AtEdges(recording, axis, marks, 0.1, 0.0, step_noise))
    out, within = (
        np.mean([one.spectrum.mean.mean() for one in table if one.path == path])
        for path in (ANTENNA_BYPASS, ANTENNA_STAGE)
    )
    return float(10.0 * np.log10(within / out))


@pytest.mark.parametrize("channels", [1, 2])
def test_steps_take_nothing_from_the_noise_change(tmp_path: Path, channels: int) -> None:
    """Noise of 0.7 of a step: what steps add lifts it by 0.7 dB there, and by 0.35 dB where it is 3 dB louder."""
    louder = np.sqrt(2.0)
    smooth = noise_change_db(recorded(tmp_path / "smooth.wav", 0.7, louder, "FLOAT", channels, bits=20), 0.0)
    eight = recorded(tmp_path / "eight.wav", 0.7, louder, "PCM_U8", channels)
    assert noise_change_db(eight, 0.0) < smooth - 0.25
    assert noise_change_db(eight, converter_of(eight).step_noise) == pytest.approx(smooth, abs=0.05)


@pytest.mark.parametrize(("noise_steps", "refused"), [(0.2, True), (0.35, True), (0.7, False)])
def test_samples_that_move_by_less_than_half_a_step_are_refused(
    tmp_path: Path, noise_steps: float, refused: bool
) -> None:
    recording = recorded(tmp_path / "still.wav", noise_steps, 4.0, "PCM_U8")
    why = hardly_moved(converter_of(recording), "still.wav")
    assert ("more gain" in why) if refused and why else (why is None) is not refused
    assert hardly_moved(Converter(0.0, 1e-9), "float.wav") is None
