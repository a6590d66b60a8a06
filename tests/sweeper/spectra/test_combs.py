"""Combs that are planted are found with their spacing, and none where stations or chance put lines."""

import numpy as np
import pytest
from scipy import stats

from sweeper.spectra.combs import CHANCE, Comb, combs

pytestmark = pytest.mark.slow

BINS, STEP_HZ, SEGMENTS = 32_768, 31.25, 30
"""About a megahertz, some half a second of it."""
EVERYWHERE = np.ones(BINS, np.bool_)


def noisy(mean: np.ndarray, seed: int) -> np.ndarray:
    return mean * stats.gamma(SEGMENTS, scale=1 / SEGMENTS).rvs(len(mean), random_state=seed)


def comb(spacing_hz: float, over_db: float, seed: int, width_hz: float = 28.0) -> np.ndarray:
    """Mean power: noise of 1 and bell-shaped lines whose peaks stand so far over it, their places drawn."""
    first = np.random.default_rng(seed).uniform(0, spacing_hz)
    hz = np.arange(BINS) * STEP_HZ
    off = np.abs((hz - first + spacing_hz / 2) % spacing_hz - spacing_hz / 2)
    return 1.0 + 10 ** (over_db / 10) * np.exp(-((off / width_hz) ** 2))


def broadcast(raster_hz: float, occupied: float, seed: int) -> np.ndarray:
    """AM stations on a raster, with side bands, and as many stray carriers as there are on a lively evening."""
    dice = np.random.default_rng(seed)
    mean = np.ones(BINS)
    hz = np.arange(BINS) * STEP_HZ
    for at in np.arange(0.0, BINS * STEP_HZ, raster_hz):
        if dice.random() < occupied:
            over = 10 ** dice.uniform(1, 6)
            mean += over * np.exp(-(((hz - at) / 28.0) ** 2))
            mean[np.abs(hz - at) < 4500.0] += over * 10 ** dice.uniform(-5, -3)
    mean[dice.integers(2, BINS - 2, 30)] += 10 ** dice.uniform(0.5, 4, 30)
    return mean


def found(power: np.ndarray) -> list[Comb]:
    return combs(power, EVERYWHERE[: len(power)], SEGMENTS, 7_000_000.0, STEP_HZ)


@pytest.mark.parametrize("spacing_hz", [15_730.0, 65_000.0, 91_234.5])
def test_ten_lines_three_decibels_over_the_noise_are_found_with_their_spacing(spacing_hz: float) -> None:
    (told,) = found(noisy(comb(spacing_hz, 3.0, seed=2), 2))
    assert told.spacing_hz == pytest.approx(spacing_hz, rel=1e-3)
    assert abs(told.spacing_hz - spacing_hz) < 4 * told.spacing_se_hz + 0.5
    assert told.chance < CHANCE and told.hits > 0.8 * told.places
    assert 7_000_000.0 <= told.first_hz < 7_000_000.0 + spacing_hz


def test_humps_a_kilohertz_wide_are_found_too() -> None:
    (told,) = found(noisy(comb(80_000.0, 2.0, seed=3, width_hz=600.0), 3))
    assert told.spacing_hz == pytest.approx(80_000.0, rel=1e-3)


def test_two_combs_are_two() -> None:
    both = noisy(comb(65_000.0, 4.0, seed=4) + comb(43_100.0, 4.0, seed=5) - 1.0, 4)
    assert sorted(round(each.spacing_hz, -2) for each in found(both)) == [43_100.0, 65_000.0]


def test_noise_alone_has_none() -> None:
    assert found(noisy(np.ones(BINS), 6)) == []


@pytest.mark.slow
@pytest.mark.parametrize(("raster_hz", "occupied"), [(5e3, 0.4), (5e3, 0.9), (9e3, 0.6), (10e3, 0.9)])
def test_stations_on_a_raster_are_none(raster_hz: float, occupied: float) -> None:
    assert [seed for seed in range(3) if found(noisy(broadcast(raster_hz, occupied, seed), seed))] == []


@pytest.mark.parametrize(
    ("raster_hz", "occupied", "bins"),
    [(25e3 / 3, 0.6, BINS), (12.5e3, 0.75, BINS), (3e3, 1.0, 9600), (2.5e3, 1.0, 9600)],
)
def test_carriers_on_channels_of_other_services_are_none(
    raster_hz: float, occupied: float, bins: int
) -> None:
    """Of aircraft, land mobile, ships and fixed stations, no side bands to be seen."""
    dice, hz, mean = np.random.default_rng(1), np.arange(bins) * STEP_HZ, np.ones(bins)
    for at in np.arange(0.0, bins * STEP_HZ, raster_hz):
        if dice.random() < occupied:
            mean += 10 ** dice.uniform(1, 4) * np.exp(-(((hz - at) / 28.0) ** 2))
    assert found(noisy(mean, 1)) == []


@pytest.mark.parametrize("spacing_hz", [22_500.0, 48_000.0, 62_500.0])
def test_a_clock_on_a_multiple_of_such_channels_is_found_where_nobody_else_keeps_to_them(
    spacing_hz: float,
) -> None:
    (told,) = found(noisy(comb(spacing_hz, 6.0, seed=7), 7))
    assert told.spacing_hz == pytest.approx(spacing_hz, rel=1e-3)


@pytest.mark.slow
def test_at_three_decibels_hardly_any_is_missed() -> None:
    """At least 95 % of combs of ten lines and more; spacing within 0.1 %."""
    dice, right = np.random.default_rng(1), 0
    for seed in range(40):
        spacing_hz = dice.uniform(40e3, 100e3)
        told = found(noisy(comb(spacing_hz, 3.0, seed), seed))
        right += any(abs(each.spacing_hz / spacing_hz - 1) < 1e-3 for each in told)
    assert right >= 38


def test_lines_that_all_stand_closer_than_a_comb_s_are_none() -> None:
    """Six carriers within 10 kHz and nothing else in the tuning."""
    mean = np.ones(BINS)
    mean[16_000 + 55 * np.arange(6)] += 1000.0
    assert found(noisy(mean, 1)) == []
