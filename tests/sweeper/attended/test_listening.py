"""The loop of an attended test and both kinds of hands, at a clock that jumps: what is done when, to the tenth."""

import threading
from collections.abc import Iterator
from dataclasses import dataclass, field
from itertools import cycle, pairwise
from types import SimpleNamespace

import numpy as np
import pytest

from drivers.contracts import Block
from drivers.errors import (
    BadReply,
    CalledOff,
    LinkLost,
    LinkTimeout,
    Refused,
    RigError,
    Transmitting,
    Unsupported,
)
from sweeper.attended.levels import Levels
from sweeper.attended.listening import PersonHands, Pressed, RelayHands, attend
from sweeper.attended.session import Asked, Session
from sweeper.attended.stays import relay_order
from sweeper.clock import JumpingClock
from sweeper.errors import UserFacingError
from sweeper.words import ANTENNA_BYPASS, ANTENNA_STAGE, LOAD_BYPASS, SignalPath
from tests.sweeper.attended.on_air_now import START

MOVES_S, SETTLE_S, EVERY_S = 0.05, 0.1, 2.0


class Bench:
    """A clock, and a relay that takes its time; `done` is everything in its order, with the instant."""

    def __init__(self) -> None:
        self.clock = JumpingClock(START)
        self.clock.sleep(100.0)
        self.pressed = Pressed()
        self.done: list[tuple[str, float]] = []

    def note(self, what: str) -> None:
        self.done.append((what, self.clock.monotonic()))

    def select(self, path: str) -> int:
        self.note(path)
        self.clock.sleep(MOVES_S)
        return 1

    def at(self, *what: str) -> list[float]:
        return [at_s for each, at_s in self.done if each in what]

    def session(self, by_hand: bool, witness: bool = False, **more: object) -> Session:
        asked = Asked(seconds=60.0, every_s=EVERY_S, by_hand=by_hand, **more)  # type: ignore[arg-type]
        session = Session(asked, self.clock.monotonic())
        if witness:
            session.witness = SimpleNamespace(look=lambda path: self.note(f"look {path}"))  # type: ignore[assignment]
        return session

    def relay(self, order: Iterator[SignalPath] | None = None, **more: bool) -> tuple[Session, RelayHands]:
        session = self.session(False, **more)
        return session, RelayHands(
            session, self, order or relay_order(False), SETTLE_S, self.clock,  # type: ignore[arg-type]
            lambda: self.note("ours"), self.pressed,
        )  # fmt: skip


def turns(bench: Bench, hands: RelayHands | PersonHands, seconds: float, every_s: float = 0.15) -> bool:
    """Whether it still goes on after so long, asked as often as blocks of sound come."""
    end_s = bench.clock.monotonic() + seconds
    while bench.clock.monotonic() < end_s:
        if not hands.turn():
            return False
        bench.clock.sleep(every_s)
    return True


def test_a_relay_stays_unevenly_about_as_long_as_was_asked_and_each_stay_begins_when_it_has_settled() -> None:
    bench = Bench()
    session, hands = bench.relay()
    assert turns(bench, hands, 200.0, every_s=0.01)
    told_s = bench.at("antenna-bypass", "antenna-stage")
    nothing = np.zeros(0)
    stays = session.timeline.stays(Levels(0.0, 0.1, nothing, nothing)).each
    assert [stay.path for stay in stays[:4]] == [ANTENNA_BYPASS, ANTENNA_STAGE] * 2
    assert [stay.from_s for stay in stays] == pytest.approx([at_s + MOVES_S + SETTLE_S for at_s in told_s])
    assert [stay.until_s for stay in stays[:-1]] == pytest.approx(told_s[1:])
    lasted = [stay.until_s - stay.from_s for stay in stays[:-1]]
    assert len(lasted) > 80
    assert EVERY_S * 0.85 - 1e-6 <= min(lasted) < EVERY_S * 0.88
    assert EVERY_S * 1.12 < max(lasted) <= EVERY_S * 1.15 + 0.011
    assert np.mean(lasted) == pytest.approx(EVERY_S, abs=0.03)
    # nothing that repeats: no lag at which the lengths come again
    repeats = [np.allclose(lasted[lag:], lasted[:-lag], atol=0.012) for lag in range(1, 40)]
    assert not any(repeats)


