"""When an attended test looks, what it takes for decided, when it wants the load, and what it refuses to claim."""

from dataclasses import replace
from math import inf
from types import SimpleNamespace

import numpy as np
import pytest

from drivers.contracts import Block
from sweeper.ab import ABResult, Interval, Terms
from sweeper.attended.by_hand import APART_S
from sweeper.attended.levels import Levels
from sweeper.attended.session import Asked, Session
from sweeper.attended.stays import Stay, Stays
from sweeper.errors import UserFacingError
from sweeper.words import ANTENNA_BYPASS, ANTENNA_STAGE, LOAD_BYPASS
from tests.sweeper.attended.test_advice import found
from tests.sweeper.attended.test_curves import heard, power

BEGAN_S, RATE_HZ = 500.0, 12_000
ASKED = Asked(seconds=60.0, every_s=2.0, by_hand=False, gain_known=True)


def changes(count: int, every_s: float = 1.0, problem: str = "") -> Stays:
    """So many stays by turns from out on."""
    paths = (ANTENNA_BYPASS, ANTENNA_STAGE)
    each = [
        Stay(paths[nth % 2], BEGAN_S + nth * every_s, BEGAN_S + (nth + 1) * every_s) for nth in range(count)
    ]
    return Stays(tuple(each), problem)


class Told:
    """What a session asks of sound and switching, as told; `compared` is of how many stays spectra were asked."""

    def __init__(self, asked: Asked = ASKED, floor_db: float = -60.0) -> None:
        self.session = Session(asked, BEGAN_S)
        self.now = Stays(())
        self.compared: list[int] = []
        self.asked_stays = 0
        levels = Levels(BEGAN_S, 0.1, np.full(900, floor_db), np.full(900, floor_db))
        self.heard = SimpleNamespace(
            **vars(heard(power(1e-3, 10.0), power(1e-3, 10.0))), until_s=BEGAN_S, levels=lambda: levels,
            labelled=self.labelled, seconds=30.0, silent_s=0.0, clipped_s=0.0, spectrum=lambda: None,
        )  # fmt: skip
        self.session.heard = self.heard  # type: ignore[assignment]
        if not asked.by_hand:
            self.session.timeline = self  # type: ignore[assignment]

    def stays(self, levels: Levels) -> Stays:
        self.asked_stays += 1
        return self.now

    def labelled(self, stays: tuple[Stay, ...]) -> list[object]:
        self.compared.append(len(stays))
        return []

    def look(self, until_s: float, now: Stays) -> None:
        self.heard.until_s, self.now = until_s, now
        self.session.look()


def test_each_change_is_looked_at_and_from_two_dozen_on_each_twelfth_more() -> None:
    told = Told()
    for count in range(1, 50):
        told.look(BEGAN_S + count + 0.5, changes(count))
    assert told.compared == [*range(1, 25), 26, 28, 30, 32, 34, 36, 39, 42, 45, 48]


def test_the_newest_change_counts_once_a_second_of_sound_after_it_is_there() -> None:
    told = Told()
    told.look(BEGAN_S + 4.9, changes(5))
    told.look(BEGAN_S + 4.99, changes(5))
    assert told.compared == []
    told.look(BEGAN_S + 6.0, changes(5))
    assert told.compared == [5]
    told.look(BEGAN_S + 7.0, changes(5))
    assert told.compared == [5]  # nothing new


def test_switching_is_looked_for_each_nine_tenths_of_a_second() -> None:
    told = Told()
    for tenth in range(1, 91):
        told.look(BEGAN_S + tenth / 10, changes(1))
    assert told.asked_stays in (9, 10)


def test_decided_is_what_has_a_verdict_and_stays_that_are_believed() -> None:
    told = Told()
    session = told.session
    assert not session.decided
    session.result = found(3.0, 2.0, 4.0)
    assert not session.decided
    session.result = found(3.0, 2.0, 4.0, "stage")
    assert session.decided
    told.look(BEGAN_S + 1.0, changes(0, problem="Presses and steps do not go together."))
    assert not session.decided


