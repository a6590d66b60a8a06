"""An attended A/B test as it goes: blocks and switching in, what a person sees and the result out. Pure.

The interval is watched, so it is valid at every look: the test may end the moment it decides.
"""

from dataclasses import dataclass
from math import inf
from typing import TYPE_CHECKING

from sweeper.ab import ABResult, NoNoise, Switched, Terms, compare
from sweeper.ab.intervals import FIRST_SHOWN
from sweeper.attended import advice, fitness
from sweeper.attended.by_hand import APART_S, TOO_FAST, ByHand
from sweeper.attended.curves import drawn, routes
from sweeper.attended.heard import Heard
from sweeper.attended.stays import ByRelay, Stays
from sweeper.attended.view import Attended, View
from sweeper.attended.witness import Witness
from sweeper.errors import UserFacingError
from sweeper.words import SignalPath

if TYPE_CHECKING:
    from drivers.contracts import Block

STAYS_EVERY_S = 0.9
AFTER_S = 1.0
"""Sound after a change before it is looked at."""
PACE_KNOWN, REACTION_S = 3, 2.0
"""Changes after which the pace is known; what reading, flipping and pressing take a person before that."""
LOOKED_EACH = 12
"""A look at every change at first, and whenever a twelfth more is there."""


@dataclass(frozen=True, slots=True)
class Asked:
    """What the test is about. `hz`: the carrier or dial as told; `gain_known`: AGC known to be off, None unknown.

    `every_s`: how long a stay lasts, by the relay or as the person is asked; `keys`: the person can press keys;
    `amplifies`: the stage is known to have gain.
    """

    seconds: float
    every_s: float
    by_hand: bool
    at: str | None = None
    hz: float | None = None
    dial_hz: float | None = None
    mode: str | None = None
    gain_known: bool | None = None
    confidence: float = 0.95
    worthwhile_db: float = 1.0
    keys: bool = False
    has_load: bool = False
    amplifies: bool = False


