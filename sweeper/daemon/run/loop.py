"""A station left alone: passes when the schedule says so, giving way to people, and housekeeping in between.

Every instant of the schedule ends in a record: done, skipped because, failed because. Relay life alone
thins the schedule itself.
"""

from datetime import date, datetime, timedelta

from sweeper.daemon.rig import relay_life
from sweeper.daemon.run.campaign import LOOK_S, Campaign, leave
from sweeper.daemon.run.orders import PAUSED_BY
from sweeper.daemon.run.schedule_cursor import NextAfter, ScheduleCursor
from sweeper.daemon.run.states import Doing
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

EXERCISE_MARGIN = timedelta(minutes=2)
"""Idle contacts are exercised only when the next pass is at least this far away."""


def keep_schedule(campaign: Campaign, next_after: NextAfter, until: datetime | None = None) -> None:
    """Measure at the instants of `next_after` until there are none, `until` is past, or somebody asks to stop.

    `StoreError` when passes could not be stored to the end.
    """
    unattended = _Unattended(campaign, next_after, until)
    try:
        unattended.keep()
    finally:
        leave(campaign)
    campaign.end()


def keep_measuring(campaign: Campaign, passes: int | None = None, until: datetime | None = None) -> None:
    """Measure pass after pass: `passes` of them, or until `until` is past or somebody asks to stop.

    `StoreError` when passes could not be stored to the end.
    """
    unattended = _Unattended(campaign, lambda after: None, until)
    try:
        unattended.go_on(passes)
    finally:
        leave(campaign)
    campaign.end()


