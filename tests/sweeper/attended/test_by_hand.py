"""Presses held against the steps that are heard."""

import numpy as np

from sweeper.attended.by_hand import CONTRADICT, ByHand, Press, out_of_step, single
from sweeper.attended.levels import Levels
from sweeper.attended.stays import ByRelay, Stay, Stays, relay_order
from sweeper.words import ANTENNA_BYPASS, ANTENNA_STAGE, LOAD_BYPASS

EVERY_S = 0.064


def levels(flips: list[float], step_db: float, seconds: float = 60.0, noise_db: float = 0.3) -> Levels:
    """Noise that steps up at the first instant, down at the second, and so on."""
    at_s = np.arange(int(seconds / EVERY_S)) * EVERY_S
    inside = np.searchsorted(flips, at_s, side="right") % 2
    level = step_db * inside + noise_db * np.random.default_rng(4).standard_normal(len(at_s))
    return Levels(0.0, EVERY_S, level, level)


def test_steps_say_when_and_the_margin_beside_them_is_left_out() -> None:
    hand = ByHand(0.0)
    flips = [5.0, 10.0, 15.0, 20.0]
    for at_s in flips:
        hand.pressed("switched", at_s + 0.8)
    stays = hand.stays(levels(flips, 6.0))
    assert hand.seen and not stays.problem and stays.edges == 4
    assert [stay.path for stay in stays.each] == [ANTENNA_BYPASS, ANTENNA_STAGE] * 2 + [ANTENNA_BYPASS]
    for stay, at_s in zip(stays.each[1:], flips, strict=True):
        assert 0.0 < stay.from_s - at_s < 0.5


def test_small_steps_are_not_seen_and_the_presses_stand_for_them() -> None:
    hand = ByHand(0.0)
    for at_s in (5.0, 10.0, 15.0):
        hand.pressed("switched", at_s)
    stays = hand.stays(levels([4.5, 9.5, 14.5], 0.5))
    assert not hand.seen and stays.edges == 3
    assert stays.each[0].until_s < 4.5 and stays.each[1].from_s > 5.0


def test_a_key_that_bounces_counts_once() -> None:
    assert (
        len(
            single(
                [Press("switched", 1.0), Press("switched", 1.3), Press("load", 1.4), Press("switched", 3.0)]
            )
        )
        == 3
    )


def test_a_press_too_many_is_not_a_flip_where_steps_are_heard() -> None:
    hand = ByHand(0.0)
    flips = [5.0, 10.0, 15.0, 20.0, 25.0, 30.0]
    for at_s in flips:
        hand.pressed("switched", at_s + 0.5)
    hand.pressed("switched", 12.8)
    stays = hand.stays(levels(flips, 6.0))
    assert stays.edges == 6 and stays.each[1].path == ANTENNA_STAGE


def test_presses_that_say_the_opposite_of_the_steps_are_not_believed() -> None:
    hand = ByHand(0.0)
    hand.pressed("switched", 1.0)  # pressed, not flipped; and seen at once, before any step
    flips = [6.0, 11.0, 16.0, 21.0]
    stays = Stays(())
    for nth, at_s in enumerate(flips):
        hand._presses.append(Press("switched", at_s + 0.5, "bypass" if nth % 2 == 0 else "stage"))
        stays = hand.stays(levels(flips, 6.0, 30.0))
    assert stays.problem == CONTRADICT and not stays.each


def test_getting_out_of_step_is_seen_though_no_single_step_is() -> None:
    flips = [5.0 * nth for nth in range(1, 11)]
    heard = levels(flips, 1.5)
    claimed = [Stay(ANTENNA_BYPASS, 0.0, 4.0)]
    for nth, at_s in enumerate(flips):
        slipped = nth >= 5  # one press was lost there
        path = ANTENNA_STAGE if (nth % 2 == 0) != slipped else ANTENNA_BYPASS
        claimed.append(Stay(path, at_s + 0.4, at_s + 4.0))
    assert out_of_step(claimed, heard)
    assert not out_of_step([*claimed[:6]], heard)


def test_a_load_is_marked_by_its_key_and_the_handling_left_out() -> None:
    hand = ByHand(0.0)
    hand.pressed("load", 20.0)
    hand.pressed("load", 35.0)
    stays = hand.stays(levels([], 0.0))
    assert hand.load_seen and not hand.on_load
    assert [stay.path for stay in stays.each] == [ANTENNA_BYPASS, LOAD_BYPASS, ANTENNA_BYPASS]
    assert stays.each[0].until_s == 16.0 and stays.each[1].from_s == 21.0


def test_a_relay_goes_out_and_in_with_the_load_now_and_then() -> None:
    order = relay_order(True)
    first = [next(order) for _ in range(9)]
    assert first.count(LOAD_BYPASS) == 1
    assert all(
        first[nth - 1] == first[nth + 1] == ANTENNA_BYPASS
        for nth, path in enumerate(first)
        if path == LOAD_BYPASS
    )
    assert {*(next(relay_order(False)) for _ in range(4))} <= {ANTENNA_BYPASS, ANTENNA_STAGE}
    log = ByRelay()
    log.moved(ANTENNA_BYPASS, 0.0, 0.1)
    log.moved(ANTENNA_STAGE, 2.0, 2.2)
    assert log.stays(levels([], 0.0)).each[0] == Stay(ANTENNA_BYPASS, 0.1, 2.0)
