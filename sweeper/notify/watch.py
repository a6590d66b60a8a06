"""When there is something to tell: the end of a night, and what needs a hand. Decides only; it sends nothing.

Called on the measuring thread, so that nothing in here may wait.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Literal

from sweeper.clock import Clock
from sweeper.daemon.run.observers import Observer
from sweeper.daemon.run.states import Doing
from sweeper.store import day_of
from sweeper.words import Hand, PassRecord, Reading

NIGHT_IS_OVER = timedelta(hours=2)
"""So far away the next pass is not one of the same night."""
SILENCE = timedelta(hours=1)
"""So long without a reading while passes were due, somebody has to look."""
MOST_A_NIGHT = 5
"""Messages at once: a fault that changes its words must not fill a phone."""


@dataclass(frozen=True, slots=True)
class Message:
    """`night` is the day of solar noon on which the night began, whose findings go with a morning's message."""

    kind: Literal["morning", "at once"]
    sentence: str
    night: date | None = None


class Watch(Observer):
    """Follows the passes. `told_last` is the night of the last morning message, which `tells` keeps."""

    def __init__(
        self,
        clock: Clock,
        longitude: float,
        send: Callable[[Message], None],
        *,
        morning: bool = True,
        at_once: bool = True,
        told_last: date | None = None,
        tells: Callable[[date], None] = lambda night: None,
    ) -> None:
        self._clock, self._longitude, self._send = clock, longitude, send
        self._morning, self._at_once = morning, at_once
        self._told_last, self._tells = told_last, tells
        self._measured: date | None = None  # the night of the last pass that came about here
        self._silent_since: datetime | None = None
        self._why = ""
        self._said: set[str] = set()

    def finished(self, record: PassRecord, readings: Sequence[Reading]) -> None:
        night = day_of(record.started, self._longitude)
        if night != self._measured:
            if self._measured is not None:
                self._tell_of(self._measured)  # measured without a break, so that nothing was waited for
            self._said.clear()
            self._measured = night
        if record.outcome == "done":
            self._silent_since = None
        elif record.outcome == "failed":
            self._silent_since = self._silent_since or record.started
            self._why = record.because
            if record.hand:
                self._hand(f"Pass {record.number} failed: {record.because}")
        if "relays" in record.left_over:
            self._hand("The relays could not be put to rest.")
        self._look()

    def doing(self, doing: Doing, because: str, next_pass: datetime | None) -> None:
        if doing in ("paused", "yielding"):
            self._silent_since = None  # a person knows
        night = self._measured
        if doing != "waiting" or next_pass is None or night is None:
            return
        over = next_pass - self._clock.now() > NIGHT_IS_OVER or day_of(next_pass, self._longitude) != night
        if over:
            self._silent_since = None  # nothing is due until then
            self._tell_of(night)

    def alive(self) -> None:
        self._look()

    def trouble(self, sentence: str, hand: Hand = "") -> None:
        if hand:
            self._hand(sentence)

    def _tell_of(self, night: date) -> None:
        if self._morning and (self._told_last is None or night > self._told_last):
            self._told_last = night
            self._tells(night)
            self._send(Message("morning", "", night))

    def _look(self) -> None:
        since = self._silent_since
        if since is not None and self._clock.now() - since >= SILENCE:
            self._silent_since = None
            self._hand(f"No reading for an hour. {self._why}", "an hour")

    def _hand(self, sentence: str, alike: str = "") -> None:
        """Tell it at once, but the same only once a night, whatever numbers are in it."""
        told = alike or "".join(sign for sign in sentence if not sign.isdigit())
        if self._at_once and told not in self._said and len(self._said) < MOST_A_NIGHT:
            self._said.add(told)
            self._send(Message("at once", sentence))
