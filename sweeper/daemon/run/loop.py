"""A station left alone: passes when the schedule says so, giving way to people, and housekeeping in between.

Every instant of the schedule ends in a record: done, skipped because, failed because. Relay life alone
thins the schedule itself.
"""

import math
from abc import ABC, abstractmethod
from datetime import date, datetime, timedelta

from sweeper.daemon.rig import relay_life
from sweeper.daemon.run.campaign import LOOK_S, Campaign, leave
from sweeper.daemon.run.orders import PAUSED_BY
from sweeper.daemon.run.schedule_cursor import NextAfter, ScheduleCursor, passes_a_day
from sweeper.daemon.run.states import Doing, state_of
from sweeper.store import StoreError, day_of
from sweeper.words import PassRecord

PAUSED = "paused"
"""Under this key the store keeps whether a person has paused the station, across restarts."""

RESTORING = "the relays go to rest, and the receiver back to its saved state"

FIRST_AGAIN_S = 2.0
LAST_AGAIN_S = 120.0
"""Without a schedule, how long after a pass that was not done the next one is tried; doubling from first to last."""

SETTLE_AT_LEAST_S = 300.0
"""What could not be restored is tried again at least this often."""

IDLE_LOOK_S = 15.0
"""How long to wait before another look at a receiver that somebody uses."""

EXERCISE_MARGIN = timedelta(minutes=2)
"""Idle contacts are exercised only when the next pass is at least this far away."""


def keep_schedule(campaign: Campaign, next_after: NextAfter, until: datetime | None = None) -> None:
    """Measure at the instants of `next_after` until there are none, `until` is past, or somebody asks to stop.

    `StoreError` when passes could not be stored to the end.
    """
    _run(_Scheduled(campaign, next_after, until))


def keep_measuring(campaign: Campaign, passes: int | None = None, until: datetime | None = None) -> None:
    """Measure pass after pass: `passes` of them, or until `until` is past or somebody asks to stop.

    `StoreError` when passes could not be stored to the end.
    """
    _run(_Continuous(campaign, passes, until))


def _run(loop: "_Loop") -> None:
    try:
        loop.go()
    finally:
        leave(loop.campaign)
    loop.campaign.end()


