"""Edges are found where somebody switched, and none where signals only fade."""

import numpy as np
import pytest

from sweeper.ab.moments import Moment, Turning, coming_s, differences, moments, steps_between, turning


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
    assert turning(floor, floor, every_s, turned) == Turning()
    for at, rise in zip(at_s, rises, strict=True):
        off = (time_s >= at - 0.3) & (time_s < at) if rise else (time_s >= at) & (time_s < at + 0.3)
        floor[off] -= 6.0
    assert turning(floor, floor, every_s, turned).break_s == pytest.approx(0.3, abs=0.07)


EDGES_S = tuple(10.0 * (nth + 1) for nth in range(12))
EVERY_S = 0.064


def switched_levels() -> tuple[np.ndarray, np.ndarray, list[Moment]]:
    """Times and levels of a noise that steps by 10 dB each 10 s, and its edges."""
    time_s = EVERY_S * np.arange(round(130.0 / EVERY_S))
    noise = np.random.default_rng(4).normal(0.0, 0.3, len(time_s))
    floor = np.where((time_s // 10.0).astype(int) % 2 == 1, 10.0, 0.0) + noise
    return (
        time_s,
        floor,
        [Moment(at, 10.0 if nth % 2 == 0 else -10.0) for nth, at in enumerate(EDGES_S)],
    )


def test_what_is_heard_of_the_switch_itself_is_measured_after_its_edges() -> None:
    time_s, floor, edges = switched_levels()
    for at in EDGES_S:
        floor[(time_s >= at) & (time_s < at + 0.4)] += 15.0
    found = turning(floor, floor, EVERY_S, edges)
    assert found.after_s == pytest.approx(0.4, abs=0.07) and found.before_s == 0.0 and found.break_s == 0.0


def test_what_an_agc_overshoots_is_not_taken_for_the_switch() -> None:
    """Loud after steps up, quiet after steps down: it lies on one side each time."""
    time_s, floor, edges = switched_levels()
    for edge in edges:
        floor[(time_s >= edge.at_s) & (time_s < edge.at_s + 0.4)] += 5.0 * np.sign(edge.step_db)
    assert turning(floor, floor, EVERY_S, edges).after_s == 0.0


def test_silence_while_the_switch_is_turned_is_a_break() -> None:
    time_s, floor, edges = switched_levels()
    for edge in edges:
        rise = edge.step_db > 0.0
        at = edge.at_s
        floor[(time_s >= at - 0.2 * rise) & (time_s < at + 0.2 * (not rise))] = np.nan
    assert turning(floor, floor, EVERY_S, edges).break_s == pytest.approx(0.2, abs=0.07)


def test_fading_beside_few_edges_is_not_taken_for_the_switch() -> None:
    """Levels of a carrier that fades, at fifteen edges: what differs far from them does so by chance."""
    left_out_s = []
    for seed in range(40):
        rng = np.random.default_rng(seed)
        time_s = EVERY_S * np.arange(round(480.0 / EVERY_S))
        floor = np.where((time_s // 30.0).astype(int) % 2 == 1, 10.0, 0.0) + rng.normal(0.0, 0.3, len(time_s))
        angles, phases = rng.uniform(0, 2 * np.pi, 24), rng.uniform(0, 2 * np.pi, 24)
        turns = 2 * np.pi * 0.15 * np.cos(angles)[:, None] * time_s + phases[:, None]
        fading = (
            np.abs(np.exp(1j * turns).sum(0) / np.sqrt(24) + 1.0) ** 2
        )  # Clarke's scattering and a steady part
        edges = [Moment(30.0 * (nth + 1), 10.0 if nth % 2 == 0 else -10.0) for nth in range(15)]
        found = turning(floor, floor + 10 * np.log10(1.0 + 100.0 * fading), EVERY_S, edges)
        left_out_s.append(max(found.before_s, found.after_s, found.break_s))
    assert sum(each > 0.3 for each in left_out_s) <= 2, left_out_s


EVERY_S, STAY_S = 0.064, 6.0
IN_AND_OUT = ["in", "out"] * 20


def _coming(tau_s: float, edges: int = 20, *, overshoots_db: float = 0.0) -> tuple[np.ndarray, list[float]]:
    """Levels of a route that comes up like a charged capacitor, 10 dB above the other one, and when it was chosen."""
    at_s = np.arange(round(edges * STAY_S / EVERY_S)) * EVERY_S
    since_s, stage = at_s % STAY_S, (at_s // STAY_S) % 2 == 1
    there = 1.0 - np.exp(-since_s / tau_s) if tau_s else np.ones(len(at_s))
    level = np.where(stage, 20.0 * np.log10(1.0 + (10.0**0.5 - 1.0) * there), 0.0)
    level += overshoots_db * np.exp(-since_s / 0.5) * np.where(stage, 1.0, -1.0)
    noisy = level + np.random.default_rng(5).normal(scale=0.2, size=len(level))
    return noisy, [float(each) for each in np.arange(1, edges) * STAY_S]


@pytest.mark.parametrize(("tau_s", "least_s", "most_s"), [(0.0, 0.0, 0.0), (0.1, 0.3, 0.8), (0.5, 2.0, 3.6)])
def test_a_route_that_comes_up_slowly_is_given_until_it_is_there(
    tau_s: float, least_s: float, most_s: float
) -> None:
    """The level of 1 + 2.16·(1 − e^(−t/τ)) is within 0.15 dB of its end from 3.7 τ on, by hand."""
    level, from_s = _coming(tau_s)
    up_s, down_s = coming_s(level, EVERY_S, steps_between(from_s, IN_AND_OUT[: len(from_s)], level, EVERY_S))
    assert least_s <= up_s <= most_s and down_s == 0.0
    up_s, down_s = coming_s(
        -level, EVERY_S, steps_between(from_s, IN_AND_OUT[: len(from_s)], -level, EVERY_S)
    )
    assert least_s <= down_s <= most_s and up_s == 0.0


def test_a_route_that_is_left_before_it_is_there_is_never_at_rest() -> None:
    level, from_s = _coming(3.0)
    assert coming_s(level, EVERY_S, steps_between(from_s, IN_AND_OUT[: len(from_s)], level, EVERY_S)) == (
        np.inf,
        0.0,
    )


def test_a_gain_control_that_overshoots_is_no_stage_that_comes_up() -> None:
    """It moves the noise back after a step, not on."""
    level, from_s = _coming(0.0, overshoots_db=3.0)
    assert coming_s(level, EVERY_S, steps_between(from_s, IN_AND_OUT[: len(from_s)], level, EVERY_S)) == (
        0.0,
        0.0,
    )


def test_of_few_edges_nothing_is_said_to_come_up() -> None:
    level, from_s = _coming(0.5, edges=8)
    assert coming_s(level, EVERY_S, steps_between(from_s, IN_AND_OUT[: len(from_s)], level, EVERY_S)) == (
        0.0,
        0.0,
    )


def test_edges_of_a_slow_route_are_left_out_where_the_other_way_is_quick() -> None:
    slow = Turning(before_s=0.1, after_s=0.2, up_s=2.0)
    assert slow.beside(True) == (0.1, 2.0) and slow.beside(False) == (0.1, 0.2)
    assert sum(slow.beside(False)) < slow.apart_s < sum(slow.beside(True))
    assert Turning(up_s=0.9).apart_s == np.inf


def test_known_instants_become_edges_with_the_step_between_ends_of_stays() -> None:
    level = np.concatenate([np.full(100, 1.0), np.full(100, 4.0), np.full(100, np.nan)])
    found = steps_between([10.0, 20.0], ["in", "out"], level, 0.1)
    assert [each.at_s for each in found] == [10.0, 20.0]
    assert found[0].step_db == pytest.approx(3.0) and found[1].step_db < -200.0


def test_like_changes_share_one_step_so_that_noise_chooses_no_edges() -> None:
    """Noise that a gain control hands on from fading rises as often as it falls, whatever is switched."""
    rng = np.random.default_rng(9)
    knots = rng.normal(scale=4.0, size=202)
    level = np.interp(np.arange(40 * STAY_S / EVERY_S) * EVERY_S, np.arange(202) * 1.2, knots)
    from_s = [float(each) for each in np.arange(1, 40) * STAY_S]
    steps = steps_between(from_s, (IN_AND_OUT * 2)[:39], level, EVERY_S)
    assert len({step.step_db for step in steps}) == 2
    assert max(coming_s(level, EVERY_S, steps)) < 0.5
