"""The envelope of noise: steady noise shows the law's floor, modulated noise its line, stations nothing."""

import numpy as np
import pytest
from scipy.signal import hilbert
from scipy.signal.windows import hann

from drivers.contracts import Block
from sweeper.spectra.axis import axis_of
from sweeper.spectra.envelope import envelope, noise_power, power_hz, power_of

pytestmark = pytest.mark.slow

RATE_HZ = 48_000.0


def block(samples: np.ndarray, **more: object) -> Block:
    return Block(samples, RATE_HZ, (0.0, len(samples) / RATE_HZ), **more)  # type: ignore[arg-type]


def noise(seconds: float, seed: int = 1) -> np.ndarray:
    return np.random.default_rng(seed).standard_normal(int(RATE_HZ * seconds)).astype(np.float32)


AXIS = axis_of(RATE_HZ, real=True, band_hz=(300.0, 2700.0))
ALL = np.ones(AXIS.bins[1] - AXIS.bins[0], np.bool_)


def test_steady_noise_shows_what_the_law_says() -> None:
    found = envelope([block(noise(60.0))], AXIS, ALL)
    assert found is not None
    away = found.power[10:] / found.floor[10:]  # the taper's own lines are at 0 Hz
    # some 200 blocks and 500 lines, neighbours sharing: the mean is known to about 1 %
    assert float(away.mean()) == pytest.approx(1.0, abs=0.05)
    assert away.max() < 2.0
    assert found.floor[-1] / found.floor[10] == pytest.approx(
        1.0 - 1000.0 / 2400.0, abs=0.05
    )  # Rice's triangle


