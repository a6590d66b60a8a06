"""Edges are found where somebody switched, and none where signals only fade."""

import numpy as np
import pytest

from sweeper.ab.moments import Moment, break_s, differences, moments


def _levels(step_db: float, at: list[float], seconds: float = 120.0, every_s: float = 0.064) -> np.ndarray:
    rng = np.random.default_rng(10)
    t = np.arange(int(seconds / every_s)) * every_s
    inside = np.searchsorted(at, t, side="right") % 2 == 1
    return -70.0 + 0.3 * rng.standard_normal(len(t)) + 0.5 * np.sin(t / 20) + step_db * inside


@pytest.mark.parametrize("step_db", [3.0, -8.0])
def test_every_switch_is_found_to_a_tenth_of_a_second(step_db: float) -> None:
    at = [11.3, 24.9, 31.0, 55.5, 70.2, 71.9, 100.0]
    found = moments(_levels(step_db, at), 0.064)
    assert [moment.at_s for moment in found.moments] == pytest.approx(at, abs=0.13)
    assert [np.sign(moment.step_db) for moment in found.moments] == [
        np.sign(step_db) * (-1) ** n for n in range(7)
    ]


def test_differences_are_those_of_medians_taken_by_hand() -> None:
    level = np.random.default_rng(11).standard_normal(200)
    found = differences(level, 0.1, window_s=0.6, gap_s=0.2)
    for place in (20, 77, 150):
        assert found[place] == pytest.approx(
            np.median(level[place + 1 : place + 7]) - np.median(level[place - 7 : place - 1])
        )
    assert not found[:7].any()


def test_a_step_that_is_too_small_to_tell_is_refused() -> None:
    found = moments(_levels(1.4, [20.0, 40.0, 60.0, 80.0, 100.0]), 0.064)
    assert not found.moments
    assert found.why_not


def test_noise_that_an_agc_moves_with_the_fading_has_no_edges() -> None:
    rng = np.random.default_rng(12)
    for seed in range(20):
        rng = np.random.default_rng(seed)
        t = np.arange(9000) * 0.064
        angles, phases = rng.uniform(0, 6.28, 24), rng.uniform(0, 6.28, 24)
        fading = np.exp(1j * (2 * np.pi * 0.3 * np.cos(angles)[:, None] * t + phases[:, None])).sum(
            0
        ) / np.sqrt(24)
        level = -10 * np.log10(100 * np.abs(fading) ** 2 + 1.0) + 0.3 * rng.standard_normal(len(t))
        assert not moments(level, 0.064).moments


def test_a_hands_break_is_measured_on_the_quieter_side() -> None:
    rng = np.random.default_rng(3)
    every_s, stay_s, edges = 0.064, 10.0, 12
    at_s = [stay_s * (nth + 1) for nth in range(edges)]
    time_s = every_s * np.arange(int(stay_s * (edges + 1) / every_s))
    floor = np.where((time_s // stay_s).astype(int) % 2 == 1, 10.0, 0.0) + rng.normal(0.0, 0.3, len(time_s))
    rises = [nth % 2 == 0 for nth in range(edges)]
    turned = [Moment(at, 10.0 if rise else -10.0) for at, rise in zip(at_s, rises, strict=True)]
    assert break_s(floor, floor, every_s, turned) == 0.0
    for at, rise in zip(at_s, rises, strict=True):
        off = (time_s >= at - 0.3) & (time_s < at) if rise else (time_s >= at) & (time_s < at + 0.3)
        floor[off] -= 6.0
    assert break_s(floor, floor, every_s, turned) == pytest.approx(0.3, abs=0.07)
