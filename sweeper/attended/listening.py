"""Listen and switch until it is decided, time is up, or somebody stops: the one loop of an attended test."""

import threading
from collections.abc import Callable, Iterator
from contextlib import suppress
from importlib import import_module
from queue import Empty, SimpleQueue
from typing import Literal, Protocol

from drivers.contracts import Block, SampleSource, Switch
from drivers.errors import BadReply, CalledOff, LinkLost, LinkTimeout, Unsupported
from sweeper.attended.by_hand import ByHand, Key
from sweeper.attended.heard import BLOCK_S
from sweeper.attended.session import Session
from sweeper.attended.stays import ByRelay
from sweeper.attended.view import View
from sweeper.clock import Clock
from sweeper.errors import UserFacingError
from sweeper.words import SignalPath

TOLD_EVERY_S = 0.5
BROKEN_OFF = (BadReply, LinkLost, LinkTimeout, Unsupported)
"""What sound that breaks off ends in; the last where no input of its name is left."""
PATIENCE_S, AGAIN_S = 10.0, 0.3
"""So long sound that breaks off midway is waited for: a busy computer, a card that is plugged in again."""
ASKED_EVERY_S = 0.5
UNEVEN, GOLDEN = 0.3, 0.6180339887
"""Stays are uneven by this share of their length, in an order that never repeats: fading that happens to keep time with
the switch would look like a change that the stage makes."""
LOAD_WAIT_S = 20.0
"""So long a decided test by hand waits for somebody to put the load in place of the antenna."""
LOAD_STAY_S = 5.0
WITNESS_EVERY_S = 1.0
"""So often, and so long after a flip, the meter is looked at where a person switches."""

Pressed = SimpleQueue[tuple[Key | Literal["stop"], float]]
"""(``switched``, ``load`` or ``stop``; when, by the clock), from a keyboard or a page."""


class Hands(Protocol):
    """Whoever switches."""

    def turn(self) -> bool:
        """Do what is due by now; False when somebody wants to end."""
        ...

    def seen(self, session: Session) -> View:
        """The moment as it is."""
        ...

    def waits(self, session: Session) -> bool:
        """Whether a decided test goes on for a moment."""
        ...


class RelayHands:
    """The station's relay, by the clock. `still_ours` raises where the receiver is no longer ours: on the air, or its
    dial turned; it is asked every half second, so that no stage stays in a transmitter's way.
    """

    def __init__(
        self, session: Session, switch: Switch, order: Iterator[SignalPath], settle_s: float, clock: Clock,
        still_ours: Callable[[], None] = lambda: None, pressed: Pressed | None = None,
    ) -> None:  # fmt: skip
        assert isinstance(session.timeline, ByRelay)
        self._timeline, self._every_s = session.timeline, session.asked.every_s
        self._witness = session.witness
        self._switch, self._order, self._settle_s, self._clock = switch, order, settle_s, clock
        self._still_ours, self._pressed = still_ours, pressed
        self._path, self._to = next(order), next(order)
        self._turns = 0
        self._due_s, self._asked_s = 0.0, clock.monotonic()
        self._set(self._path)

    def turn(self) -> bool:
        now_s = self._clock.monotonic()
        if now_s >= min(self._due_s, self._asked_s + ASKED_EVERY_S):
            self._asked_s = now_s
            self._still_ours()
        if now_s >= self._due_s:
            if self._witness is not None:
                self._witness.look(self._path)  # the stay is over: the meter has settled
            self._path, self._to = self._to, next(self._order)
            self._set(self._path)
        return self._pressed is None or "stop" not in (key for key, _ in _taken(self._pressed))

    def _set(self, path: SignalPath) -> None:
        told_s = self._clock.monotonic()
        self._switch.select(str(path))
        settled_s = self._clock.monotonic() + self._settle_s
        self._timeline.moved(path, told_s, settled_s)
        self._turns += 1
        self._due_s = settled_s + self._every_s * (1.0 + UNEVEN * ((self._turns * GOLDEN) % 1.0 - 0.5))

    def seen(self, session: Session) -> View:
        return session.view(self._path, self._to, max(self._due_s - self._clock.monotonic(), 0.0))

    def waits(self, session: Session) -> bool:
        return False