def test_what_has_been_heard_counts_from_the_beginning() -> None:
    told = Told()
    told.heard.until_s = 0.0
    assert told.session.elapsed_s == 0.0
    told.heard.until_s = BEGAN_S + 12.0
    view = told.session.view(ANTENNA_BYPASS, ANTENNA_STAGE, 1.0)
    assert (view.elapsed_s, view.left_s) == (12.0, 48.0)
    told.heard.until_s = BEGAN_S + 70.0
    assert told.session.view(ANTENNA_BYPASS, ANTENNA_STAGE, 1.0).left_s == 0.0


@pytest.mark.parametrize(
    ("by_hand", "edges", "elapsed_s", "planned"),
    [(False, 0, 12.0, 24), (True, 0, 12.0, 12), (False, 2, 12.0, 2 + 24), (False, 3, 12.0, 3 + 12),
     (True, 4, 12.0, 4 + 16), (False, 10, 59.0, 10), (False, 10, 70.0, 10)],
)  # fmt: skip
def test_as_many_changes_are_planned_as_there_is_time_for_at_the_pace_of_those_so_far(
    by_hand: bool, edges: int, elapsed_s: float, planned: int
) -> None:
    """48 s are left: of two seconds each, by hand of four; from three changes on as fast as those came."""
    told = Told(replace(ASKED, by_hand=by_hand))
    told.session._stays = changes(edges + 1)
    told.heard.until_s = BEGAN_S + elapsed_s
    assert told.session.view(ANTENNA_BYPASS, ANTENNA_STAGE, 1.0).planned == planned


HAND = replace(ASKED, by_hand=True, keys=True)
KNOWN = found(3.0, -1.0, 7.0, noise_change_db=Interval(2.0, 1.0, 3.0))


def by_hand(edges: int = 8, asked: Asked = HAND, result: object = KNOWN) -> Told:
    """With so many flips, the stage out at the end of an even number."""
    told = Told(asked)
    told.session.result = result  # type: ignore[assignment]
    told.session._stays = changes(edges + 1)
    told.heard.until_s = BEGAN_S + edges + 1
    return told


def test_the_load_is_wanted_by_hand_with_keys_the_stage_out_and_eight_changes_behind() -> None:
    assert by_hand().session.wants_load
    for other in (
        by_hand(7), by_hand(asked=replace(HAND, keys=False)), by_hand(asked=ASKED), by_hand(result=None),
        by_hand(result=found(3.0, -1.0, 7.0)),
    ):  # fmt: skip
        assert not other.session.wants_load
    switched = by_hand()
    switched.session.timeline.pressed("switched", BEGAN_S + 9.0)  # type: ignore[union-attr]
    assert not switched.session.wants_load
    seen = by_hand()
    for at_s in (10.0, 20.0):  # in its place, and away again
        seen.session.timeline.pressed("load", BEGAN_S + at_s)  # type: ignore[union-attr]
        assert not seen.session.wants_load


@pytest.mark.parametrize(("in_s", "said"), [(0.5, "Switch IN now"), (0.51, "in 1 s"), (1.4, "in 1 s")])
def test_less_than_half_a_second_is_now(in_s: float, said: str) -> None:
    view = by_hand().session.view(ANTENNA_BYPASS, ANTENNA_STAGE, in_s)
    assert said in view.next and (view.switch_in_s == 0.0) == (in_s == 0.5)


def test_a_wanted_load_is_a_hint_before_it_is_decided_and_the_next_step_afterwards() -> None:
    told = by_hand()
    view = told.session.view(ANTENNA_BYPASS, ANTENNA_STAGE, 0.0)
    assert view.hint.startswith("Or leave the stage out") and view.next.startswith("Switch IN now")
    told.session.result = replace(KNOWN, verdict="stage")
    view = told.session.view(ANTENNA_BYPASS, ANTENNA_STAGE, 0.0)
    assert view.hint == "" and view.next.startswith("Leave the stage out")
    few = by_hand(7).session.view(ANTENNA_BYPASS, ANTENNA_STAGE, 0.0)
    assert few.hint == "" and few.next.startswith("Switch IN now")


