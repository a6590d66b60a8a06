"""Noise of a tuning half occupied is found, pure noise is left alone, and the choice biases no difference."""

import numpy as np
import pytest
from scipy.stats import gamma

from sweeper.spectra.noise_bins import (
    NoiseBins,
    excise,
    floor_and_total,
    gamma_quantile,
    in_pass_band,
    mean_below,
    noise_bins,
    pass_band,
    quantile,
    runs,
    shape_seen,
    surroundings,
    terms_for,
    threshold,
    worn,
)


@pytest.mark.parametrize("shape", [2.0, 10.0, 1000.0])
def test_thresholds_are_scipys(shape: float) -> None:
    assert threshold(shape, 1e-3) == pytest.approx(gamma(shape).isf(1e-3) / shape)
    assert gamma_quantile(0.25, shape) == pytest.approx(gamma(shape).ppf(0.25) / shape)


@pytest.mark.parametrize("shape", [2.0, 10.0, 10_000.0])
def test_false_alarms_on_pure_noise_are_those_asked_for(shape: float) -> None:
    rng = np.random.default_rng(5)
    out = [1.0 - excise(rng.gamma(shape, 1 / shape, 4000), shape, 0.01).mean() for _ in range(60)]
    assert np.mean(out) == pytest.approx(0.01, rel=0.1)


def _half_occupied(
    rng: np.random.Generator, bins: int, shape: float, blocks: bool
) -> tuple[np.ndarray, np.ndarray, float]:
    place = np.linspace(0, 1, bins)
    band = 10 ** (0.6 * (place - 0.5) + 0.03 * np.sin(25 * place))
    signal = np.zeros(bins)
    while np.mean(signal > 0) < 0.47:
        width = bins // 8 if blocks else int(rng.choice([3, 12, 20]))
        at = int(rng.integers(0, bins - width))
        signal[at : at + width] += 10 ** rng.uniform(0.8, 3) * (1 if blocks else np.hanning(width + 2)[1:-1])
    routes = [
        band * (rng.gamma(shape, 1 / shape, bins) + signal * rng.gamma(8, 1 / 8, bins)) for _ in range(2)
    ]
    return routes[0], routes[1], band


@pytest.mark.parametrize("blocks", [False, True])
def test_noise_of_a_tuning_half_occupied_is_within_a_tenth_of_a_decibel(blocks: bool) -> None:
    rng = np.random.default_rng(6)
    errors = []
    for _ in range(25):
        out, within, band = _half_occupied(rng, 256, 400.0, blocks)
        noise = noise_bins((out, within), (400.0, 400.0))
        errors.append(10 * np.log10(np.mean((out / band)[noise.keep])))
    assert np.abs(np.mean(errors)) < 0.05
    assert np.max(np.abs(errors)) < 0.1


def test_the_choice_of_bins_biases_no_difference() -> None:
    rng = np.random.default_rng(7)
    steps = []
    for _ in range(150):
        routes = rng.gamma(4, 1 / 4, 200), 10 * rng.gamma(4, 1 / 4, 200)
        noise = noise_bins(routes, (4.0, 4.0), false_alarms=0.05)
        steps.append(10 * np.log10(noise.level(routes[1]) / noise.level(routes[0])) - 10)
    assert np.mean(steps) == pytest.approx(0.0, abs=3.5 * np.std(steps) / np.sqrt(150))


def test_what_the_filter_does_not_pass_is_no_noise() -> None:
    rng = np.random.default_rng(8)
    low = np.where((np.arange(160) > 10) & (np.arange(160) < 85), 1.0, 1e-4) * rng.gamma(50, 1 / 50, 160)
    inside = in_pass_band(low)
    assert inside[20:80].all()
    assert not inside[90:].any()


@pytest.mark.parametrize("levels_db", [(27.0, 13.0, 35.0), (20.0,), (40.0, 15.0)])
def test_noise_between_strong_wide_signals_is_no_stop_band(levels_db: tuple[float, ...]) -> None:
    rng = np.random.default_rng(9)
    power = np.ones(400)
    power[:8] = power[-8:] = 1e-4  # the filter's own ends
    for at, level_db in zip((20, 150, 260), (*levels_db, 30.0), strict=False):
        power[at : at + 60] += 10 ** (level_db / 10)
    power[330:380] += 10**3
    inside = in_pass_band(power * rng.gamma(200, 1 / 200, 400))
    assert inside[90:140].all() and inside[225:250].all() and inside[25:75].all()
    assert not inside[:8].any() and not inside[-8:].any()