class _Loop(ABC):
    """A run under way: turn after turn, what the table of states says. How passes come due, its children know."""

    tell_faults = True

    def __init__(self, campaign: Campaign) -> None:
        self.campaign = campaign
        self.clock = campaign.clock
        self.orders = campaign.orders
        self._because = ""
        self._kept_pause = False
        self._tidied_on: date | None = None
        self._settle_at_s = 0.0
        self._settle_wait_s = LOOK_S

    @abstractmethod
    def over(self) -> bool:
        """Whether nothing will be due any more."""

    @abstractmethod
    def due(self) -> bool:
        """Whether a pass is due now."""

    def upcoming(self) -> datetime | None:
        """When the next pass will be due, where that is known."""
        return None

    @abstractmethod
    def remaining_s(self) -> float:
        """How long to wait for the next pass, at most."""

    def why_waiting(self) -> str:
        """What a person should know of the waiting; mostly nothing."""
        return ""

    def put_off_s(self) -> float:
        """How long a pass that is due may be put off yet; 0 or less when it is to be left out."""
        return math.inf

    @abstractmethod
    def left_out(self, because: str) -> None:
        """The pass that is due does not come about."""

    @abstractmethod
    def measured(self, record: PassRecord | None) -> None:
        """The pass that was due came to its record; None when the store could not even be asked for its number."""

    @abstractmethod
    def new_day(self, now: datetime) -> None:
        """What is due once a day beside the days' files."""

    def somebody_there(self) -> str:
        """Why the receiver is left alone; empty when nobody needs it."""
        return self.campaign.somebody_there()

    def go(self) -> None:
        """Until it is over or somebody asks to stop."""
        self._say("starting", RESTORING)
        self._settle()
        if self.campaign.store.recall(PAUSED):
            self.orders.pause()
        self.begun()
        while self._turn() != "stopping":
            pass
        self._say("stopping", RESTORING)

    @abstractmethod
    def begun(self) -> None:
        """After the station was restored, before the first turn."""

    def _turn(self) -> Doing:
        self._heed()
        self._between()
        doing = state_of(
            self.orders.stopping or self.over(), self.orders.paused, self.due(), lambda: self._in_use() != ""
        )
        match doing:
            case "paused":
                self._say(doing, PAUSED_BY, self.upcoming())
                if self.due():
                    self.left_out(PAUSED_BY)
                else:
                    self.clock.sleep(min(self.remaining_s(), LOOK_S), self.orders.wake)
            case "waiting":
                self._say(doing, self.why_waiting(), self.upcoming())
                self.clock.sleep(min(self.remaining_s(), LOOK_S), self.orders.wake)
            case "yielding":
                self._say(doing, self._because)
                left_s = min(self.put_off_s(), IDLE_LOOK_S)
                if left_s <= 0 or self.clock.sleep(left_s, self.orders.wake):
                    self.left_out(self._because)
                self.campaign.observer.alive()
            case "measuring":
                self._say(doing, "")
                self.measured(self._attempt())
        return doing

    def _between(self) -> None:
        self._housekeeping()

    def _in_use(self) -> str:
        self._because = self.somebody_there()
        return self._because

    def _attempt(self) -> PassRecord | None:
        try:
            return self.campaign.attempt()
        except StoreError as broken:
            self.campaign.observer.trouble(str(broken), broken.hand)
            return None

    def _heed(self) -> None:
        """Take note of what people ordered; a pause is kept across restarts."""
        self.orders.heed()
        if self._kept_pause != self.orders.paused:
            self._kept_pause = self.orders.paused
            try:
                self.campaign.store.remember(PAUSED, self._kept_pause)
            except StoreError as full:
                self.campaign.observer.trouble(str(full), full.hand)

    def _housekeeping(self) -> None:
        """What is due between passes: left-overs, unwritten passes, the day before, idle contacts."""
        campaign, now = self.campaign, self.clock.now()
        campaign.observer.alive()
        self._settle_again()
        campaign.recording.write()
        today = day_of(now, campaign.station.station.longitude)
        if today != self._tidied_on:
            if campaign.finish_days():
                self._tidied_on = today
            self.new_day(now)
        upcoming = self.upcoming()
        left_alone = self.orders.paused or campaign.receiver_idle.quiet
        if not left_alone and (upcoming is None or upcoming - now > EXERCISE_MARGIN):
            campaign.exercise()

    def _settle(self) -> None:
        for fault in self.campaign.settle():
            if self.tell_faults:
                self.campaign.observer.trouble(str(fault), fault.hand)

    def _settle_again(self) -> None:
        """What a pass could not restore is tried again, soon and then less often."""
        now_s = self.clock.monotonic()
        if self.campaign.settled:
            self._settle_wait_s = LOOK_S
            self._settle_at_s = now_s
            return
        if now_s >= self._settle_at_s:
            self._settle()
            self._settle_at_s = self.clock.monotonic() + self._settle_wait_s
            self._settle_wait_s = min(self._settle_wait_s * 2, SETTLE_AT_LEAST_S)

    def _say(self, doing: Doing, because: str, next_pass: datetime | None = None) -> None:
        self.campaign.observer.doing(doing, because, next_pass)