class PersonHands:
    """Somebody at the switch, who presses keys or lets the steps speak."""

    def __init__(self, session: Session, pressed: Pressed, clock: Clock) -> None:
        assert isinstance(session.timeline, ByHand)
        self._timeline, self._every_s = session.timeline, session.asked.every_s
        self._witness, self._looked_s = session.witness, clock.monotonic()
        self._pressed, self._clock = pressed, clock
        self._decided_s: float | None = None

    def turn(self) -> bool:
        for key, at_s in _taken(self._pressed):
            if key == "stop":
                return False
            self._timeline.pressed(key, at_s)
        now_s = self._clock.monotonic()
        if (
            self._witness is not None
            and now_s >= max(self._looked_s, self._timeline.last_s) + WITNESS_EVERY_S
        ):
            self._looked_s = now_s
            self._witness.look(self._timeline.stands)
        return True

    def seen(self, session: Session) -> View:
        path = self._timeline.stands
        to = SignalPath(path.source, "stage" if path.route == "bypass" else "bypass")
        in_s = self._timeline.last_s + self._every_s - self._clock.monotonic()
        return session.view(path, None if path.source == "load" else to, max(in_s, 0.0))

    def waits(self, session: Session) -> bool:
        now_s = self._clock.monotonic()
        self._decided_s = now_s if self._decided_s is None else self._decided_s
        if self._timeline.on_load:
            return True
        if self._timeline.load_seen:
            return now_s < self._timeline.last_s + LOAD_STAY_S
        return session.wants_load and now_s < self._decided_s + LOAD_WAIT_S


def _taken(pressed: Pressed) -> Iterator[tuple[Key | Literal["stop"], float]]:
    while True:
        try:
            yield pressed.get_nowait()
        except Empty:
            return


def attend(
    source: SampleSource,
    session: Session,
    hands: Hands,
    clock: Clock,
    stop: threading.Event,
    told: Callable[[View], None],
) -> None:
    """Go on until it is decided, time is up, somebody stops, or `stop` is set. `RigError` of source and switch,
    `UserFacingError` where sound that broke off midway stays away.
    """
    told(hands.seen(session))
    told_s = clock.monotonic() - TOLD_EVERY_S  # the first that is heard is shown at once
    with suppress(CalledOff):  # whoever set `stop`
        for block in _heard(source, session, hands, clock, stop):
            if block is not None:
                session.hear(block)
                session.look()
            if session.decided and not hands.waits(session):
                break
            if clock.monotonic() >= told_s + TOLD_EVERY_S:
                told_s = clock.monotonic()
                told(hands.seen(session))
                import_module(
                    "scipy.special"
                )  # the comparison's; slow to load, so only once something is shown
    told(hands.seen(session))


def _heard(
    source: SampleSource, session: Session, hands: Hands, clock: Clock, stop: threading.Event
) -> Iterator[Block | None]:
    """What comes in while the test lasts, None while nothing does; before each what is due at the switch is done."""
    broke_s: float | None = None
    while not stop.is_set() and session.elapsed_s < session.asked.seconds and hands.turn():
        try:
            block = source.take(BLOCK_S, session.began_s)
        except BROKEN_OFF as fault:
            broke_s = clock.monotonic() if broke_s is None else broke_s
            if session.heard.seconds == 0.0:
                raise
            if clock.monotonic() > broke_s + PATIENCE_S:
                raise UserFacingError(
                    f"The sound broke off and stayed away, so nothing is claimed. {fault} Begin again once "
                    "it is back."
                ) from fault
            session.away = (
                f"The sound broke off: see to plug and cable; it has {PATIENCE_S:.0f} s to come back."
            )
            yield None
            clock.sleep(AGAIN_S, stop)
            continue
        broke_s, session.away = None, ""
        yield block