@pytest.mark.parametrize(("bins", "is_noise"), [(40, False), (100, True)])
def test_less_than_a_fifth_that_is_low_amid_a_band_is_a_notch(bins: int, is_noise: bool) -> None:
    """Of 300 bins from 20 to 319, which stand 20 dB over the middle."""
    power = np.where((np.arange(340) >= 20) & (np.arange(340) < 320), 100.0, 1e-4)
    power[170 - bins // 2 : 170 + bins // 2] = 1.0
    inside = in_pass_band(power)
    assert inside[30:100].all() and inside[240:310].all()
    assert inside[160:180].all() == inside[160:180].any() == is_noise


@pytest.mark.parametrize(("bins", "is_noise"), [(55, False), (56, True)])
def test_a_fifth_itself_is_no_notch_any_more(bins: int, is_noise: bool) -> None:
    """A bin counts as low from five low ones of thirteen around it on: two bins more on each side of what is low. Of
    300 that stay of 304, a fifth are 60."""
    power = np.where((np.arange(344) >= 20) & (np.arange(344) < 324), 100.0, 1e-4)
    power[150 : 150 + bins] = 1.0
    assert in_pass_band(power)[160:190].all() == is_noise


def test_silence_has_no_pass_band() -> None:
    assert not in_pass_band(np.zeros(160)).any()


@pytest.mark.parametrize("shape", [2.0, 30.0])
def test_the_mean_of_noise_under_a_limit_is_scipys(shape: float) -> None:
    assert mean_below(shape, 1.3) == pytest.approx(
        gamma(shape, scale=1 / shape).expect(ub=1.3, conditional=True), rel=1e-6
    )


def even(shape: float, bins: int) -> np.ndarray:
    """Noise whose bins stand at evenly spread quantiles of its law."""
    return gamma(shape).ppf((np.arange(bins) + 0.5) / bins) / shape


@pytest.mark.parametrize(("true", "seen"), [(100.0, 100.0), (94.0, 100.0), (50.0, 50.0), (25.0, 25.0)])
def test_the_shape_is_that_which_the_lowest_bins_show_where_ripple_widens_them(
    true: float, seen: float
) -> None:
    """Averaging alone would have made it 100; 1600 bins tell a tenth of its root by more than chance."""
    assert shape_seen(even(true, 1600), 100.0) == pytest.approx(seen, rel=0.12)
    if seen == 100.0:
        assert shape_seen(even(true, 1600), 100.0) == 100.0


def test_a_few_bins_show_a_wider_law_by_chance() -> None:
    """Four over their root: of 64 bins by a half, of 6400 by a twentieth."""
    assert shape_seen(even(60.0, 64), 100.0) == 100.0
    assert shape_seen(even(60.0, 6400), 100.0) < 70.0


def test_a_run_loses_two_bins_at_each_end_that_a_filter_makes() -> None:
    inside = np.zeros(20, np.bool_)
    inside[3:11] = True
    assert np.flatnonzero(worn(inside)).tolist() == [5, 6, 7, 8]
    inside[:3] = True
    assert np.flatnonzero(worn(inside)).tolist() == list(range(9))
    inside[:] = True
    assert worn(inside).all()
    inside[0] = False
    assert np.flatnonzero(~worn(inside)).tolist() == [0, 1, 2]
    inside[[0, 19]] = True, False
    assert np.flatnonzero(~worn(inside)).tolist() == [17, 18, 19]


def test_surroundings_are_the_third_tenth_of_thirteen_bins() -> None:
    """Of a ramp: 3.6 steps from the lowest, 2.4 below the middle; at an end the last bin stands for what is missing."""
    ramp = np.arange(40.0)
    assert surroundings(ramp)[6:34] == pytest.approx(ramp[6:34] - 2.4)
    assert (surroundings(ramp)[0], surroundings(ramp)[39]) == pytest.approx((0.0, 36.6))
    line = np.ones(40)
    line[20] = 1e6
    assert surroundings(line) == pytest.approx(np.ones(40))


def test_how_many_cosines_so_many_bins_may_need() -> None:
    assert [terms_for(bins) for bins in (8, 31, 32, 191, 192, 4000)] == [3, 3, 4, 23, 24, 24]


def test_floor_and_total_are_quartile_and_mean_of_each_spectrum() -> None:
    ramp = np.arange(101.0)
    low, total = floor_and_total(np.array([ramp, 2 * ramp[::-1]]))
    assert low.tolist() == [25.0, 50.0] and total.tolist() == [50.0, 100.0]


def test_the_pass_band_is_a_curve_of_cosines_through_the_noise_alone() -> None:
    place = np.arange(400) / 399
    curve = np.exp(1.0 + 0.5 * np.cos(np.pi * place) - 0.3 * np.cos(3 * np.pi * place))
    power, keep = curve.copy(), np.ones(400, np.bool_)
    power[100:180], keep[100:180] = 1e4, False
    assert pass_band(power, keep, 8) == pytest.approx(curve, rel=0.01)
    assert not np.allclose(pass_band(power, keep, 3), curve, rtol=0.05)


def test_a_quick_ripple_is_followed_less_than_whole() -> None:
    """Ridge regression: a cosine of order 23 keeps ½ of ½ + 10⁻³ (23/8)⁴ of its height, one of order 2 all of it."""
    place = np.arange(4000) / 3999
    for order in (2, 23):
        power = np.exp(0.2 * np.cos(order * np.pi * place))
        height = np.log(pass_band(power, np.ones(4000, np.bool_), 24)[0]) / 0.2
        assert height == pytest.approx(0.5 / (0.5 + 1e-3 * (order / 8.0) ** 4), rel=0.01)


def test_runs_are_told_from_the_first_bin_to_the_last() -> None:
    there = np.array([1, 1, 0, 1, 0, 0, 1, 1, 1], np.bool_)
    assert runs(there) == [(0, 2), (3, 4), (6, 9)]
    assert runs(~there) == [(2, 3), (4, 6)] and runs(there & False) == []


def test_levels_and_shares_are_those_of_the_bins_that_count() -> None:
    keep, usable = np.array([1, 1, 0, 0, 0], np.bool_), np.array([1, 1, 1, 1, 0], np.bool_)
    one = NoiseBins(keep, usable, np.array([1.0, 2.0, 1.0, 1.0, 1.0]), 50.0)
    assert one.level(np.array([3.0, 10.0, 900.0, 900.0, 0.0])) == pytest.approx((3.0 + 5.0) / 2)
    assert one.share == 0.5
    assert NoiseBins(keep & False, usable & False, np.ones(5), 50.0).share == 0.0


def test_the_lower_quartile_is_a_witness_by_the_wider_of_both_laws() -> None:
    usable = np.arange(500) < 400
    power = np.where(usable, 7.0, 1e6) * even(20.0, 500)[np.random.default_rng(1).permutation(500)]
    power[:400] = 7.0 * even(20.0, 400)
    noise = NoiseBins(usable, usable, np.ones(500), 20.0)
    assert noise.quartile_level(power, 400.0) == pytest.approx(7.0, rel=0.005)
    wide = NoiseBins(usable, usable, np.ones(500), 400.0)
    assert wide.quartile_level(power, 20.0) == pytest.approx(7.0, rel=0.005)
    assert wide.quartile_level(power, 400.0) < 6.5
    tilted = NoiseBins(usable, usable, np.full(500, 2.0), 20.0)
    assert tilted.quartile_level(power, 400.0) == pytest.approx(3.5, rel=0.005)


@pytest.mark.parametrize("tilt_db", [-14.0, 14.0])
def test_noise_under_a_tilted_pass_band_is_found_beside_a_block_of_signals(tilt_db: float) -> None:
    rng = np.random.default_rng(12)
    place = np.linspace(-0.5, 0.5, 300)
    band = 10 ** (tilt_db * place / 10)
    power = band * rng.gamma(400.0, 1 / 400.0, (2, 300))
    power[:, 40:170] *= 200.0
    noise = noise_bins((power[0], power[1]), (400.0, 400.0))
    assert noise.keep[200:].mean() > 0.9 and not noise.keep[40:170].any()
    assert np.mean((power[0] / band)[noise.keep]) == pytest.approx(1.0, abs=0.01)
    assert np.mean(noise.pass_band[noise.keep]) == pytest.approx(1.0)
    outside = np.ones(300, np.bool_)
    outside[:40] = False
    part = noise_bins((power[0], power[1]), (400.0, 400.0), outside)
    assert not part.keep[:170].any() and part.usable is outside


def test_a_strong_line_takes_two_neighbours_along_and_a_weak_one_one() -> None:
    for height, beside in ((3.0, 1), (1000.0, 2)):
        power = np.ones(200) * even(400.0, 200)[np.random.default_rng(2).permutation(200)]
        power[100] += height
        out = np.flatnonzero(~noise_bins((power,), (400.0,)).keep)
        assert [each for each in out if abs(each - 100) < 5] == list(range(100 - beside, 101 + beside))


@pytest.mark.parametrize("count", [1, 2, 3, 10, 1001])
def test_a_quantile_is_numpys(count: int) -> None:
    values = np.random.default_rng(count).normal(size=count)
    for share in (0.0, 0.05, 0.25, 0.3, 0.9, 1.0):
        assert quantile(values, share) == pytest.approx(float(np.quantile(values, share)), abs=1e-12)