def test_who_flips_too_fast_is_told_on_the_way_and_at_the_end() -> None:
    told = by_hand(2)
    assert told.session.view(ANTENNA_BYPASS, ANTENNA_STAGE, 0.0).trouble == ""
    for nth in range(6):
        told.session.timeline.pressed("switched", BEGAN_S + nth)  # type: ignore[union-attr]
    assert "leave three seconds" in told.session.view(ANTENNA_BYPASS, ANTENNA_STAGE, 0.0).trouble
    with pytest.raises(UserFacingError, match=r"Nothing is claimed\. You switch faster .* Begin again\."):
        told.session.finish()


@pytest.mark.parametrize(("asked", "apart_s"), [(HAND, APART_S), (ASKED, inf)], ids=["hand", "relay"])
def test_sides_far_apart_are_left_out_by_hand_and_compared_by_relay(
    asked: Asked, apart_s: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A relay that takes long to settle says when it has; a hand may be anywhere in between."""
    terms: list[Terms] = []

    def compared(sequence: object, asked_for: Terms) -> ABResult:
        terms.append(asked_for)
        return KNOWN

    monkeypatch.setattr("sweeper.attended.session.compare", compared)
    told = Told(asked)
    told.look(BEGAN_S + 12.0, changes(11))
    assert [each.apart_s for each in terms] == [apart_s]


def test_where_going_on_mends_nothing_no_load_is_asked_for() -> None:
    told = by_hand(20, result=replace(KNOWN, flags=("overload",)))
    told.session._compared = 20
    view = told.session.view(ANTENNA_BYPASS, ANTENNA_STAGE, 0.0)
    assert view.next.startswith("Leave the stage out here") and view.hint == ""


def test_a_view_tells_trouble_with_the_stays_before_anything_else() -> None:
    told = Told()
    told.heard.clipped_s = 1.0
    assert "Peaks clip" in told.session.view(ANTENNA_BYPASS, None, None).trouble
    told.look(BEGAN_S + 1.0, changes(0, problem="They do not go together."))
    assert told.session.view(ANTENNA_BYPASS, None, None).trouble == "They do not go together."


def test_a_view_says_at_least_where_the_receivers_gain_follows() -> None:
    told = Told(floor_db=-60.0)
    floor = np.repeat([-60.0, -54.0] * 45, 10)
    told.heard.levels = lambda: Levels(BEGAN_S, 0.1, floor, floor)
    told.session._stays = changes(12)
    told.heard.until_s = BEGAN_S + 12.0
    told.session.result = replace(KNOWN, flags=("agc",))
    assert "(at least" in told.session.view(ANTENNA_BYPASS, None, None).sight
    told.session.result = KNOWN
    assert "at least" not in told.session.view(ANTENNA_BYPASS, None, None).sight


def falling(asked: Asked, count: int = 21) -> Told:
    """Noise that falls by 6 dB with what is taken for the stage in."""
    told = Told(asked)
    floor = np.repeat([-54.0, -60.0] * 45, 10)
    told.heard.levels = lambda: Levels(BEGAN_S, 0.1, floor, floor)
    told.session.timeline = told  # type: ignore[assignment]
    told.heard.until_s, told.now = BEGAN_S + count, changes(count)
    return told


def test_noise_that_falls_with_a_stage_that_has_gain_claims_nothing_by_hand() -> None:
    gain = replace(HAND, amplifies=True)
    with pytest.raises(UserFacingError, match=r"other way round.* Nothing is claimed"):
        falling(gain).session.finish()
    filtered = falling(HAND)
    filtered.session.result = found(3.0, 2.0, 4.0, "stage")
    (note,) = filtered.session.finish().notes
    assert "the answer is the other way round" in note
    by_relay = falling(replace(ASKED, amplifies=True))
    by_relay.session.result = found(3.0, 2.0, 4.0, "stage")
    assert by_relay.session.finish().notes == ()
    assert falling(HAND).session.view(ANTENNA_BYPASS, None, None).trouble == ""  # not looked at yet


@pytest.mark.parametrize(("count", "said"), [(10, "switched 9 times"), (11, "all that came in was silent")])
def test_ten_changes_are_the_fewest_from_which_anything_is_claimed(count: int, said: str) -> None:
    told = Told()
    told.heard.until_s, told.now = BEGAN_S + count, changes(count)
    with pytest.raises(UserFacingError, match=said):
        told.session.finish()


def test_stays_that_are_not_believed_claim_nothing() -> None:
    told = Told()
    told.session.result = found(3.0, 2.0, 4.0, "stage")
    told.now = changes(20, problem="They do not go together.")
    with pytest.raises(UserFacingError, match="They do not go together"):
        told.session.finish()


def test_what_decided_stays_as_it_stood_and_notes_are_told_with_it() -> None:
    told = Told()
    told.heard.until_s, told.now = BEGAN_S + 20.0, changes(20)
    told.session.result = found(3.0, 2.0, 4.0, "stage")
    told.session.notes.append("Not known of the receiver: noise blanker.")
    attended = told.session.finish()
    assert attended.result is told.session.result and told.compared == []
    assert attended.notes == ("Not known of the receiver: noise blanker.",)


def sounding(session: Session, seconds: float, gain_db: float = 6.0) -> None:
    """Noise with a carrier, and a relay that moves each second; the stage lifts the carrier by so much."""
    rng = np.random.default_rng(5)
    for nth in range(int(seconds)):
        path = ANTENNA_STAGE if nth % 2 else ANTENNA_BYPASS
        at_s = BEGAN_S + nth
        session.timeline.moved(path, at_s, at_s + 0.0204)  # type: ignore[union-attr]
        time = nth + np.arange(RATE_HZ) / RATE_HZ
        level = 0.03 * 10 ** (gain_db / 20 * (nth % 2))
        sound = 0.01 * rng.standard_normal(RATE_HZ) + level * np.sin(2 * np.pi * 1000.0 * time)
        session.hear(
            Block(sound.astype(np.float32), float(RATE_HZ), (at_s, at_s + 1.0), (0,) if not nth else ())
        )


def test_whoever_stops_between_two_looks_gets_all_that_was_heard() -> None:
    """Nothing was looked at on the way: the end compares, and says when the relay moved by the test's own time."""
    session = Session(ASKED, BEGAN_S)
    sounding(session, 16)
    assert session.result is None
    result = session.finish().result
    assert result.snr_change_db is not None and result.snr_change_db.value == pytest.approx(6.0, abs=0.5)
    assert [one.at_s for one in result.switched][:3] == [0.02, 1.02, 2.02]  # to a millisecond
    assert result.edges == 15 and result.seconds == pytest.approx(16.0)


def test_a_load_is_no_part_of_how_often_the_stage_was_switched() -> None:
    each = (*changes(3).each, Stay(LOAD_BYPASS, BEGAN_S + 3), Stay(ANTENNA_BYPASS, BEGAN_S + 4))
    assert Stays(each).edges == 2


def test_of_a_test_nothing_is_taken_for_granted_that_nobody_said() -> None:
    """No keys, no load, no gain of the stage, and a receiver whose gain control may be on."""
    plain = Asked(seconds=60.0, every_s=2.0, by_hand=True)
    assert not (plain.keys or plain.has_load or plain.amplifies)
    assert {plain.at, plain.hz, plain.dial_hz, plain.mode, plain.gain_known} == {None}
