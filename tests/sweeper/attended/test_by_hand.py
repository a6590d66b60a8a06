"""Presses held against the steps that are heard."""

from itertools import pairwise

import numpy as np
import pytest

from sweeper.attended.by_hand import CONTRADICT, ByHand, Press, out_of_step, single
from sweeper.attended.levels import Levels
from sweeper.attended.stays import NEVER_AT_REST, ByRelay, Stay, Stays, relay_order
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


@pytest.mark.parametrize(
    ("apart_s", "hurried"),
    [([1.9] * 5, True), ([2.1] * 5, False), ([1.9] * 4, False), ([1.2, 4.0, 1.2, 4.0, 1.2], True),
     ([4.0, 1.2, 4.0, 1.2, 4.0], False), ([9.0, 9.0, *[1.9] * 5], True), ([0.5] * 9, False)],
)  # fmt: skip
def test_a_hand_that_flips_faster_than_every_two_seconds_hurries(apart_s: list[float], hurried: bool) -> None:
    """By the middle of the latest five distances; a key that bounces is none."""
    hand, flips = ByHand(0.0), np.cumsum([3.0, *apart_s]).tolist()
    for at_s in flips:
        hand.pressed("switched", at_s)
    assert hand.hurried == hurried


def test_a_quick_hand_whose_flips_are_heard_does_not_hurry() -> None:
    hand, flips = ByHand(0.0), [3.0 + 1.9 * nth for nth in range(8)]
    for at_s in flips:
        hand.pressed("switched", at_s)
    assert hand.hurried and hand.stays(levels(flips, 9.0)).edges >= 4
    assert not hand.hurried


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


def test_presses_that_got_out_of_step_are_believed_in_none() -> None:
    """Steps of a decibel, too small to be seen one by one; after the sixth a flip was not pressed."""
    flips = [5.0 * nth for nth in range(1, 14)]
    for missed, problem in ((None, ""), (6, CONTRADICT)):
        hand = ByHand(0.0)
        for nth, at_s in enumerate(flips):
            if nth != missed:
                hand.pressed("switched", at_s + 0.3)
        stays = hand.stays(levels(flips, 1.0, 75.0, 0.4))
        assert not hand.seen and (stays.problem, bool(stays.each)) == (problem, not problem)


def test_a_load_is_marked_by_its_key_and_the_handling_left_out() -> None:
    hand = ByHand(0.0)
    hand.pressed("load", 20.0)
    hand.pressed("load", 35.0)
    stays = hand.stays(levels([], 0.0))
    assert hand.load_seen and not hand.on_load
    assert [stay.path for stay in stays.each] == [ANTENNA_BYPASS, LOAD_BYPASS, ANTENNA_BYPASS]
    assert stays.each[0].until_s == 16.0 and stays.each[1].from_s == 21.0


def test_a_relay_goes_out_and_in_with_the_load_now_and_then() -> None:
    """After two pairs of out and in for the first time, and then after each four; always beside the stage out."""
    order = relay_order(True)
    pair, with_load = [ANTENNA_BYPASS, ANTENNA_STAGE], [ANTENNA_BYPASS, LOAD_BYPASS]
    first = [*pair * 2, *with_load, *pair * 4, *with_load, *pair * 4, *with_load]
    assert [next(order) for _ in range(len(first))] == first
    plain = relay_order(False)
    assert [next(plain) for _ in range(14)] == [ANTENNA_BYPASS, ANTENNA_STAGE] * 7
    log = ByRelay()
    log.moved(ANTENNA_BYPASS, 0.0, 0.1)
    log.moved(ANTENNA_STAGE, 2.0, 2.2)
    assert log.stays(levels([], 0.0)).each[0] == Stay(ANTENNA_BYPASS, 0.1, 2.0)