class _Scheduled(_Loop):
    """Passes at the instants of a schedule; each ends in a record."""

    def __init__(self, campaign: Campaign, next_after: NextAfter, until: datetime | None) -> None:
        super().__init__(campaign)
        self._next_after = next_after
        self._until = until
        self._cursor = ScheduleCursor(next_after, campaign.clock)
        self._instant: datetime | None = None  # the one whose pass is due and has no record yet

    def _between(self) -> None:
        if self._instant is None:  # not while a pass is put off: somebody is at the receiver
            self._housekeeping()
            self._notice_step()

    def over(self) -> bool:
        instant = self.upcoming()
        if self._instant is not None:
            return False
        return instant is None or (self._until is not None and instant > self._until)

    def due(self) -> bool:
        instant = self._cursor.upcoming()
        if self._instant is None and instant is not None and instant <= self.clock.now():
            self._instant = instant
            self._cursor.took(instant)
        return self._instant is not None

    def upcoming(self) -> datetime | None:
        return self._cursor.upcoming()

    def remaining_s(self) -> float:
        instant = self.upcoming()
        return (instant - self.clock.now()).total_seconds() if instant is not None else 0.0

    def why_waiting(self) -> str:
        if self._cursor.every == 1:
            return ""
        return (
            f"only one pass in {self._cursor.every} is measured, so that the relays last as long as planned"
        )

    def put_off_s(self) -> float:
        following = self._cursor.following(self._instant) if self._instant is not None else None
        return (following - self.clock.now()).total_seconds() - 1.0 if following is not None else math.inf

    def begun(self) -> None:
        """Passes come by the schedule, paused or not."""

    def left_out(self, because: str) -> None:
        self.campaign.account("skipped", because)
        self._recorded()

    def measured(self, record: PassRecord | None) -> None:
        self._recorded()
        self._say("waiting", self.why_waiting(), self.upcoming())  # also when the next is due at once

    def _recorded(self) -> None:
        self._instant = None
        for gone in self._cursor.missed():
            self.campaign.account("skipped", f"at {gone:%H:%M} UTC the pass before was still under way")

    def new_day(self, now: datetime) -> None:
        """Which share of the schedule's passes the planned relay life allows: each so-many-th."""
        station, life = self.campaign.station, self.campaign.life
        if relay_life.allowed_a_day(station, life, now) is None:
            self._cursor.every = 1
        else:
            a_day = passes_a_day(self._next_after, now)
            self._cursor.every = relay_life.every_nth(station, life, now, a_day)

    def _notice_step(self) -> None:
        step_s = self._cursor.stepped()
        if step_s:
            self.campaign.observer.trouble(
                f"The clock was stepped by {step_s:+.0f} s; the schedule goes by the new time."
            )


class _Continuous(_Loop):
    """Pass after pass, without a schedule; after one that was not done, a while later, unless `passes` are set."""

    def __init__(self, campaign: Campaign, passes: int | None, until: datetime | None) -> None:
        super().__init__(campaign)
        self.tell_faults = passes is None  # else the record of the very next pass does
        self._passes = passes
        self._until = until
        self._count = 0
        self._not_before_s = -math.inf
        self._again_s = FIRST_AGAIN_S
        self._why = ""

    def begun(self) -> None:
        # Somebody who asks for so many passes is at the station and wants them now, paused or not.
        if self._passes is not None:
            self.orders.resume()

    def over(self) -> bool:
        if self._passes is not None and self._count >= self._passes:
            return True
        return self._until is not None and self.clock.now() >= self._until

    def due(self) -> bool:
        return not self.orders.paused and self.clock.monotonic() >= self._not_before_s

    def remaining_s(self) -> float:
        return LOOK_S if self.orders.paused else self._not_before_s - self.clock.monotonic()

    def why_waiting(self) -> str:
        return self._why

    def left_out(self, because: str) -> None:
        """It comes a while later; no instant was promised, so there is nothing to record."""

    def new_day(self, now: datetime) -> None:
        """Somebody asked for passes without end, so the relays are not spared."""

    def somebody_there(self) -> str:
        return super().somebody_there() if self.campaign.receiver_idle.quiet else ""

    def measured(self, record: PassRecord | None) -> None:
        self._count += 1
        if record is not None and record.outcome == "done":
            self._again_s = FIRST_AGAIN_S
        elif self._passes is None:
            self._why = record.because if record is not None else "the store cannot be used"
            self._not_before_s = self.clock.monotonic() + self._again_s
            self._again_s = min(self._again_s * 2, LAST_AGAIN_S)
