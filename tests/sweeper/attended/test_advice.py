"""What somebody at an A/B test is told, by numbers written down."""

from dataclasses import replace

import pytest

from sweeper.ab import ABResult, Interval, Untold
from sweeper.attended import advice
from sweeper.words import ANTENNA_BYPASS, ANTENNA_STAGE, LOAD_BYPASS, LOAD_STAGE

NOTHING = ABResult("now", None, None, (300.0, 2700.0), 60.0, 20, 0.95, 1.0, (), None, None, None, None, (),
                   "undecided", (), "")  # fmt: skip


def found(value: float, low: float, high: float, verdict: str = "undecided", **more: object) -> ABResult:
    return replace(NOTHING, snr_change_db=Interval(value, low, high), verdict=verdict, **more)  # type: ignore[arg-type]


def test_the_noise_has_to_stand_ten_decibels_over_the_cards() -> None:
    steps = [6.0, 6.1, 5.9, 6.0]
    assert advice.sight(steps, 9.9, False).startswith(
        "The receiver's noise stands 10 dB over the sound card's own"
    )
    for enough in (10.0, None):
        assert advice.sight(steps, enough, False).startswith(
            "This meter sees the switch: the noise steps by +6.0 dB"
        )


@pytest.mark.parametrize(
    ("steps", "said"),
    [
        ([5.0, 5.0, 5.0], ""),
        ([5.0, 5.0, 5.0, 5.0], "sees the switch: the noise steps by +5.0 dB"),
        ([-5.0, -5.0, -5.0, -5.0], "sees the switch: the noise steps by −5.0 dB"),
        ([0.31, 0.31, 0.31, 0.31], "sees the switch: the noise steps by +0.3 dB"),
        ([0.29, 0.29, 0.29, 0.29], "The noise stays as it is within 0.3 dB"),
        ([-0.29, -0.29, -0.29, -0.29], "The noise stays as it is within 0.3 dB"),
        # mean 1, standard deviation √(4·0.9/3): three errors are 1.64; with 0.1 in place of 0.9 they are 0.55
        ([1.0 - 0.9**0.5, 1.0 + 0.9**0.5] * 2, ""),
        ([1.0 - 0.1**0.5, 1.0 + 0.1**0.5] * 2, "sees the switch: the noise steps by +1.0 dB"),
        # mean 0, two errors 2·√(4·0.06/3)/2 = 0.28, or 0.33 with 0.08
        ([-(0.06**0.5), 0.06**0.5] * 2, "The noise stays as it is within 0.3 dB"),
        ([-(0.08**0.5), 0.08**0.5] * 2, ""),
    ],
)
def test_a_step_is_seen_from_three_standard_errors_on_and_none_within_two(
    steps: list[float], said: str
) -> None:
    told = advice.sight(steps, None, False)
    assert said in told and bool(said) == bool(told)


def test_a_gain_that_follows_the_signals_makes_a_step_a_least_one() -> None:
    assert "(at least: the receiver's gain follows" in advice.sight([3.0] * 4, None, True)
    assert "at least" not in advice.sight([3.0] * 4, None, False)


@pytest.mark.parametrize(
    ("steps", "told"), [([-1.1] * 4, True), ([-1.0] * 4, True), ([-0.9] * 4, False), ([-9.0] * 3, False),
     ([-9.0, -9.0, 8.0, 8.0], False)]
)  # fmt: skip
def test_noise_that_falls_by_a_decibel_with_the_stage_in_looks_turned_round(
    steps: list[float], told: bool
) -> None:
    assert ("begin again with the stage out" in advice.turned_round(steps, True)) == told
    assert ("right for an attenuator or a filter" in advice.turned_round(steps, False)) == told


FADES = Untold("the carrier fades", "go on", by_time=True)
AWAY = Untold("no carrier is there", "tune to one")


@pytest.mark.parametrize(
    ("edges", "said"),
    [(0, "Too early: 10 more switchings."), (8, "Too early: 2 more switchings."), (9, "Too early: 1 more switching.")],
)  # fmt: skip
def test_ten_switchings_come_before_an_answer(edges: int, said: str) -> None:
    assert advice.answer(None, edges, None) == advice.answer(NOTHING, edges, FADES) == said