@pytest.mark.parametrize("tau_s", [0.0, 0.4])
def test_a_stage_that_comes_up_after_its_relay_is_left_out_until_it_is_there(tau_s: float) -> None:
    """Stays of six seconds; the stage's noise comes up to 10 dB above the other's like a charged capacitor."""
    at_s = np.arange(0.0, 72.0, 0.1)
    there = 1.0 - np.exp(-(at_s % 6.0) / tau_s) if tau_s else np.ones(len(at_s))
    level = np.where((at_s // 6.0) % 2 == 1, 20.0 * np.log10(1.0 + 2.162 * there), 0.0)
    log = ByRelay()
    for nth in range(12):
        log.moved(ANTENNA_STAGE if nth % 2 else ANTENNA_BYPASS, 6.0 * nth - 0.1 * (nth > 0), 6.0 * nth)
    stays = log.stays(Levels(0.0, 0.1, level, level))
    assert len(stays.each) == 12 and not stays.problem
    for stay in stays.each:
        late_s = stay.from_s % 6.0
        if tau_s and stay.path == ANTENNA_STAGE:
            assert 3.7 * tau_s < late_s < 7.0 * tau_s  # within 0.15 dB from 3.7 tau on
        else:
            assert late_s == pytest.approx(0.0, abs=1e-9)


def test_a_stage_that_is_left_before_it_is_there_is_told() -> None:
    at_s = np.arange(0.0, 72.0, 0.1)
    level = np.where((at_s // 6.0) % 2 == 1, 2.0 * (at_s % 6.0), 0.0)
    log = ByRelay()
    for nth in range(12):
        log.moved(ANTENNA_STAGE if nth % 2 else ANTENNA_BYPASS, 6.0 * nth, 6.0 * nth)
    assert log.stays(Levels(0.0, 0.1, level, level)) == Stays((), NEVER_AT_REST)


def claimed(signs: list[float], every_s: float = 5.0, gap_s: float = 0.5) -> tuple[list[Stay], Levels]:
    """Stays by turns from out on, and noise that steps by so much at each change, in where the sign says so."""
    level = np.zeros(int((len(signs) + 1) * every_s / 0.1))
    at_s = np.arange(len(level)) * 0.1
    stays = [Stay(ANTENNA_BYPASS, 0.0, every_s - gap_s)]
    for nth, sign in enumerate(signs, 1):
        into = nth % 2 == 1
        level[at_s >= nth * every_s - 1e-6] += sign if into else -sign
        stays.append(
            Stay(ANTENNA_STAGE if into else ANTENNA_BYPASS, nth * every_s, (nth + 1) * every_s - gap_s)
        )
    return stays, Levels(0.0, 0.1, level, level)


SLIGHT = [1.0, 1.1, 0.9, 1.05]


@pytest.mark.parametrize(
    ("signs", "slipped"),
    [
        ([*SLIGHT, *[-each for each in SLIGHT]], True),
        ([*[-each for each in SLIGHT], *SLIGHT], True),
        ([*SLIGHT, *SLIGHT], False),
        ([*SLIGHT[:3], *[-each for each in SLIGHT]], False),  # four on each side are the fewest
        ([*SLIGHT, *[-each for each in SLIGHT[:3]]], False),
        ([*SLIGHT, -3.0, 3.1, -3.05, 2.95], False),  # nothing sure on the other side
        ([*[-each for each in SLIGHT], -3.0, 3.1, -3.05, 2.95], False),
        ([*[1.4, 0.6] * 2, *[-1.4, -0.6] * 2], True),  # means of 1 known to 0.23
        ([*[1.5, 0.5] * 2, *[-1.5, -0.5] * 2], False),  # known to 0.29
        ([*[0.21] * 4, *[-0.21] * 4], True),  # and never to less than a twentieth of a decibel
        ([*[0.19] * 4, *[-0.19] * 4], False),
    ],
)
def test_four_changes_on_each_side_that_go_the_other_way_are_a_slip(
    signs: list[float], slipped: bool
) -> None:
    assert out_of_step(*claimed(signs)) == slipped


def test_a_step_is_that_of_the_three_seconds_beside_it_and_needs_half_a_second_of_levels() -> None:
    """What lies further off does not count; of stays shorter than five levels nothing is told."""
    stays, heard = claimed([*SLIGHT, *[-each for each in SLIGHT]], every_s=20.0)
    far = heard.floor_db.copy()
    at_s = np.arange(len(far)) * 0.1
    for stay in stays:
        far[(at_s >= stay.from_s + 3.05) & (at_s < stay.until_s - 3.05)] += 30.0 * np.sin(stay.from_s)
    assert out_of_step(stays, Levels(0.0, 0.1, far, far))
    for kept_s, told in ((0.55, True), (0.35, False)):
        short = [Stay(stay.path, stay.from_s, stay.from_s + kept_s) for stay in stays]
        assert out_of_step(short, heard) == told
    loads = [
        Stay(LOAD_BYPASS if nth % 2 else stay.path, stay.from_s, stay.until_s)
        for nth, stay in enumerate(stays)
    ]
    assert not out_of_step(loads, heard)


@pytest.mark.parametrize("short", [0, 1])
def test_a_change_beside_a_stay_too_short_to_be_read_is_passed_over(short: int) -> None:
    """Stays of one route of a third of a second: neither what leads into one nor what leads out of it is told."""
    stays, heard = claimed([*SLIGHT * 2, *[-each for each in SLIGHT * 2]], every_s=10.0)
    assert out_of_step(stays, heard)
    cut = [
        Stay(stay.path, stay.from_s, stay.from_s + 0.35) if nth % 2 == short else stay
        for nth, stay in enumerate(stays)
    ]
    assert not out_of_step(cut, heard)


def test_steps_within_one_route_are_the_bands_own() -> None:
    stays, heard = claimed([*SLIGHT, *[-each for each in SLIGHT]])
    assert not out_of_step([Stay(ANTENNA_BYPASS, stay.from_s, stay.until_s) for stay in stays], heard)


def test_a_flip_that_the_whole_sound_tells_is_left_out_by_a_sixth_of_a_second_on_each_side() -> None:
    """Behind a gain control the floor stays and the whole sound steps by a decibel at each of six flips."""
    flips = [6.0 * nth for nth in range(1, 7)]
    at_s = np.arange(700) * EVERY_S
    total = 1.0 * (np.searchsorted(flips, at_s, side="right") % 2)
    hand = ByHand(0.0)
    for at in flips:
        hand.pressed("switched", at + 0.5)
    stays = hand.stays(Levels(0.0, EVERY_S, np.zeros(700), total))
    assert not hand.seen and len(stays.each) == 7
    for one, other in pairwise(stays.each):
        assert other.from_s - one.until_s == pytest.approx(0.32)
    middles = [(one.until_s + other.from_s) / 2 for one, other in pairwise(stays.each)]
    assert middles == pytest.approx(flips, abs=EVERY_S)


def test_steps_after_two_loads_lie_where_they_were_heard_too() -> None:
    hand = pressed(
        ByHand(0.0), ("switched", 5.3), ("switched", 10.3), ("load", 20.0), ("load", 35.0), ("switched", 45.3),
        ("switched", 50.3), ("load", 60.0), ("load", 75.0), ("switched", 85.3),
    )  # fmt: skip
    assert not hand.seen
    stays = hand.stays(levels([5.0, 10.0, 45.0, 50.0, 85.0], 6.0, 100.0))
    changes = [
        (one.until_s + other.from_s) / 2
        for one, other in pairwise(stays.each)
        if one.path.source == other.path.source == "antenna"
    ]
    assert hand.seen and changes == pytest.approx([5.0, 10.0, 45.0, 50.0, 85.0], abs=0.15)


def test_a_load_between_keeps_steps_at_their_own_time() -> None:
    """Flips at 5 and 10 s, the load from 20 to 35 s, flips at 45 and 50 s: the steps lie where they were heard."""
    hand = ByHand(0.0)
    flips = [5.0, 10.0, 45.0, 50.0]
    for at_s in flips[:2]:
        hand.pressed("switched", at_s + 0.4)
    hand.pressed("load", 20.0)
    hand.pressed("load", 35.0)
    for at_s in flips[2:]:
        hand.pressed("switched", at_s + 0.4)
    stays = hand.stays(levels(flips, 6.0))
    assert hand.seen and stays.edges == 4
    changes = [
        (one.until_s + other.from_s) / 2
        for one, other in pairwise(stays.each)
        if one.path.source == other.path.source == "antenna"
    ]
    assert changes == pytest.approx(flips, abs=0.15)
    assert [stay.path.source for stay in stays.each].count("load") == 1


def test_who_begins_with_noise_that_falls_has_the_stage_where_it_falls() -> None:
    """The test begins with the stage out, so the first step leads in, whichever way it goes."""
    hand = ByHand(0.0)
    flips = [5.0, 10.0, 15.0]
    for at_s in flips:
        hand.pressed("switched", at_s + 0.3)
    stays = hand.stays(levels(flips, -6.0))
    assert [stay.path for stay in stays.each] == [ANTENNA_BYPASS, ANTENNA_STAGE] * 2
    assert hand.stands == ANTENNA_STAGE and hand.last_s == pytest.approx(15.3)


def test_what_was_pressed_last_stands_until_steps_tell_otherwise() -> None:
    hand = ByHand(100.0)
    assert (hand.stands, hand.last_s, hand.on_load, hand.load_seen) == (ANTENNA_BYPASS, 100.0, False, False)
    hand.pressed("switched", 110.0)
    assert (hand.stands, hand.last_s) == (ANTENNA_STAGE, 110.0)
    hand.pressed("switched", 110.5)  # the same key twice
    assert hand.stands == ANTENNA_STAGE
    hand.pressed("load", 120.0)
    assert hand.on_load and not hand.load_seen and hand.stands.source == "load"
    hand.pressed("load", 130.0)
    assert not hand.on_load and hand.load_seen and hand.stands == ANTENNA_STAGE


def of(stays: Stays) -> list[tuple[str, str, float, float]]:
    return [
        (stay.path.source, stay.path.route, pytest.approx(stay.from_s), pytest.approx(stay.until_s))
        for stay in stays.each
    ]


def pressed(hand: ByHand, *presses: tuple[str, float]) -> ByHand:
    for key, at_s in presses:
        hand.pressed(key, at_s)  # type: ignore[arg-type]
    return hand


def test_presses_alone_leave_out_what_a_hand_may_be_early_and_late_by() -> None:
    """1.2 s before and 0.4 s after a flip; 4 s before and 1 s after a change of cables. The stage may be switched
    while the load is there, or while cables are changed: then it stands otherwise once they are on again."""
    hand = pressed(
        ByHand(0.0), ("switched", 5.0), ("switched", 10.0), ("load", 20.0), ("switched", 26.0), ("load", 35.0),
        ("switched", 40.0), ("load", 50.0), ("load", 60.0), ("switched", 60.5),
    )  # fmt: skip
    assert of(hand.stays(levels([], 0.0, 70.0, 0.01))) == [
        ("antenna", "bypass", 0.0, 3.8),
        ("antenna", "stage", 5.4, 8.8),
        ("antenna", "bypass", 10.4, 16.0),
        ("load", "bypass", 21.0, 24.8),
        ("load", "stage", 26.4, 31.0),
        ("antenna", "stage", 36.0, 38.8),
        ("antenna", "bypass", 40.4, 46.0),
        ("load", "bypass", 51.0, 56.0),
        ("antenna", "stage", 61.0, np.inf),
    ]
    assert not hand.seen and hand.stands == ANTENNA_STAGE and hand.last_s == 61.0


def test_a_stage_that_is_switched_while_the_load_is_there_stands_so_afterwards() -> None:
    """By its press alone, since no step of the antenna tells of it."""
    hand = pressed(
        ByHand(0.0), ("switched", 5.0), ("switched", 10.0), ("load", 20.0), ("switched", 27.0), ("load", 35.0),
        ("switched", 45.0),
    )  # fmt: skip
    stays = hand.stays(levels([5.0, 10.0, 27.0, 45.0], 6.0))
    assert hand.seen and not stays.problem
    assert [(stay.path.source, stay.path.route) for stay in stays.each] == [
        ("antenna", "bypass"), ("antenna", "stage"), ("antenna", "bypass"), ("load", "bypass"), ("load", "stage"),
        ("antenna", "stage"), ("antenna", "bypass"),
    ]  # fmt: skip
    assert [stay.from_s for stay in stays.each[3:5]] == pytest.approx([21.0, 27.4])
    assert [stay.until_s for stay in stays.each[3:5]] == pytest.approx([25.8, 31.0])


def test_a_stage_that_goes_to_and_fro_with_the_load_on_is_known_by_its_presses_alone() -> None:
    """Six flips of a load that nobody asked for: their noise is not the antenna's, so no step of it tells them."""
    while_on = [("switched", 30.0 + 5.0 * nth) for nth in range(6)]
    hand = pressed(
        ByHand(0.0),
        ("switched", 5.0),
        ("switched", 10.0),
        ("load", 20.0),
        *while_on,
        ("load", 70.0),
        ("switched", 80.0),
    )
    stays = hand.stays(levels([5.0, 10.0, 80.0], 6.0, 100.0))
    assert hand.seen
    on_load = [stay for stay in stays.each if stay.path.source == "load"]
    assert [stay.path.route for stay in on_load] == ["bypass", "stage"] * 3 + ["bypass"]
    assert [stay.from_s for stay in on_load[1:]] == pytest.approx([at_s + 0.4 for _, at_s in while_on])
    assert [stay.until_s for stay in on_load[:-1]] == pytest.approx([at_s - 1.2 for _, at_s in while_on])


@pytest.mark.parametrize(("apart_s", "kept"), [(0.69, 1), (0.71, 2)])
def test_two_presses_of_a_key_within_seven_tenths_are_one(apart_s: float, kept: int) -> None:
    for key in ("switched", "load"):
        assert len(single([Press(key, 1.0), Press(key, 1.0 + apart_s)])) == kept  # type: ignore[arg-type]
    chain = [Press("switched", 1.0), Press("switched", 1.6), Press("switched", 1.8)]
    assert [press.at_s for press in single(chain)] == [1.0, 1.8]  # held against the last that counted


def test_a_cable_changed_sooner_than_it_can_be_leaves_nothing_before_it() -> None:
    hand = pressed(ByHand(100.0), ("load", 102.0), ("load", 103.0))
    assert of(hand.stays(levels([], 0.0, 70.0, 0.01))) == [("antenna", "bypass", 104.0, np.inf)]


def test_a_press_claims_the_other_route_than_the_person_was_told_before() -> None:
    """From two and a half seconds after a step on the person has been told; a press sooner belongs to that step."""
    hand = ByHand(0.0)
    hand.pressed("switched", 5.0)
    assert hand.stands == ANTENNA_STAGE
    hand.pressed("switched", 8.0)
    assert hand.stands == ANTENNA_BYPASS
    hand = pressed(ByHand(0.0), ("switched", 5.0))
    hand.stays(levels([5.0], 6.0))
    assert hand.stands == ANTENNA_STAGE
    hand.pressed("switched", 6.0)  # once more for the flip that is known: it stands as it did
    assert hand.stands == ANTENNA_STAGE
    hand.pressed("switched", 12.0)
    assert hand.stands == ANTENNA_BYPASS and hand.last_s == 12.0


@pytest.mark.parametrize(("against", "believed"), [(3, True), (4, False)])
def test_seven_tenths_of_the_presses_have_to_go_with_the_steps(against: int, believed: bool) -> None:
    """Ten flips of 6 dB; before the last three or four a press was doubled far from any, so that what is claimed from
    there on is turned round."""
    flips = [10.0 * nth for nth in range(1, 11)]
    hand = ByHand(0.0)
    for nth, at_s in enumerate(flips):
        if nth == len(flips) - against:
            hand.pressed("switched", at_s - 5.0)
        hand.pressed("switched", at_s + 0.5)
    stays = hand.stays(levels(flips, 6.0, 110.0))
    assert (stays.problem == "") == believed and bool(stays.each) == believed
