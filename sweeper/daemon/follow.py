"""While somebody listens: the relay as the findings recommend for the frequency they tune to and the hour.

Bypass wherever the findings do not say ``stage``. Nothing moves while a transmitter is on, while the dial is
still turning, or once the day's share of relay life is used up.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path

from drivers.errors import CalledOff, InUse, RigError
from drivers.waiting import bounded
from sweeper.analysis import STATES, Findings, state_of, words_of
from sweeper.clock import Clock
from sweeper.daemon.rig import relay_life
from sweeper.daemon.rig.instruments import open_rig
from sweeper.daemon.rig.lock import hold_rig
from sweeper.daemon.rig.restore import rest_relays
from sweeper.daemon.run.orders import Orders
from sweeper.station import Station
from sweeper.words import ANTENNA_BYPASS, ANTENNA_STAGE, SignalPath

MOVES_A_DAY = 200
"""Relay operations that following may cost in a day, where the station file plans no relay life."""

NEAR = 1.1
"""A band speaks for frequencies up to a tenth beyond its outermost channels (a choice: noise and antennas change
little over that, and broadcast bands lie further apart)."""


@dataclass(frozen=True, slots=True)
class Pace:
    """How hastily a dial is followed, in seconds."""

    look_s: float = 1.0
    """Between looks at the dial."""

    still_s: float = 4.0
    """How long the advice must stay the same before a relay moves: longer than it takes to tune across a band edge."""

    hold_s: float = 30.0
    """How long the stage stays out after it was taken out, so that a dial on the edge of two bands does not chatter."""

    again_s: float = 10.0
    """After a fault at the rig."""


@dataclass(frozen=True, slots=True)
class Advice:
    """A path for a frequency and an hour, and why, for the person listening."""

    path: SignalPath
    because: str


def advise(findings: Findings, station: Station, hz: int, now: datetime) -> Advice:
    """What the findings say for this frequency at this hour; bypass wherever they do not say ``stage``."""
    band = band_of(station, hz)
    if band is None:
        return Advice(ANTENNA_BYPASS, f"nothing was measured near {hz / 1e6:.3f} MHz")
    found = next((each for each in findings.bands if each.band == band), None)
    period = next((each for each in found.periods if each.hour_utc == now.hour), None) if found else None
    if period is None:
        return Advice(ANTENNA_BYPASS, f"{band} was not measured at this hour")
    if state_of(period.verdict, period.flags) == "open" and period.measured_verdict == "stage":
        # Tonight is a night to come: what earlier nights were like does not move a relay.
        return Advice(
            ANTENNA_BYPASS, f"{band} at this hour: it helped on the nights measured, not settled for others"
        )
    path = ANTENNA_STAGE if period.verdict == "stage" else ANTENNA_BYPASS
    return Advice(path, f"{band} at this hour: {words_of(period.verdict, period.flags)}")


def _words(path: SignalPath) -> str:
    return STATES["in" if path == ANTENNA_STAGE else "out"].words


def band_of(station: Station, hz: int) -> str | None:
    """The band whose channels lie nearest to `hz`, by ratio; None when it is more than a tenth away from all."""
    nearest = min(station.channels(), key=lambda channel: abs(math.log(channel.hz / hz)), default=None)
    if nearest is None:
        return None
    own = [channel.hz for channel in station.channels() if channel.band == nearest.band]
    return nearest.band if min(own) / NEAR <= hz <= max(own) * NEAR else None


class Follower:
    """Decides when advice is acted upon. Knows no instrument: it is told what the receiver says."""

    def __init__(self, quiet_time_s: float, moves_a_day: float, pace: Pace | None = None) -> None:
        self._pace = pace or Pace()
        self._quiet_time_s = quiet_time_s
        self._moves_a_day = moves_a_day
        self._advice: SignalPath | None = None
        self._advised_at_s = 0.0
        self._hold_until_s = -math.inf
        self._day: date | None = None
        self._moves = 0
        self.standing = ANTENNA_BYPASS

    def decide(self, advice: SignalPath, transmitting: bool, at_s: float, day: date) -> SignalPath | None:
        """The path to set now, or None to leave the relays alone. `at_s` is monotonic."""
        if day != self._day:
            self._day, self._moves = day, 0
        if transmitting:
            # A transmitter and a receive stage on one antenna: once it is off, the stage goes out and stays out.
            self._hold_until_s = at_s + max(self._quiet_time_s, self._pace.hold_s)
            return None
        if self.standing == ANTENNA_STAGE and (
            at_s < self._hold_until_s or self._moves + 1 > self._moves_a_day
        ):
            return ANTENNA_BYPASS
        if advice != self._advice:
            self._advice, self._advised_at_s = advice, at_s
        if advice == self.standing or at_s - self._advised_at_s < self._pace.still_s:
            return None
        if advice == ANTENNA_STAGE and (at_s < self._hold_until_s or self._moves + 2 > self._moves_a_day):
            return None
        return advice

    def moved(self, path: SignalPath, operations: int, at_s: float) -> None:
        """The relays stand at `path` now."""
        self.standing = path
        self._moves += operations
        if path == ANTENNA_BYPASS:
            self._hold_until_s = max(self._hold_until_s, at_s + self._pace.hold_s)


def follow(
    station: Station,
    folder: Path,
    findings: Findings,
    clock: Clock,
    orders: Orders,
    told: Callable[[str], None],
    pace: Pace | None = None,
) -> None:
    """Follow the dial until `orders` say stop; relays rest at the end. A pass under way is waited for.

    `folder` is the station's data folder. A daemon there leaves its passes out meanwhile and says so.
    """
    pace = pace or Pace()
    waiting = False
    while not orders.stopping:
        try:
            _follow(station, folder, findings, clock, orders, told, pace)
        except InUse as held:
            if not waiting:
                told(f"{held} Following begins then.")
            waiting = True
            clock.sleep(pace.look_s, orders.wake)


def _follow(
    station: Station,
    folder: Path,
    findings: Findings,
    clock: Clock,
    orders: Orders,
    told: Callable[[str], None],
    pace: Pace,
) -> None:
    with bounded(stop=orders.wake), hold_rig(folder):
        life = relay_life.load(folder, clock.now())
        allowed = relay_life.allowed_a_day(station, life, clock.now())
        follower = Follower(station.receiver.quiet_time_s, MOVES_A_DAY if allowed is None else allowed, pace)
        told = _once(told)
        try:
            while not orders.stopping:
                try:
                    _follow_until_fault(station, folder, findings, clock, orders, follower, told, pace)
                except CalledOff:
                    orders.heed()
                except RigError as fault:
                    told(f"{fault} Trying again until it works.")
                    rest_relays(station, folder, clock.now())
                    follower.standing = ANTENNA_BYPASS
                    clock.sleep(pace.again_s, orders.wake)
        finally:
            for left in rest_relays(station, folder, clock.now()):
                told(str(left))


def _once(told: Callable[[str], None]) -> Callable[[str], None]:
    """The same sentence not twice in a row: a fault that lasts is tried every few seconds."""
    said = ""

    def tell(sentence: str) -> None:
        nonlocal said
        if sentence != said:
            said = sentence
            told(sentence)

    return tell


def _follow_until_fault(
    station: Station,
    folder: Path,
    findings: Findings,
    clock: Clock,
    orders: Orders,
    follower: Follower,
    told: Callable[[str], None],
    pace: Pace,
) -> None:
    said = ""
    with open_rig(station) as rig:
        switch = relay_life.CountedSwitch(rig.switch, station)
        while rig.receiver.is_transmitting():
            # Noted, so that the stage stays out for the quiet time after this transmission as after any other.
            follower.decide(ANTENNA_BYPASS, True, clock.monotonic(), clock.now().date())
            if not said:
                said = "its transmitter is on; the relays are left alone until it is off"
                told(f"receiver: {said}.")
            if clock.sleep(pace.look_s, orders.wake) or orders.stopping:
                return
        switch.select(str(ANTENNA_BYPASS))
        try:
            while not orders.stopping:
                advice = advise(findings, station, rig.receiver.frequency_hz(), clock.now())
                path = follower.decide(
                    advice.path, rig.receiver.is_transmitting(), clock.monotonic(), clock.now().date()
                )
                if (
                    path is not None and not rig.receiver.is_transmitting()
                ):  # asked again, right before it moves
                    follower.moved(path, switch.select(str(path)), clock.monotonic())
                for_now = "" if follower.standing == advice.path else " for now"
                sentence = f"{_words(follower.standing)}{for_now} ({advice.because})"
                if sentence != said:
                    said = sentence
                    told(sentence)
                clock.sleep(pace.look_s, orders.wake)
        finally:
            relay_life.count(folder, switch.moves, clock.now())
