"""What does not step with the noise at the ends of a pass band is none of it; a wide signal is not all of it."""

import numpy as np
import pytest

from sweeper.spectra.noise_bins import in_pass_band, noise_bins
from sweeper.spectra.steps import ended_by_steps, widened_by_steps

SEGMENTS = 7


def _table(
    rng: np.random.Generator, out: np.ndarray, within: np.ndarray, spectra: int = 80
) -> tuple[np.ndarray, np.ndarray]:
    staged = np.arange(spectra) % 4 >= 2
    power = np.where(staged[:, None], within, out)
    return power * rng.gamma(SEGMENTS, 1 / SEGMENTS, power.shape), staged


def _with_hum(hum_db: float, step_db: float) -> tuple[np.ndarray, np.ndarray]:
    """Noise of a filter from bin 6 to 86, the sound card beyond, and the skirt of hum below."""
    place = np.arange(160)
    through = np.where((place >= 6) & (place < 86), 1.0, 0.0)
    through[4:6] = 0.02, 0.3
    own = 1e-4 + 10 ** ((hum_db - 3.0 * place) / 10)
    return through + own, through * 10 ** (step_db / 10) + own


@pytest.mark.parametrize("agc", [False, True])
@pytest.mark.parametrize("step_db", [17.0, 10.0, 3.0, -4.0])
@pytest.mark.parametrize("hum_db", [-3.0, 2.0, 10.0])
def test_the_skirt_of_hum_below_the_filter_is_no_noise(hum_db: float, step_db: float, agc: bool) -> None:
    rng = np.random.default_rng(3)
    out, within = _with_hum(hum_db, step_db)
    table, staged = _table(rng, out, within)
    if agc:  # turns down what comes by the antenna, not the hum behind the detector
        turned = np.where(staged, 2.0 / 10 ** (step_db / 10), 1.0)
        table[:, 6:86] *= turned[:, None]
    inside = ended_by_steps(in_pass_band(np.quantile(table, 0.2, axis=0)), table, staged, SEGMENTS)
    assert inside[12:80].all()
    routes = tuple(table[which].mean(axis=0) for which in (~staged, staged))
    shapes = (SEGMENTS * 40.0, SEGMENTS * 40.0)
    noise = noise_bins((routes[0], routes[1]), shapes, inside)
    assert noise.keep[14:78].mean() > 0.9
    step = 10 * np.log10(noise.level(routes[1]) / noise.level(routes[0]))
    truth = 10 * np.log10(2.0) if agc else step_db
    assert step == pytest.approx(truth, abs=0.15)


def test_where_the_noise_does_not_step_nothing_is_taken_off() -> None:
    rng = np.random.default_rng(4)
    table, staged = _table(rng, np.ones(120), np.ones(120))
    inside = np.ones(120, np.bool_)
    assert ended_by_steps(inside, table, staged, SEGMENTS).all()
    table, staged = _table(rng, np.ones(120), np.full(120, 10.0))
    assert ended_by_steps(inside, table, staged, SEGMENTS).all()


@pytest.mark.parametrize("others_db", [(), (15.0, 25.0)])
def test_one_wide_signal_in_samples_is_not_taken_for_the_pass_band(others_db: tuple[float, ...]) -> None:
    rng = np.random.default_rng(5)
    signal = np.zeros(400)
    signal[150:260] = 1e4
    for at, level_db in zip((20, 300), others_db, strict=False):
        signal[at : at + 60] = 10 ** (level_db / 10)
    for gain_db, noise_db in ((10.0, 8.0), (10.0, 13.0), (-5.0, -0.3)):
        out, within = 1.0 + signal, 10 ** (noise_db / 10) + signal * 10 ** (gain_db / 10)
        table, staged = _table(rng, out, within, 200)
        first = in_pass_band(np.quantile(table, 0.2, axis=0))
        assert not first[:100].any()  # by its level alone it is
        inside = widened_by_steps(first, table, staged)
        assert inside[5:-5].all()


def test_a_narrow_filter_over_a_still_floor_keeps_its_pass_band() -> None:
    rng = np.random.default_rng(6)
    passed = np.zeros(400)
    passed[150:260] = 300.0
    table, staged = _table(rng, 1.0 + passed, 1.0 + 8.0 * passed, 200)
    first = in_pass_band(np.quantile(table, 0.2, axis=0))
    assert (widened_by_steps(first, table, staged) == first).all()