def test_a_receiver_is_asked_every_half_second_and_right_before_the_relay_moves() -> None:
    bench = Bench()
    _, hands = bench.relay()
    assert turns(bench, hands, 20.0, every_s=0.01)
    asked_s = bench.at("ours")
    gaps = [later - earlier for earlier, later in pairwise(asked_s)]
    assert max(gaps) <= 0.5 + MOVES_S + 0.011 and np.median(gaps) >= 0.49
    assert asked_s[0] - 100.0 <= 0.5 + MOVES_S + 0.011
    before = [one for (one, _), (other, _) in pairwise(bench.done) if other.startswith("antenna")]
    assert set(before) == {"ours"}


def test_where_the_receiver_is_ours_no_more_the_relay_moves_no_more() -> None:
    bench = Bench()
    session = bench.session(False)
    keyed: list[bool] = []

    def still_ours() -> None:
        if keyed:
            raise Transmitting("receiver", "its transmitter is on.")

    hands = RelayHands(session, bench, relay_order(False), SETTLE_S, bench.clock, still_ours)  # type: ignore[arg-type]
    assert turns(bench, hands, 1.0)
    keyed.append(True)
    with pytest.raises(Transmitting):
        turns(bench, hands, 0.7)
    assert bench.at("antenna-stage") == []


def test_the_meter_is_looked_at_as_each_stay_ends_through_the_path_that_ends() -> None:
    bench = Bench()
    _, hands = bench.relay(witness=True)
    turns(bench, hands, 9.0)
    done = [what for what, _ in bench.done if what != "ours"]
    assert done[:5] == [
        "antenna-bypass", "look antenna-bypass", "antenna-stage", "look antenna-stage", "antenna-bypass",
    ]  # fmt: skip


def test_a_relay_is_seen_with_where_it_goes_next_and_when_and_ends_by_the_key_alone() -> None:
    bench = Bench()
    session, hands = bench.relay(cycle([ANTENNA_BYPASS, LOAD_BYPASS, ANTENNA_STAGE]))
    began = hands.seen(session)
    assert (began.path, began.to) == (ANTENNA_BYPASS, LOAD_BYPASS)
    assert began.switch_in_s is not None and 1.7 + SETTLE_S < began.switch_in_s < 2.3 + SETTLE_S
    bench.clock.sleep(1.0)
    later = hands.seen(session).switch_in_s
    assert later == pytest.approx(began.switch_in_s - 1.0)
    bench.clock.sleep(5.0)
    assert hands.seen(session).switch_in_s == 0.0
    assert hands.turn() and hands.seen(session).path == LOAD_BYPASS
    assert not hands.waits(session)
    bench.pressed.put(("switched", 0.0))
    assert hands.turn()
    bench.pressed.put(("load", 0.0))
    bench.pressed.put(("stop", 0.0))
    assert not hands.turn()


def test_keys_of_a_person_go_to_the_timeline_with_their_instant_up_to_the_one_that_stops() -> None:
    bench = Bench()
    session = bench.session(True)
    hands = PersonHands(session, bench.pressed, bench.clock)
    bench.pressed.put(("switched", 103.25))
    assert hands.turn()
    assert (session.timeline.stands, session.timeline.last_s) == (ANTENNA_STAGE, 103.25)  # type: ignore[union-attr]
    bench.pressed.put(("stop", 105.0))
    bench.pressed.put(("switched", 106.0))
    assert not hands.turn()
    assert session.timeline.last_s == 103.25  # type: ignore[union-attr]


def test_beside_a_person_the_meter_is_looked_at_each_second_and_not_within_one_of_a_flip() -> None:
    bench = Bench()
    hands = PersonHands(bench.session(True, witness=True), bench.pressed, bench.clock)
    turns(bench, hands, 3.125, every_s=0.125)
    assert bench.at("look antenna-bypass") == [101.0, 102.0, 103.0]
    bench.pressed.put(("switched", bench.clock.monotonic()))
    flipped_s = bench.clock.monotonic()
    turns(bench, hands, 2.125, every_s=0.125)
    assert bench.at("look antenna-stage") == [flipped_s + 1.0, flipped_s + 2.0]


