"""A run of passes: restore what an earlier run left, measure, store, let go, and account for every pass.

The rig is opened for each pass and let go after it, so that between passes the receiver belongs to whoever
listens, and a cable that comes back is simply there at the next pass. When passes are due is `unattended`'s.
"""

import errno
import logging
from collections import Counter
from collections.abc import Callable, Collection, Iterable, Iterator
from contextlib import AbstractContextManager, contextmanager, nullcontext, suppress
from datetime import datetime, timedelta

from drivers.errors import CalledOff, InUse, RigError, Transmitting
from drivers.waiting import bounded
from sweeper.clock import Clock
from sweeper.daemon.rig import relay_life
from sweeper.daemon.rig.instruments import measurement_settings, open_rig
from sweeper.daemon.rig.lock import hold_rig
from sweeper.daemon.rig.restore import restore_station
from sweeper.daemon.run.observers import Observer, Observers
from sweeper.daemon.run.orders import Orders
from sweeper.daemon.run.receiver_idle import ReceiverIdle
from sweeper.daemon.run.recording import Recording
from sweeper.engine import measure_pass
from sweeper.plan import one_pass
from sweeper.spectra.lines import KEPT_UNDER
from sweeper.station import Station
from sweeper.store import Store, StoreError
from sweeper.words import Hand, Outcome, PassRecord, Visit

log = logging.getLogger(__name__)


class Campaign:
    """A station being measured, with all that lasts from one pass to the next. Used by one thread."""

    def __init__(
        self,
        station: Station,
        store: Store,
        clock: Clock,
        orders: Orders | None = None,
        observers: Iterable[Observer] = (),
        bands_due: Callable[[], Collection[str] | None] = lambda: None,
        guarding: Callable[[], AbstractContextManager[None]] = nullcontext,
    ) -> None:
        self.station = station
        self.store = store
        self.clock = clock
        self.orders = orders if orders is not None else Orders()
        self.observer = Observers(tuple(observers))
        self.receiver_idle = ReceiverIdle(station, clock)
        self._bands_due = bands_due
        self._guarding = guarding
        self.recording = Recording(store, self.observer)
        self._numbered = store.next_pass_number() - 1
        self.days_apart = False
        """Whether finished days become files in processes of their own, as fits a program that lives for months."""
        self.settled = False
        """Whether the relays rest and the receiver has its saved state, as far as is known."""
        self.life = relay_life.load(store.folder, clock.now())
        self._uncounted: Counter[str] = Counter()
        self._exercise_from = clock.now()

    def settle(self) -> tuple[RigError, ...]:
        """Relays to rest, receiver in its saved state, before anything else; what stands in the way."""
        try:
            with self._in_hand(), hold_rig(self.store.folder):
                unwritten = bool(self.recording.unwritten)
                restored = restore_station(self.station, self.store, self.clock.now(), unwritten)
                if restored.interrupted:
                    self.observer.trouble(restored.interrupted)
                faults = restored.faults
                self.life = relay_life.load(self.store.folder, self.life.since)
        except RigError as held:
            faults = (held,)
        except OSError as fault:
            faults = (_of_computer(fault),)
        self.settled = not faults
        self.observer.alive()
        return faults

    def attempt(self) -> PassRecord:
        """One pass; whatever comes between ends in its record, not in an exception.

        Only a defect of the program does not, and it leaves the station as found all the same.
        """
        started = self.clock.now()
        try:
            self.store.stand_by()
        except StoreError as gone:
            return self.account("failed", str(gone), None, started, gone.hand)
        if (refused := self.recording.write()) is not None:
            return self.account("failed", "the pass before cannot be stored yet", None, started, refused.hand)
        if not self.settled:
            faults = self.settle()
            if faults:
                return self.account(_outcome(faults[0]), str(faults[0]), None, started, hand_of(faults[0]))
        number = self._number()
        try:
            with self._in_hand(), hold_rig(self.store.folder), open_rig(self.station) as rig:
                switch = relay_life.CountedSwitch(rig.switch, self.station)
                visits = self._visits(number)
                self.observer.begins(number, len(visits))
                try:
                    record = measure_pass(
                        number,
                        visits,
                        rig.receiver,
                        switch,
                        self.clock,
                        measurement_settings(self.station, number, self.store.recall(KEPT_UNDER)),
                        self.recording,
                        self.orders.wake,
                        self.orders.why,
                        rig.samples,
                    )
                finally:
                    self._wore(switch.moves)
        except RigError as fault:
            return self.account(_outcome(fault), str(fault), number, started, hand_of(fault))
        except StoreError as full:
            return self.account("failed", str(full), number, started, full.hand)
        except OSError as fault:
            return self.account("failed", str(_of_computer(fault)), number, started, hand_of(fault))
        self._numbered = number
        self.settled = not record.left_over
        if record.outcome == "skipped" and not self.orders.wake.is_set():
            self.receiver_idle.gave_way()
        else:
            self.receiver_idle.left_dial_at(self.recording.saved_tuning)
        self.observer.alive()
        return record

    @contextmanager
    def _in_hand(self) -> Iterator[None]:
        """The rig is about to be touched: a stop order ends every wait for it, and somebody watches this thread."""
        with self._guarding(), bounded(stop=self.orders.wake):
            yield

    def _visits(self, number: int) -> tuple[Visit, ...]:
        """The pass as planned, of the bands that are due."""
        return one_pass(self.station, number, self._bands_due())

    def account(
        self,
        outcome: Outcome,
        because: str,
        number: int | None = None,
        started: datetime | None = None,
        hand: Hand = "",
    ) -> PassRecord:
        """Write down a pass that did not come about, and why."""
        now = self.clock.now()
        record = PassRecord(
            number if number is not None else self._number(),
            started or now,
            now,
            outcome,
            because,
            0,
            hand=hand,
        )
        self._numbered = record.number
        self.recording.finished(record, ())
        self.observer.alive()
        return record

    def somebody_there(self) -> str:
        """Why the receiver is left alone at this moment, in one sentence; empty when nobody needs it."""
        with bounded(stop=self.orders.wake):
            return self.receiver_idle.somebody_there()

    def exercise(self) -> None:
        """Move relays that stood idle for a day, unless somebody needs the station; what goes wrong is told."""
        if not self.station.switch.exercise or not self.settled:
            return
        now = self.clock.now()
        if now < self._exercise_from:
            return
        idle = relay_life.idle_relays(self.station, self.life, now)
        self._exercise_from = now + (EXERCISE_AGAIN if idle else EXERCISE_LOOK)
        if not idle:
            return
        try:
            with self._in_hand(), hold_rig(self.store.folder), open_rig(self.station) as rig:
                if rig.receiver.is_transmitting():
                    return
                switch = relay_life.CountedSwitch(rig.switch, self.station)
                try:
                    relay_life.exercise(self.station, switch)
                except RigError as fault:
                    self.settled = isinstance(fault, Transmitting)  # it asked, and let the relays rest
                    raise
                finally:
                    self._wore(switch.moves)
        except (InUse, Transmitting, CalledOff):
            return
        except (OSError, RigError) as fault:
            why = _of_computer(fault) if isinstance(fault, OSError) else fault
            self.observer.trouble(f"The daily exercise of the relays did not succeed. {why}", hand_of(fault))

    def finish_days(self) -> bool:
        """Turn days that are over into files, a few at a time; whether none is left for now.

        What stands in the way is told, and it is tried again another day.
        """
        try:
            finished = self.store.finish_days(
                self.clock.now(), self.days_apart, DAYS_AT_ONCE, self.station.store.keep_spectra_days
            )
            return len(finished) < DAYS_AT_ONCE
        except StoreError as full:
            self.observer.trouble(str(full), full.hand)
        except Exception as defect:
            # Whatever a library may find wrong with this computer, the readings are safe and are read where they
            # are; a night not measured would be lost for good.
            log.exception("a finished day could not be made a file")
            self.observer.trouble(f"Finished days stay in the database for now: {defect}.")
        return True

    def end(self) -> None:
        """At the end of a run: try once more to write what is unwritten. `StoreError` when it is lost."""
        refusal = self.recording.write()
        if refusal is not None:
            raise refusal

    def _number(self) -> int:
        waiting = self.recording.unwritten
        if waiting:
            return waiting[-1][0].number + 1
        try:
            return self.store.next_pass_number()
        except StoreError:
            return self._numbered + 1  # a disk that fails for a while is no reason to lose count

    def _wore(self, moves: Counter[str]) -> None:
        """Count moves for life. The caller holds the rig, so nobody else counts at this moment."""
        self._uncounted.update(moves)
        if not self._uncounted:
            return
        now = self.clock.now()
        self.life = relay_life.plus(relay_life.load(self.store.folder, self.life.since), self._uncounted, now)
        with suppress(OSError):  # A full disk: kept in memory meanwhile, and counted with the next moves.
            relay_life.save(self.store.folder, self.life)
            self._uncounted.clear()