def test_the_floor_is_that_of_a_computation_by_another_way() -> None:
    """The analytic signal by SciPy's `hilbert` instead of a choice of lines: over the whole band they are the same."""
    samples = noise(30.0, seed=2)
    axis = axis_of(RATE_HZ, real=True)
    found = envelope([block(samples)], axis, np.ones(axis.bins[1] - axis.bins[0], np.bool_))
    assert found is not None
    length = int(RATE_HZ / found.step_hz)
    each = []
    for at in range(0, len(samples) - length + 1, length // 2):
        power = np.abs(hilbert(samples[at : at + length] * hann(length, sym=False))) ** 2
        each.append(np.abs(np.fft.rfft(power)) ** 2)
    theirs = np.sum(each, axis=0) / np.sum([one[0] for one in each])
    assert np.allclose(found.power, theirs[: len(found.power)], rtol=0.05, atol=1e-7)


@pytest.mark.parametrize("depth", [0.3, 0.8])
def test_noise_that_comes_with_the_mains_shows_a_line_of_its_depth(depth: float) -> None:
    seconds = 60.0
    time = np.arange(int(RATE_HZ * seconds)) / RATE_HZ
    swell = 1.0 + depth * np.cos(2 * np.pi * 100.0 * time)
    found = envelope([block((noise(seconds) * np.sqrt(swell)).astype(np.float32))], AXIS, ALL)
    assert found is not None
    at = round(100.0 / found.step_hz)
    lifted = found.floor * (1.0 + depth**2 / 2.0)
    assert float(found.power[at] - lifted[at]) == pytest.approx((depth / 2.0) ** 2, rel=0.08)
    assert float((found.power / lifted)[at + 10 : at + 40].mean()) == pytest.approx(1.0, abs=0.1)


def test_a_station_beside_the_noise_that_swings_a_thousand_times_as_high_is_not_heard() -> None:
    seconds = 30.0
    time = np.arange(int(RATE_HZ * seconds)) / RATE_HZ
    station = 30.0 * (1.0 + 0.9 * np.cos(2 * np.pi * 100.0 * time)) * np.cos(2 * np.pi * 1500.0 * time)
    hz = AXIS.start_hz + AXIS.step_hz * np.arange(len(ALL))
    keep = np.abs(hz - 1500.0) > 100.0 + 6 * AXIS.step_hz
    found = envelope([block((noise(seconds) + station).astype(np.float32))], AXIS, keep)
    alone = envelope([block(noise(seconds))], AXIS, keep)
    assert found is not None and alone is not None
    assert np.allclose(found.power, alone.power, rtol=0.05, atol=0.02 * float(alone.floor[10]))


def test_what_touches_a_gap_is_left_out_and_blocks_of_any_size_give_the_same() -> None:
    samples = noise(10.0)
    whole = envelope([block(samples)], AXIS, ALL)
    parts = envelope(
        [block(samples[:1000]), block(samples[1000:100_000]), block(samples[100_000:])], AXIS, ALL
    )
    assert whole is not None and parts is not None
    assert whole.blocks == parts.blocks and np.allclose(whole.power, parts.power, rtol=1e-4)
    jump = samples.copy()
    jump[240_000:] *= 1000.0
    with_gap = envelope([block(jump, gaps=(240_000,))], AXIS, ALL)
    assert with_gap is not None and with_gap.blocks == whole.blocks - 1
    assert envelope([block(samples, unplaced=True)], AXIS, ALL) is None
    assert envelope([block(samples[:1000])], AXIS, ALL) is None
    assert envelope([block(samples)], AXIS, ~ALL) is None


def test_the_lower_side_band_keeps_its_own_bins() -> None:
    """Half of the band hums, and radio frequency falls as audio frequency rises."""
    seconds, time = 30.0, np.arange(int(RATE_HZ * 30.0)) / RATE_HZ
    lines = np.fft.rfft(noise(seconds))
    hz = np.fft.rfftfreq(int(RATE_HZ * seconds), 1 / RATE_HZ)
    low = np.fft.irfft(np.where(hz < 1500.0, lines, 0)) * np.sqrt(
        1.0 + 0.8 * np.cos(2 * np.pi * 100.0 * time)
    )
    high = np.fft.irfft(np.where(hz >= 1500.0, lines, 0))
    axis = axis_of(RATE_HZ, real=True, inverted=True, centre_hz=7_100_000.0, band_hz=(300.0, 2700.0))
    radio_hz = axis.start_hz + axis.step_hz * np.arange(axis.bins[1] - axis.bins[0])
    samples = block((low + high).astype(np.float32))
    hums = envelope([samples], axis, radio_hz > 7_098_700.0)
    quiet = envelope([samples], axis, radio_hz < 7_098_300.0)
    assert hums is not None and quiet is not None
    at = round(100.0 / hums.step_hz)
    assert hums.power[at] > 0.1 and quiet.power[at] < 3.0 * quiet.floor[at]


def test_a_stay_of_a_tenth_of_a_second_is_read_in_shorter_blocks_and_a_shorter_one_not() -> None:
    found = envelope([block(noise(0.1))], AXIS, ALL)
    assert found is not None and found.rows.shape == (1, 101) and found.step_hz == pytest.approx(10.0)
    assert abs(found.rows[0, 0]) == pytest.approx(1.0)
    assert envelope([block(noise(0.09))], AXIS, ALL) is None


def test_the_rows_keep_where_in_the_cycle_the_noise_stands() -> None:
    """Two stays a quarter of a swell apart: their lines at 100 Hz are a right angle apart."""
    angles = []
    for late_s in (0.0, 0.0025):
        time = np.arange(int(RATE_HZ * 0.5)) / RATE_HZ + late_s
        swell = 1.0 + 0.9 * np.cos(2 * np.pi * 100.0 * time)
        found = envelope([block((noise(0.5) * np.sqrt(swell)).astype(np.float32))], AXIS, ALL)
        assert found is not None
        angles.append(np.angle(found.rows[0, round(100.0 / found.step_hz)]))
    assert np.rad2deg(angles[1] - angles[0]) % 360 == pytest.approx(90.0, abs=12.0)


@pytest.mark.parametrize(("rate_hz", "values_hz"), [(48_000.0, 4000.0), (12_000.0, 4000.0), (11_025.0, 3675.0),
                                                    (2_048_000.0, 4000.0), (2000.0, 2000.0)])  # fmt: skip
def test_power_over_time_has_some_four_thousand_values_a_second(rate_hz: float, values_hz: float) -> None:
    """A whole number of samples each; never more than there are samples."""
    assert power_hz(axis_of(rate_hz, real=True)) == pytest.approx(values_hz)


def test_power_over_time_follows_a_step_within_its_own_two_milliseconds_and_parts_at_a_gap() -> None:
    """Noise of 2400 Hz has some 600 independent values in a quarter of a second: 4 % each."""
    samples = noise(4.0)
    samples[96_000:] *= 3.0
    (power,) = noise_power([block(samples)], AXIS, ALL)
    assert power.ndim == 1 and 3.0 * 4000 <= len(power) <= 4.0 * 4000
    quarters = power[: len(power) // 1000 * 1000].reshape(-1, 1000).mean(axis=1)
    step = int(np.argmax(quarters > 3.0 * quarters[0]))
    assert quarters[step + 1 :].mean() / quarters[: step - 1].mean() == pytest.approx(9.0, rel=0.1)
    assert quarters[step + 1 :].std() / quarters[step + 1 :].mean() < 0.1
    torn = list(noise_power([block(samples, gaps=(96_000,))], AXIS, ALL))
    assert len(torn) == 2
    assert torn[1].mean() / torn[0].mean() == pytest.approx(9.0, rel=0.1)
    assert list(noise_power([block(samples)], AXIS, ~ALL)) == []
    assert list(noise_power([block(samples[:9000])], AXIS, ALL)) == []


def test_the_power_of_rows_is_their_mean_square_over_parts_and_blocks() -> None:
    """Two parts of three blocks, five lines each; 3 + 4i has a square of 25."""
    rows = np.zeros((2, 3, 5), np.complex64)
    rows[0, 1, 4], rows[1, 2, 0], rows[1, 0, 0] = 3.0 + 4.0j, 6.0, -6.0j
    assert power_of(rows).tolist() == pytest.approx([12.0, 0.0, 0.0, 0.0, 25.0 / 6.0])
    assert power_of(rows[0]).tolist() == pytest.approx([0.0, 0.0, 0.0, 0.0, 25.0 / 3.0])


@pytest.mark.parametrize(("real", "inverted"), [(True, False), (True, True), (False, False), (False, True)])
def test_the_lines_that_count_are_those_nearest_to_a_bin_that_is_kept(real: bool, inverted: bool) -> None:
    """Kept are the second to the fifth bin of the lowest frequencies of the sound: of audio none is negative."""
    axis = axis_of(RATE_HZ, real=real, inverted=inverted, band_hz=(0.0 if real else -500.0, 500.0))
    keep = np.zeros(axis.bins[1] - axis.bins[0], np.bool_)
    keep[slice(-5, -1) if inverted else slice(1, 5)] = True
    samples = noise(1.0) if real else (noise(1.0) + 1j * noise(1.0, seed=2)).astype(np.complex64)
    found = envelope([block(samples)], axis, keep)
    assert found is not None
    hz = np.fft.fftfreq(len(found.by_line), 1.0 / RATE_HZ)
    first_hz, last_hz = ((axis.bins[0] + at) * axis.step_hz for at in (1, 4))
    counted = hz[found.by_line > 0.0]
    assert counted.min() == pytest.approx(first_hz - axis.step_hz / 2, abs=found.step_hz)
    assert counted.max() == pytest.approx(last_hz + axis.step_hz / 2, abs=found.step_hz)
    assert len(counted) == round((counted.max() - counted.min()) / found.step_hz) + 1


def test_of_audio_down_to_nothing_neither_the_mean_nor_a_mirror_counts() -> None:
    axis = axis_of(RATE_HZ, real=True)
    found = envelope([block(noise(1.0))], axis, np.ones(axis.bins[1] - axis.bins[0], np.bool_))
    assert found is not None
    half = len(found.by_line) // 2
    assert found.by_line[0] == 0.0 and not found.by_line[half:].any() and found.by_line[1:half].all()


def test_silence_has_no_envelope() -> None:
    assert envelope([block(np.zeros(48_000, np.float32))], AXIS, ALL) is None