def test_a_person_is_told_the_other_side_and_how_long_to_wait_and_with_the_load_on_no_side() -> None:
    bench = Bench()
    session = bench.session(True)
    hands = PersonHands(session, bench.pressed, bench.clock)
    bench.clock.sleep(0.5)
    seen = hands.seen(session)
    assert (seen.path, seen.to, seen.switch_in_s) == (ANTENNA_BYPASS, ANTENNA_STAGE, pytest.approx(1.5))
    bench.clock.sleep(4.0)
    bench.pressed.put(("switched", 104.5))
    hands.turn()
    seen = hands.seen(session)
    assert (seen.path, seen.to, seen.switch_in_s) == (ANTENNA_STAGE, ANTENNA_BYPASS, pytest.approx(2.0))
    bench.clock.sleep(9.0)
    assert hands.turn() and hands.seen(session).switch_in_s == 0.0  # without a meter beside it, too
    bench.pressed.put(("load", 113.0))
    hands.turn()
    assert hands.seen(session).to is None


def test_a_decided_test_waits_twenty_seconds_for_a_load_that_is_wanted_and_five_after_it_was_taken_off() -> (
    None
):
    bench = Bench()
    session = bench.session(True)
    hands = PersonHands(session, bench.pressed, bench.clock)
    unwanted = SimpleNamespace(wants_load=False)
    assert not hands.waits(unwanted)  # type: ignore[arg-type]
    hands = PersonHands(session, bench.pressed, bench.clock)
    wanted = SimpleNamespace(wants_load=True)
    assert hands.waits(wanted)  # type: ignore[arg-type]
    bench.clock.sleep(19.9)
    assert hands.waits(wanted)  # type: ignore[arg-type]
    bench.clock.sleep(0.2)
    assert not hands.waits(wanted)  # type: ignore[arg-type]
    session.timeline.pressed("load", bench.clock.monotonic())  # type: ignore[union-attr]
    bench.clock.sleep(60.0)
    assert hands.waits(unwanted)  # type: ignore[arg-type]
    session.timeline.pressed("load", bench.clock.monotonic())  # type: ignore[union-attr]
    bench.clock.sleep(4.9)
    assert hands.waits(unwanted)  # type: ignore[arg-type]
    bench.clock.sleep(0.2)
    assert not hands.waits(wanted)  # type: ignore[arg-type]


@dataclass
class Going:
    """A source that may break, hands that do nothing, and a test that ends when told: what the loop holds together."""

    clock: JumpingClock
    seconds: float = 30.0
    breaks: dict[float, RigError] = field(default_factory=dict)
    """From so many seconds on, what the source raises."""
    mended_s: float = np.inf
    decided_s: float = np.inf
    waits_s: float = 0.0
    turns_until_s: float = np.inf
    asked_for: set[tuple[float, float]] = field(default_factory=set)
    tries_s: list[float] = field(default_factory=list)
    views_s: list[float] = field(default_factory=list)
    looks: int = 0
    away: str = ""

    def __post_init__(self) -> None:
        self.began_s = self.clock.monotonic()
        self.asked = SimpleNamespace(seconds=self.seconds)
        self.heard = SimpleNamespace(seconds=0.0)
        self.stop = threading.Event()

    @property
    def elapsed_s(self) -> float:
        return self.clock.monotonic() - self.began_s

    @property
    def decided(self) -> bool:
        return self.elapsed_s >= self.decided_s

    def take(self, seconds: float, after_s: float) -> Block:
        self.asked_for.add((seconds, after_s))
        self.tries_s.append(self.elapsed_s)
        if self.elapsed_s < self.mended_s:
            for from_s, error in self.breaks.items():
                if self.elapsed_s >= from_s:
                    raise error
        self.clock.sleep(seconds)
        return Block(np.zeros(1, np.float32), 12_000.0, (0.0, 0.0))

    def hear(self, block: Block) -> None:
        self.heard.seconds += 0.15

    def look(self) -> None:
        self.looks += 1

    def turn(self) -> bool:
        return self.elapsed_s < self.turns_until_s

    def waits(self, session: object) -> bool:
        return self.elapsed_s < self.decided_s + self.waits_s

    def seen(self, session: object) -> float:
        return self.elapsed_s

    def go(self) -> float:
        """For how long it went."""
        attend(self, self, self, self.clock, self.stop, self.views_s.append)  # type: ignore[arg-type]
        return self.elapsed_s