def run_passes(campaign: Campaign, due: Iterable[datetime | None]) -> list[PassRecord]:
    """One pass at each instant of `due` (None: at once), until `due` ends or somebody asks to stop.

    `StoreError` when passes could not be stored to the end.
    """
    records: list[PassRecord] = []
    try:
        campaign.settle()
        for instant in due:
            if not _wait_for(instant, campaign):
                break
            records.append(campaign.attempt())
            campaign.finish_days()
            if campaign.orders.stopping:
                break
    finally:
        leave(campaign)
    campaign.end()
    return records


def leave(campaign: Campaign) -> None:
    """Before the program ends: what a pass could not restore is tried a last time."""
    if not campaign.settled:
        campaign.settle()


def _wait_for(instant: datetime | None, campaign: Campaign) -> bool:
    """Wait in short stretches, so that a stepped clock is noticed. False when asked to stop."""
    while instant is not None and not campaign.orders.stopping:
        remaining_s = (instant - campaign.clock.now()).total_seconds()
        if remaining_s <= 0:
            return True
        campaign.observer.alive()
        campaign.orders.heed()
        campaign.clock.sleep(min(remaining_s, LOOK_S), campaign.orders.wake)
    return not campaign.orders.stopping


DAYS_AT_ONCE = 3
"""Late days made into files between two looks at the clock: a long absence must not hold up the measuring."""

LOOK_S = 30.0
"""How long to sleep before another look at the clock."""

EXERCISE_LOOK = timedelta(minutes=5)
"""How often to look for idle contacts."""

EXERCISE_AGAIN = timedelta(hours=1)
"""How long after an exercise that did not come about another is tried."""


def _of_computer(fault: OSError) -> RigError:
    """What this computer refuses (descriptors, memory for a thread, a disk) ends a pass, not the program."""
    what = fault.strerror or str(fault)
    return RigError("computer", f"{what}{f' ({fault.filename})' if fault.filename else ''}.")


def hand_of(fault: RigError | OSError) -> Hand:
    """What needs a hand after this fault."""
    if isinstance(fault, OSError):
        return "disk" if fault.errno in DISK else ""
    return fault.hand


DISK = (errno.ENOSPC, errno.EDQUOT, errno.EROFS, errno.EIO, errno.EFBIG)
"""What the system says where a disk takes nothing."""


def _outcome(fault: RigError) -> Outcome:
    return "skipped" if isinstance(fault, InUse | CalledOff) else "failed"