class _Unattended:
    """A run under way."""

    def __init__(self, campaign: Campaign, next_after: NextAfter, until: datetime | None) -> None:
        self._campaign = campaign
        self._clock = campaign.clock
        self._orders = campaign.orders
        self._until = until
        self._next_after = next_after
        self._cursor = ScheduleCursor(next_after, campaign.clock)
        self._tell_faults = True
        self._tidied_on: date | None = None
        self._paused = False
        self._settle_at_s = 0.0
        self._settle_wait_s = LOOK_S

    def go_on(self, passes: int | None) -> None:
        """Pass after pass, without a schedule."""
        self._tell_faults = passes is None  # else the record of the very next pass does
        self._begin()
        # Somebody who asks for so many passes is at the station and wants them now, paused or not.
        if passes is not None:
            self._orders.resume()
        count, again_s = 0, FIRST_AGAIN_S
        while not self._orders.stopping and (passes is None or count < passes):
            if self._until is not None and self._clock.now() >= self._until:
                break
            self._heed()
            self._housekeeping()
            if self._paused:
                self._say("paused", PAUSED_BY)
                self._clock.sleep(LOOK_S, self._orders.wake)
                continue
            if self._campaign.receiver_idle.quiet and self._wait_for_quiet(None):
                continue
            record = self._attempt()
            count += 1
            if record is not None and record.outcome == "done":
                again_s = FIRST_AGAIN_S
            elif passes is None and not self._orders.stopping:
                self._say("waiting", record.because if record is not None else "the store cannot be used")
                self._clock.sleep(again_s, self._orders.wake)
                again_s = min(again_s * 2, LAST_AGAIN_S)
        self._say("stopping", RESTORING)

    def _begin(self) -> None:
        campaign = self._campaign
        self._say("starting", RESTORING)
        self._settle()
        if campaign.store.recall(PAUSED):
            self._orders.pause()

    def keep(self) -> None:
        """As the schedule says."""
        campaign, cursor = self._campaign, self._cursor
        self._begin()
        while not self._orders.stopping:
            self._heed()
            self._housekeeping()
            self._notice_step()
            instant = cursor.upcoming()
            if instant is None or (self._until is not None and instant > self._until):
                break
            if not self._wait_for(instant):
                continue
            cursor.took(instant)
            self._at(instant)
            for gone in cursor.missed():
                campaign.account("skipped", f"at {gone:%H:%M} UTC the pass before was still under way")
        self._say("stopping", RESTORING)

    def _at(self, instant: datetime) -> None:
        """A pass is due: measured, or left out with its reason."""
        campaign = self._campaign
        because = PAUSED_BY if self._paused else self._wait_for_quiet(instant)
        if because:
            campaign.account("skipped", because)
            return
        self._attempt()

    def _attempt(self) -> PassRecord | None:
        """One pass; None when the store could not even be asked for its number, which is told."""
        self._say("measuring", "")
        try:
            return self._campaign.attempt()
        except StoreError as broken:
            self._campaign.observer.trouble(str(broken))
            return None

    def _wait_for_quiet(self, instant: datetime | None) -> str:
        """Put the pass off while somebody uses the receiver, until the next one is due; why it is left out then."""
        following = self._cursor.following(instant) if instant is not None else None
        while because := self._campaign.somebody_there():
            self._say("yielding", because)
            left_s = IDLE_LOOK_S
            if following is not None:
                left_s = min(left_s, (following - self._clock.now()).total_seconds() - 1.0)
            if left_s <= 0 or self._clock.sleep(left_s, self._orders.wake):
                return because
            self._campaign.observer.alive()
        return ""

    def _wait_for(self, instant: datetime) -> bool:
        """True once `instant` has come; False when there is something else to look at first."""
        if self._paused:
            self._say("paused", PAUSED_BY, instant)
        else:
            self._say("waiting", self._why_slow(), instant)
        remaining_s = (instant - self._clock.now()).total_seconds()
        if remaining_s <= 0:
            return True
        self._clock.sleep(min(remaining_s, LOOK_S), self._orders.wake)
        return False

    def _notice_step(self) -> None:
        step_s = self._cursor.stepped()
        if step_s:
            self._campaign.observer.trouble(
                f"The clock was stepped by {step_s:+.0f} s; the schedule goes by the new time."
            )

    def _heed(self) -> None:
        """Take note of what people ordered."""
        self._orders.heed()
        if self._paused != self._orders.paused:
            self._paused = self._orders.paused
            try:
                self._campaign.store.remember(PAUSED, self._paused)
            except StoreError as full:
                self._campaign.observer.trouble(str(full))

    def _housekeeping(self) -> None:
        """What is due between passes: left-overs, unwritten passes, the day before, idle contacts, the cursor."""
        campaign, now = self._campaign, self._clock.now()
        campaign.observer.alive()
        self._settle_again()
        campaign.recording.write()
        today = day_of(now, campaign.station.station.longitude)
        if today != self._tidied_on:
            if campaign.finish_days():
                self._tidied_on = today
            self._cursor.every = self._sparing_relays(now)
        upcoming = self._cursor.upcoming()
        if not self._paused and (upcoming is None or upcoming - now > EXERCISE_MARGIN):
            trouble = campaign.exercise()
            if trouble:
                campaign.observer.trouble(trouble)

    def _settle(self) -> None:
        for fault in self._campaign.settle():
            if self._tell_faults:
                self._campaign.observer.trouble(str(fault))

    def _settle_again(self) -> None:
        """What a pass could not restore is tried again, soon and then less often."""
        campaign, now_s = self._campaign, self._clock.monotonic()
        if campaign.settled:
            self._settle_wait_s = LOOK_S
            self._settle_at_s = now_s
            return
        if now_s >= self._settle_at_s:
            self._settle()
            self._settle_at_s = self._clock.monotonic() + self._settle_wait_s
            self._settle_wait_s = min(self._settle_wait_s * 2, SETTLE_AT_LEAST_S)

    def _sparing_relays(self, now: datetime) -> int:
        """Which share of the schedule's passes the planned relay life allows: each so-many-th."""
        station, life = self._campaign.station, self._campaign.life
        if relay_life.allowed_a_day(station, life, now) is None:
            return 1
        return relay_life.every_nth(station, life, now, _in_a_day(self._next_after, now))

    def _why_slow(self) -> str:
        if self._cursor.every == 1:
            return ""
        return (
            f"only one pass in {self._cursor.every} is measured, so that the relays last as long as planned"
        )

    def _say(self, doing: Doing, because: str, next_pass: datetime | None = None) -> None:
        self._campaign.observer.doing(doing, because, next_pass)


IDLE_LOOK_S = 15.0
"""How long to wait before another look at a receiver that somebody uses."""


def _in_a_day(next_after: NextAfter, now: datetime) -> float:
    """Passes a day that the schedule has in the week ahead, or as far ahead as `COUNTED` passes reach."""
    week = timedelta(days=7)
    count, instant = 0, next_after(now)
    while instant is not None and instant < now + week and count < COUNTED:
        count += 1
        instant = next_after(instant)
    span = week if count < COUNTED or instant is None else instant - now
    return count * timedelta(days=1) / span


COUNTED = 3000
"""Three passes in ten minutes for a week; a denser schedule is judged by its first days or hours."""