@pytest.fixture
def clock() -> JumpingClock:
    started = JumpingClock(START)
    started.sleep(50.0)
    return started


def test_blocks_of_fifteen_hundredths_follow_each_other_from_the_beginning_until_time_is_up(
    clock: JumpingClock,
) -> None:
    going = Going(clock)
    assert going.go() == pytest.approx(30.0, abs=0.16)
    assert going.asked_for == {(0.15, 50.0)}
    assert going.looks == len(going.tries_s) == 200


def test_views_come_at_the_beginning_with_the_first_sound_each_half_second_and_at_the_end(
    clock: JumpingClock,
) -> None:
    going = Going(clock, seconds=6.0)
    ended_s = going.go()
    assert going.views_s[0] == 0.0 and going.views_s[-1] == ended_s
    gaps = [later - earlier for earlier, later in pairwise(going.views_s[1:-1])]
    assert going.views_s[1] == pytest.approx(0.15)
    assert gaps == pytest.approx([0.6] * len(gaps)) and len(gaps) >= 9


@pytest.mark.parametrize(("waits_s", "ends_s"), [(0.0, 10.0), (4.0, 14.0)])
def test_it_ends_when_it_is_decided_and_nobody_waits(
    clock: JumpingClock, waits_s: float, ends_s: float
) -> None:
    assert Going(clock, decided_s=10.0, waits_s=waits_s).go() == pytest.approx(ends_s, abs=0.16)


def test_it_ends_when_hands_end_it_or_it_is_told_to_stop(clock: JumpingClock) -> None:
    assert Going(clock, turns_until_s=7.0).go() == pytest.approx(7.0, abs=0.16)
    ordered = Going(clock)
    ordered.stop.set()
    assert ordered.go() == 0.0 and not ordered.tries_s and len(ordered.views_s) == 2
    called_off = Going(clock, breaks={3.0: CalledOff("sound input", "stopped.")})
    assert called_off.go() == pytest.approx(3.0, abs=0.16)
    assert called_off.views_s[-1] == called_off.elapsed_s


@pytest.mark.parametrize("fault", [BadReply, LinkLost, LinkTimeout, Unsupported])
def test_sound_that_breaks_off_midway_is_waited_for_ten_seconds(
    clock: JumpingClock, fault: type[RigError]
) -> None:
    gone = Going(clock, breaks={10.0: fault("sound input", "it is gone.")})
    with pytest.raises(
        UserFacingError, match=r"nothing is claimed\. sound input: it is gone\. Begin again once it is back"
    ):
        gone.go()
    assert "see to plug and cable" in gone.away and gone.views_s[-1] > 19.0
    tries_s = [at_s for at_s in gone.tries_s if at_s >= 10.0]
    assert tries_s[-1] - tries_s[0] == pytest.approx(10.2, abs=0.16)
    assert [b - a for a, b in pairwise(tries_s)] == pytest.approx([0.3] * (len(tries_s) - 1))
    back = Going(clock, breaks={10.0: fault("sound input", "it is gone.")}, mended_s=14.5)
    assert back.go() == pytest.approx(30.0, abs=0.16)


def test_patience_begins_anew_with_each_time_it_breaks(clock: JumpingClock) -> None:
    going = Going(clock)
    take = going.take

    def now_and_then(seconds: float, after_s: float) -> Block:
        if 3.0 <= going.elapsed_s % 8.0 < 7.0:
            raise LinkTimeout("sound input", "nothing comes.")
        return take(seconds, after_s)

    going.take = now_and_then  # type: ignore[method-assign]
    assert going.go() == pytest.approx(30.0, abs=0.31)


@pytest.mark.parametrize(
    ("from_s", "error"),
    [(0.0, LinkLost("sound input", "it is gone.")), (5.0, Refused("sound input", "it said no."))],
    ids=["from the first moment", "of another kind"],
)
def test_what_waiting_does_not_mend_ends_it_at_once(
    clock: JumpingClock, from_s: float, error: RigError
) -> None:
    going = Going(clock, breaks={from_s: error})
    with pytest.raises(type(error)):
        going.go()
    assert going.elapsed_s == pytest.approx(from_s, abs=0.16)