class Session:
    """One test, from `began_s` of the source's clock on. `away`: what is said while no sound comes; else empty."""

    def __init__(self, asked: Asked, began_s: float) -> None:
        self.asked, self.began_s = asked, began_s
        self.timeline: ByRelay | ByHand = ByHand(began_s) if asked.by_hand else ByRelay()
        self.heard = Heard(asked.dial_hz, asked.mode)
        self.result: ABResult | None = None
        self._why_not = ""
        self._stays = Stays(())
        self._looked = self._compared = 0
        self._stayed_s = began_s
        self.notes: list[str] = []
        self.away = ""
        self.witness: Witness | None = None

    def hear(self, block: "Block") -> None:
        """The next block. `UserFacingError` where what comes in can never be compared: silence, clipping."""
        self.heard.take(block)
        fitness.refuse(self.heard, self._stays)

    def look(self) -> None:
        """Compare anew if something was switched since the last look."""
        if self.heard.until_s < self._stayed_s + STAYS_EVERY_S:
            return
        self._stayed_s = self.heard.until_s
        self._stays = self.timeline.stays(self.heard.levels())
        changes = len(self._stays.each)
        due = self._looked + max(self._looked // LOOKED_EACH, 1)  # a look takes the longer the more there is
        if changes < due:
            return
        # the newest change counts once the sound after it is there
        settled = not self._stays.each or self.heard.until_s > self._stays.each[-1].from_s + AFTER_S
        if not settled:
            return
        self._looked = changes
        self._compare()

    def _compare(self) -> None:
        asked, stays = self.asked, self._stays
        self._compared = stays.edges
        terms = Terms(
            source="now",
            at=asked.at,
            hz=asked.hz,
            confidence=asked.confidence,
            worthwhile_db=asked.worthwhile_db,
            gain_known=asked.gain_known,
            watched=True,
            switched=tuple(
                Switched(max(round(stay.from_s - self.began_s, 3), 0.0), str(stay.path))
                for stay in stays.each
            ),
            seconds=self.elapsed_s,
            apart_s=APART_S if asked.by_hand else inf,
        )
        try:
            self.result, self._why_not = compare(self.heard.labelled(stays.each), terms), ""
        except NoNoise as why:
            self.result, self._why_not = None, str(why)

    @property
    def elapsed_s(self) -> float:
        return max(self.heard.until_s - self.began_s, 0.0)

    @property
    def edges(self) -> int:
        """Changes between in and out so far."""
        return self._stays.edges

    @property
    def decided(self) -> bool:
        """Whether the watched interval has its verdict."""
        return self.result is not None and self.result.verdict != "undecided" and not self._stays.problem

    @property
    def wants_load(self) -> bool:
        """Whether a load by hand would tell something now."""
        hand = self.timeline
        return (
            isinstance(hand, ByHand)
            and self.asked.keys
            and self.result is not None
            and self.result.noise_change_db is not None
            and self.edges >= advice.ENOUGH_FOR_LOAD
            and hand.stands.route == "bypass"
            and not hand.on_load
            and not hand.load_seen
        )

    def view(self, path: SignalPath, to: SignalPath | None, in_s: float | None) -> View:
        """How it is now: the chain at `path`, to go `to` in `in_s` seconds; half of one is now."""
        asked, result = self.asked, self.result
        in_s = 0.0 if in_s is not None and in_s <= 0.5 else in_s
        levels = routes(self.heard, self._stays.each, result)
        steps = fitness.steps_db(self._stays.each, self.heard.levels())
        follows = result is not None and "agc" in result.flags
        picture = drawn(self.heard, self._stays.each, levels)
        missing = advice.why_untold(result, self._why_not)
        # what was switched since is no reason why nothing is told
        edges = self.edges if self._compared >= FIRST_SHOWN else min(self.edges, FIRST_SHOWN - 1)
        anew = advice.begin_anew(edges, missing)
        return View(
            hz_dial=asked.hz,
            by_hand=asked.by_hand,
            elapsed_s=self.elapsed_s,
            left_s=max(asked.seconds - self.elapsed_s, 0.0),
            path=path,
            to=to,
            switch_in_s=in_s,
            edges=self.edges,
            planned=self._planned(),
            out=levels.out,
            within=levels.within,
            signal_change=None if result is None else result.gain_db,
            noise_change=None if result is None else result.noise_change_db,
            snr_change=None if result is None else result.snr_change_db,
            answer=advice.answer(result, edges, missing),
            sight=advice.sight(steps, fitness.over_card_db(self.heard), follows),
            next=anew
            or advice.next_step(
                by_hand=asked.by_hand,
                keys=asked.keys,
                path=path,
                in_s=in_s,
                every_s=asked.every_s,
                decided=self.decided and self.wants_load,
            ),
            hint=f"Or {advice.LOAD}" if self.wants_load and not (self.decided or anew) else "",
            still=advice.too_late(self.edges, self._planned(), asked.by_hand)
            or advice.still(result, self.elapsed_s, edges, missing),
            cap=advice.cap(result),
            trouble=self.away
            or self._too_fast
            or self._stays.problem
            or fitness.warning(self.heard)
            or self._turned_round(steps),
            hz=picture.hz,
            out_curve=picture.out,
            in_curve=picture.within,
            meter=None if self.witness is None else self.witness.told(),
        )

    @property
    def _too_fast(self) -> str:
        return TOO_FAST if isinstance(self.timeline, ByHand) and self.timeline.hurried else ""

    def _planned(self) -> int:
        """Changes that there is time for, at the pace of those so far."""
        asked, each_s = self.asked, self.asked.every_s + (REACTION_S if self.asked.by_hand else 0.0)
        if self.edges >= PACE_KNOWN:
            each_s = self.elapsed_s / self.edges
        return self.edges + max(int((asked.seconds - self.elapsed_s) / each_s), 0)

    def _turned_round(self, steps: list[float]) -> str:
        """By hand: noise that falls with the stage in may mean that it began with the stage in."""
        return advice.turned_round(steps, self.asked.amplifies) if self.asked.by_hand else ""

    def finish(self) -> Attended:
        """The result of all that was heard. `UserFacingError` where it allows none: one sentence, what to do."""
        self._stays = self.timeline.stays(self.heard.levels())
        if self._stays.problem:
            raise UserFacingError(self._stays.problem)
        round_about = self._turned_round(fitness.steps_db(self._stays.each, self.heard.levels()))
        if round_about and self.asked.amplifies:
            raise UserFacingError(f"{round_about} Nothing is claimed.")
        if self._stays.edges < FIRST_SHOWN:
            why = f"Nothing is claimed. {self._too_fast} Begin again." if self._too_fast else ""
            raise UserFacingError(why or advice.too_few(self._stays.edges, self.asked.by_hand))
        if not self.decided:  # what decided stays as it stood then
            self._compare()
        missing = advice.why_untold(self.result, self._why_not)
        fitness.enough(self.result, missing)
        assert self.result is not None  # or it was missing
        told = (
            round_about,
            advice.cap(self.result),
            "" if missing else advice.still(self.result, self.elapsed_s, self.edges, None),
            *self.notes,
        )
        return Attended(self.result, tuple(note for note in told if note))