def test_from_ten_switchings_on_a_missing_answer_has_its_reason_and_its_mend() -> None:
    assert advice.answer(NOTHING, 10, FADES) == "Nothing can be told yet: the carrier fades."
    assert advice.answer(NOTHING, 10, AWAY) == "Nothing can be told: no carrier is there."
    assert advice.still(NOTHING, 60.0, 10, FADES) == "Go on."
    assert advice.begin_anew(10, AWAY) == "Tune to one; then begin again."
    assert (
        advice.begin_anew(10, Untold("it left", "choose one, and begin again"))
        == "Choose one, and begin again."
    )
    assert advice.begin_anew(9, AWAY) == advice.begin_anew(10, FADES) == advice.begin_anew(10, None) == ""
    assert advice.answer(None, 30, None) == "Too early: 1 more switching."  # the newest is not looked at yet


def test_what_time_does_not_mend_is_told_before_ten_switchings() -> None:
    assert advice.answer(NOTHING, 4, AWAY) == "Too early: 6 more switchings; so far no carrier is there."
    assert advice.answer(NOTHING, 3, AWAY) == "Too early: 7 more switchings."
    assert advice.still(NOTHING, 60.0, 9, AWAY) == advice.still(NOTHING, 60.0, 9, FADES) == ""


def test_overload_comes_before_a_gain_that_was_found() -> None:
    overloaded = found(9.0, 8.0, 10.0, flags=("overload",))
    missing = advice.why_untold(overloaded, "")
    assert "it overloads" in advice.answer(overloaded, 30, missing)
    assert advice.begin_anew(30, missing).startswith("Leave the stage out here")
    assert advice.still(overloaded, 60.0, 30, missing) == ""


def test_where_nothing_could_be_compared_that_is_the_reason() -> None:
    assert advice.why_untold(None, "") is None
    for why_not, said in (
        ("nothing but silence", "silent"),
        ("too narrow a pass band", "filter"),
        ("x", "x"),
    ):
        missing = advice.why_untold(found(1.0, 0.0, 2.0), why_not)
        assert missing is not None and said in missing.why and missing.do


@pytest.mark.parametrize(
    ("verdict", "said"),
    [("stage", "It helps: S/N +2.0 dB (+1.5 to +2.5), here, now."), ("bypass", "It harms: S/N +2.0 dB"),
     ("either", "It makes no difference that matters: S/N"), ("undecided", "Not settled yet: S/N")],
)  # fmt: skip
def test_an_answer_says_what_was_found(verdict: str, said: str) -> None:
    assert advice.answer(found(2.0, 1.5, 2.5, verdict), 3, None).startswith(said)


@pytest.mark.parametrize(
    ("value", "gap"), [(3.0, 2.0), (-3.0, 2.0), (0.2, 0.8), (-0.2, 0.8), (1.0, 0.0), (-1.0, 0.0)]
)
def test_the_gap_is_how_far_the_middle_lies_from_what_matters(value: float, gap: float) -> None:
    assert advice.gap_db(Interval(value, value - 9, value + 9), 1.0) == pytest.approx(gap)


@pytest.mark.parametrize(
    ("result", "elapsed_s", "said"),
    [
        # the half-width has to fall from 4 to 2, so four times as long: three more minutes after one
        (found(3.0, -1.0, 7.0), 60.0, "About 3 more minutes would settle it"),
        (found(3.0, -1.0, 7.0), 20.0, "About 1 more minute would"),
        (found(3.0, 2.0, 4.0), 60.0, "About 1 more minute would"),
        (found(3.0, -1.0, 7.0), 601.0, "More time alone will hardly settle it"),  # 30.05 minutes
        (found(3.0, -1.0, 7.0), 599.0, "About 30 more minutes"),
        (found(1.05, 0.95, 1.15), 60.0, "More time alone will hardly settle it"),
        (found(3.0, -1.0, 7.0, "stage"), 60.0, ""),
        (None, 60.0, ""),
    ],
)
def test_how_much_longer_it_takes_goes_by_the_root_of_time(
    result: ABResult | None, elapsed_s: float, said: str
) -> None:
    told = advice.still(result, elapsed_s, 20, None)
    assert told.startswith(said) and bool(told) == bool(said)


@pytest.mark.parametrize(
    ("more", "said"),
    [
        ({}, "; a steadier carrier would do more."),
        ({"noise_change_db": Interval(1.0, 0.9, 1.1)}, "; a steadier carrier or the load would do more."),
        ({"noise_change_db": Interval(1.0, 0.9, 1.1), "noise_rise_db": Interval(9.0, 8.0, 10.0)},
         "; a steadier carrier would do more."),
        ({"flags": ("agc",)}, "; AGC off or a steadier carrier would do more."),
        ({"flags": ("gain-unknown",)}, "; AGC off and that said (--agc-off, or agc_off: true) or a steadier carrier"),
    ],
)  # fmt: skip
def test_what_does_more_than_time_goes_by_what_is_known(more: dict[str, object], said: str) -> None:
    """A load tells nothing where the gain moves, and nothing new where it was heard."""
    assert said in advice.still(found(1.05, 0.95, 1.15, **more), 60.0, 20, None)


def test_a_gain_control_makes_it_take_longer() -> None:
    told = advice.still(found(3.0, -1.0, 7.0, flags=("agc",)), 60.0, 20, None)
    assert told.endswith("as far as it goes now. With AGC off it would be fewer.")


@pytest.mark.parametrize(
    ("rise_db", "cap_db", "said"),
    [
        (
            3.0103,
            3.0,
            "No stage can bring more than 3.0 dB here at this hour: noise from outside is 0 dB over your own.",
        ),
        (
            10.4139,
            0.4,
            "No stage can bring more than 0.4 dB here at this hour: noise from outside is 10 dB over",
        ),
        (0.01, None, "The load is about as loud as the antenna"),
        (-1.0, 20.0, "noise from outside is −30 dB over your own."),
    ],
)
def test_the_cap_is_told_with_the_noise_from_outside_over_ones_own(
    rise_db: float, cap_db: float | None, said: str
) -> None:
    """A rise of 3.01 dB is a doubling: as much from outside as of one's own."""
    assert said in advice.cap(replace(NOTHING, noise_rise_db=Interval(rise_db, rise_db, 20), cap_db=cap_db))
    assert advice.cap(None) == advice.cap(NOTHING) == ""


def test_a_load_that_was_heard_briefly_caps_by_what_is_sure_of_it() -> None:
    """A cap of 3.1 dB beside 9 dB over one's own, which caps at 0.5 dB, could not be understood."""
    brief = replace(NOTHING, noise_rise_db=Interval(10.0, 3.0103, 17.0), cap_db=3.0)
    assert advice.cap(brief).endswith(
        "3.0 dB here at this hour: noise from outside is at least 0 dB over your own."
    )


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        ({"by_hand": False}, "Nothing to do: the relay switches every 5 s. Leave the dial alone."),
        ({"path": LOAD_STAGE}, "Switch OUT now, then press the space bar: the load is wanted"),
        ({"path": LOAD_BYPASS}, "Wait ten seconds, put the antenna back, then press L."),
        ({"path": LOAD_BYPASS, "keys": False}, "Put the antenna back."),
        (
            {"decided": True},
            "Leave the stage out, put 50 Ω in place of the antenna, then press L: it tells what",
        ),
        ({}, "Switch IN now, then press the space bar."),
        ({"path": ANTENNA_STAGE}, "Switch OUT now, then press the space bar."),
        ({"in_s": 0.0}, "Switch IN now"),
        ({"in_s": 2.6}, "Wait: switch IN in 3 s, then press the space bar."),
        ({"in_s": 2.6, "keys": False, "path": ANTENNA_STAGE}, "Wait: switch OUT in 3 s."),
        ({"keys": False}, "Switch IN now."),
    ],
)
def test_what_to_do_next(asked: dict[str, object], said: str) -> None:
    usual: dict[str, object] = {
        "by_hand": True, "keys": True, "path": ANTENNA_BYPASS, "in_s": None, "every_s": 5.0, "decided": False,
    }  # fmt: skip
    assert advice.next_step(**usual | asked).startswith(said)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("edges", "by_hand", "said"),
    [(0, True, "the switch was never flipped, as"), (1, True, "the switch was flipped once, as"),
     (2, True, "the switch was flipped 2 times, as"), (5, False, "the relay switched 5 times, and")],
)  # fmt: skip
def test_too_few_changes_are_counted(edges: int, by_hand: bool, said: str) -> None:
    told = advice.too_few(edges, by_hand)
    assert said in told and f"an answer takes 10 {'flips' if by_hand else 'switchings'} at the least" in told


@pytest.mark.parametrize(
    ("edges", "planned", "by_hand", "said"),
    [(3, 10, True, ""), (3, 9, True, "good for 6 more switchings, too few for an answer: press q and begin again"),
     (3, 4, False, "good for 1 more switching, too few for an answer: begin again with more minutes."),
     (3, 3, True, "good for 0 more switchings")],
)  # fmt: skip
def test_time_that_will_not_do_is_told_while_it_runs(
    edges: int, planned: int, by_hand: bool, said: str
) -> None:
    told = advice.too_late(edges, planned, by_hand)
    assert said in told and bool(told) == bool(said)
