"""One pass: every visit in its order, verified by reading back, and the station left as it was found.

The engine's only world is a `Receiver`, a `Switch`, a `Clock` and a `Sink`. It knows no files, no protocol
and no statistics. Every way out of a pass (its end, a fault, a signal, somebody at the dial) goes through
the same door: relays to rest first, then the receiver, each tried even when the other fails.
"""

from collections.abc import Callable, Mapping, Sequence
from contextlib import AbstractContextManager, suppress
from dataclasses import replace
from datetime import datetime
from threading import Event
from typing import TYPE_CHECKING, Any

from drivers.contracts import Receiver, SampleSource, Switch, Tuning
from drivers.errors import (
    BadReply,
    CalledOff,
    LinkTimeout,
    Refused,
    RigError,
    Stuck,
    Transmitting,
    Unsupported,
)
from drivers.numbers import is_reading
from drivers.waiting import bounded
from sweeper.clock import Clock
from sweeper.engine.meter import stuck_readings
from sweeper.engine.settings import (
    COARSEST_STEP_HZ,
    GRACE_S,
    LATE_DIAL_S,
    LATE_LOOK_S,
    RELAYS_SHARE,
    MeasurementSettings,
    same_dial,
    without_dial,
)
from sweeper.engine.sink import Sink
from sweeper.words import Channel, Hand, Outcome, PassRecord, Reading, SignalPath, Spectra, Visit

if TYPE_CHECKING:
    from sweeper.engine.by_samples import Sampling
    from sweeper.engine.by_sound import Listening


class Yielded(Exception):
    """Somebody else took the receiver: the pass gives way."""


class Interrupted(Exception):
    """The program was asked to stop or to pause."""


def measure_pass(
    number: int,
    visits: Sequence[Visit],
    receiver: Receiver,
    switch: Switch,
    clock: Clock,
    settings: MeasurementSettings,
    sink: Sink,
    stop: Event,
    why_stop: Callable[[], str] = lambda: "asked to stop",
    samples: SampleSource | None = None,
) -> PassRecord:
    """Do one pass and tell what became of it; faults at the rig end in the record, not in an exception.

    ``skipped``: nothing is wrong, but somebody else needed the receiver, or `stop` was set; `why_stop` says in words
    what was asked, such as ``paused by hand``. ``failed``: a fault. `samples`: the receiver's sound, with `sound`.
    A pass that is not whole stores no readings. What `sink` raises (a full disk) passes through, after the
    station has been restored. So does anything that is no `RigError`, since that is a defect of the program.
    """
    started = clock.now()
    at_work = _AtWork(number, receiver, switch, clock, settings, sink, stop, why_stop)
    at_work.listening = _listening(samples, settings, clock)
    outcome: Outcome = "failed"
    because = "the program met a defect of its own"
    hand: Hand = ""
    try:
        with bounded(stop=stop):
            with bounded(settings.visit_s):
                at_work.begin(started)
            at_work.measure(visits)
        outcome, because = "done", ""
    except (Transmitting, Yielded) as given_way:
        outcome, because = "skipped", str(given_way)
        if isinstance(given_way, Yielded):
            at_work.leave_dial_alone()
    except Interrupted as request:
        outcome, because = "skipped", str(request)
    except CalledOff:
        outcome, because = "skipped", f"{why_stop()} in the middle of a pass"
    except RigError as fault:
        because, hand = str(fault), fault.hand
    finally:
        left_over = at_work.leave()
    readings = at_work.flagged() if outcome == "done" else ()
    record = PassRecord(
        number=number,
        started=started,
        ended=clock.now(),
        outcome=outcome,
        because=because,
        relay_operations=at_work.relay_operations,
        left_over=left_over,
        unknown_settings=at_work.unknown_settings,
        hand=hand,
    )
    sink.finished(record, readings, at_work.spectra() if outcome == "done" else ())
    if outcome == "done" and (stood := at_work.stood()):
        sink.stood(stood)
    if at_work.touched and "receiver" not in left_over:
        sink.mark_restored()
    return record


def _listening(
    samples: SampleSource | None, settings: MeasurementSettings, clock: Clock
) -> "Listening | Sampling | None":
    # arrays take long to load, and most receivers have a meter
    if samples is not None and settings.sampled is not None:
        from sweeper.engine.by_samples import Sampling

        return Sampling(samples, settings.sampled, clock)
    if samples is None or settings.sound is None:
        return None
    from sweeper.engine.by_sound import Listening

    return Listening(samples, settings.sound, clock)


class _AtWork:
    """The state of a pass under way: what has been touched, and what has been read."""

    def __init__(
        self,
        number: int,
        receiver: Receiver,
        switch: Switch,
        clock: Clock,
        settings: MeasurementSettings,
        sink: Sink,
        stop: Event,
        why_stop: Callable[[], str],
    ) -> None:
        self._number = number
        self._receiver = receiver
        self._switch = switch
        self._clock = clock
        self._settings = settings
        self._sink = sink
        self._stop = stop
        self._why_stop = why_stop
        self._remembered: Mapping[str, Any] | None = None
        self._readings: list[Reading] = []
        self._visit_of: list[int] = []
        self._standing_hz: int | None = None
        self._tuned_to: Channel | None = None
        self._mode_read_back: Tuning | None = None
        self._dial_is_ours = False
        self.listening: Listening | Sampling | None = None
        self.touched = False
        self.relay_operations = 0
        self.unknown_settings: tuple[str, ...] = ()

    def begin(self, started: datetime) -> None:
        """Look before touching: nothing is set while a transmitter is on or before the state is kept."""
        if self._stop.is_set():
            raise Interrupted(f"{self._why_stop()} before the pass began")
        self._listen_only()
        self._remembered = self._receiver.remember()
        self._sink.found(self._number, started, self._remembered)
        self.touched = True
        self.unknown_settings = self._receiver.prepare()
        if self.listening is not None:
            self.unknown_settings += self.listening.allowed(self.unknown_settings)

    def measure(self, visits: Sequence[Visit]) -> None:
        """All visits in order; the relays move only when the path changes."""
        standing: SignalPath | None = None
        mode_bandwidth: int | None = None
        for index, visit in enumerate(visits):
            with bounded(self._settings.visit_s):
                if visit.path != standing:
                    self._move(standing, visit.path)
                    standing = visit.path
                if visit.channel.bandwidth_hz != mode_bandwidth:
                    if mode_bandwidth is None:
                        self._take_the_dial()
                    mode_bandwidth = visit.channel.bandwidth_hz
                    self._mode_read_back = None
                    self._receiver.set_mode(self._settings.mode, mode_bandwidth)
                readings = self._visit(visit)
            self._readings += readings
            self._visit_of += [index] * len(readings)
            heard = self.listening.latest(visit) if self.listening is not None else None
            self._sink.visited(visit, readings, heard)
        with bounded(self._settings.visit_s):
            self._relays_still_at(standing)

    def _move(self, standing: SignalPath | None, path: SignalPath) -> None:
        self._listen_only()
        self._relays_still_at(standing)
        self.relay_operations += self._switch.select(str(path))
        self._sleep(self._settings.switch_settle_s)
        if self._standing_hz is not None:
            self._still_at(self._standing_hz)  # a hand may have used the moment

    def _relays_still_at(self, path: SignalPath | None) -> None:
        """Readings count for a path only if it stood until after them: a board may lose its supply in between."""
        if path is not None and self._switch.selected() != str(path):
            raise Stuck(
                "switch",
                f"the relays no longer stand at {path}, though nothing here moved them.",
                "Did the board lose its supply, or did a hand or another program move them?",
            )

    def _visit(self, visit: Visit) -> list[Reading]:
        settings, receiver = self._settings, self._receiver
        hz = settings.dial_hz(visit.channel.hz)
        before = self._standing_hz
        if visit.channel != self._tuned_to:
            self._tuned_to = None
            receiver.tune(hz)
            self._tuned_to = visit.channel
        # also where only a relay has moved: the meter settles on another level
        self._sleep(settings.settle_s)
        before = self._found_hz() if before is None else before
        tuning = self._tuning(hz, before)
        if tuning.mode.upper() != settings.mode.upper():
            raise Yielded(f"somebody set the receiver to {tuning.mode}; the pass gave way")
        self._mode_read_back = self._mode_read_back or tuning
        if not same_dial(tuning.hz, hz):
            if before is not None and same_dial(tuning.hz, before):
                raise Stuck("receiver", f"it stayed at {tuning.hz} Hz when told to tune to {hz} Hz.")
            if abs(tuning.hz - hz) < COARSEST_STEP_HZ:
                raise Yielded(
                    f"told to tune to {hz} Hz, the receiver says {tuning.hz} Hz: somebody turned it, or it tunes in "
                    "steps and wants channels on them; the pass gave way"
                )
            raise Yielded(f"somebody tuned the receiver to {tuning.hz} Hz; the pass gave way")
        self._standing_hz = tuning.hz
        readings = self._read(visit) if self.listening is None else self._hear(visit, self.listening)
        self._still_at(hz)
        return readings

    def _hear(self, visit: Visit, listening: "Listening | Sampling") -> list[Reading]:
        """The sound of a visit, with the meter beside it where there is one. What is stored comes from all visits."""
        self._listen_only()
        listening.hear(visit)
        witness = None
        if self._settings.sampled is None:
            with suppress(Unsupported, Refused, BadReply):
                witness = self._receiver.read_power()  # which refuses while a transmitter is on
        self._listen_only()
        listening.shown(visit, witness)
        return listening.last(visit, self._number)

    def _read(self, visit: Visit) -> list[Reading]:
        settings, clock, receiver = self._settings, self._clock, self._receiver
        readings = []
        for nth in range(settings.readings):
            if nth:
                self._sleep(settings.interval_s)
            value = receiver.read_power()  # which refuses while a transmitter is on
            if not is_reading(value):
                raise BadReply("receiver", f"the meter read {value:g}, which no meter shows.")
            readings.append(
                Reading(
                    time=clock.now(),
                    pass_number=self._number,
                    channel=visit.channel,
                    path=visit.path,
                    reading=value,
                    dbm=settings.meter.dbm(value),
                    flags=settings.meter.flag(value),
                )
            )
        return readings

    def _found_hz(self) -> int | None:
        """Where the dial stood before the pass."""
        tuning = (self._remembered or {}).get("tuning")
        hz = tuning.get("hz") if isinstance(tuning, Mapping) else None
        return hz if isinstance(hz, int) else None

    def _tuning(self, hz: int, before: int | None) -> Tuning:
        """Dial and mode, asked twice before a hand is believed: a bent reply may be another frequency.

        Where it stood before is waited out for a moment: some servers tell of a move late, and the meter follows later.
        """
        tuning = self._receiver.tuning()
        if same_dial(tuning.hz, hz) and tuning.mode.upper() == self._settings.mode.upper():
            return tuning
        tuning = self._receiver.tuning()
        if before is None or same_dial(before, hz):
            return tuning
        until_s = self._clock.monotonic() + LATE_DIAL_S
        while same_dial(tuning.hz, before) and self._clock.monotonic() < until_s:
            self._sleep(LATE_LOOK_S)
            tuning = self._receiver.tuning()
            if same_dial(tuning.hz, hz):
                self._sleep(self._settings.settle_s)
        return tuning

    def _still_at(self, hz: int) -> None:
        """Asked twice, as `_tuning` does."""
        at = self._receiver.frequency_hz()
        if not same_dial(at, hz) and not same_dial(at := self._receiver.frequency_hz(), hz):
            raise Yielded(f"somebody tuned the receiver to {at} Hz; the pass gave way")

    def _take_the_dial(self) -> None:
        """Just before it is set for the first time: a hand that came since the state was kept would be lost for good.

        Asked twice, as `_tuning` does. What cannot tell its dial has kept none.
        """
        tuning = self._receiver.tuning
        if not self._as_found(tuning()) and not self._as_found(at := tuning()):
            raise Yielded(f"somebody tuned the receiver to {at.hz} Hz {at.mode}; the pass gave way")
        self._dial_is_ours = True

    def _as_found(self, at: Tuning) -> bool:
        """Whether dial and mode are those from before the pass; a pass band may be told otherwise once it was set."""
        found = (self._remembered or {}).get("tuning")
        if not isinstance(found, Mapping):
            return True
        return same_dial(at.hz, int(found["hz"])) and at.mode.upper() == str(found["mode"]).upper()

    def leave_dial_alone(self) -> None:
        """Somebody is at the receiver: put back only what they have not set themselves."""
        self._dial_is_ours = False

    def _unless_touched(self, remembered: Mapping[str, Any]) -> Mapping[str, Any]:
        if self._dial_is_ours:
            return remembered
        try:
            at, ours = self._receiver.tuning(), self._mode_read_back
            if self._as_found(at):
                return remembered
            mode_is_ours = ours is not None and (at.mode, at.bandwidth_hz) == (ours.mode, ours.bandwidth_hz)
        except RigError:
            mode_is_ours = False
        return without_dial(remembered, mode_is_ours)

    def leave(self) -> tuple[str, ...]:
        """Relays to rest, receiver in its saved state; the names of what could not be restored.

        The relays go to rest even while a transmitter is on: the stage in its way would be the greater harm. The
        receiver does not: under a transmission neither dial nor mode may move, so it is left for the next start.
        """
        left_over: list[str] = []
        if not self.touched:
            return ()
        with self._leaving():
            try:
                self._rest_relays()
            except RigError:
                left_over.append("relays")
            finally:
                # Also after a defect of the switch's driver: the receiver is not to suffer for it.
                try:
                    if self._remembered is not None:
                        self._off_the_air()
                        self._receiver.restore(self._unless_touched(self._remembered))
                except RigError:
                    left_over.append("receiver")
        return tuple(left_over)

    def _rest_relays(self) -> None:
        """Asked twice, since an answer may be lost and a patient link would spend all the time on waiting for it."""
        half = self._settings.leave_s * RELAYS_SHARE / 2
        rest = str(self._settings.rest)
        try:
            with bounded(half, self._stop, GRACE_S * RELAYS_SHARE / 2):
                self.relay_operations += self._switch.select(rest)
        except LinkTimeout:
            with bounded(half, self._stop, GRACE_S * RELAYS_SHARE):
                self.relay_operations += self._switch.select(rest)

    def _leaving(self) -> AbstractContextManager[None]:
        return bounded(self._settings.leave_s, self._stop, GRACE_S)

    def flagged(self) -> tuple[Reading, ...]:
        """The readings of the whole pass, those of a meter that stood still marked ``stale``."""
        if self.listening is not None:
            heard = self.listening.readings(self._number)
            self.unknown_settings += self.listening.troubles(heard)
            dbm = self._settings.meter.dbm
            return tuple(
                each if each.channel.purpose == "ratio" else replace(each, dbm=dbm(each.reading))
                for each in heard
            )
        stale = stuck_readings(
            [reading.reading for reading in self._readings],
            self._visit_of,
            [reading.flags for reading in self._readings],
        )
        return tuple(
            replace(reading, flags=f"{reading.flags} stale".strip()) if still else reading
            for reading, still in zip(self._readings, stale, strict=True)
        )

    def spectra(self) -> Spectra:
        """What was heard, each with the name of its band; nothing where a meter was read."""
        return () if self.listening is None else self.listening.spectra()

    def stood(self) -> Mapping[str, Sequence[int]]:
        """By band, the lines that stood through the pass, in hertz; nothing where whole bands are not seen."""
        return {} if self.listening is None else self.listening.stood()

    def _listen_only(self) -> None:
        if self._receiver.is_transmitting():
            raise Transmitting("receiver", "it says that its transmitter is on; nothing was switched.")

    def _off_the_air(self) -> None:
        """Before the receiver is restored; asked once more where the first answer was none."""
        try:
            keyed = self._receiver.is_transmitting()
        except Exception:
            keyed = self._receiver.is_transmitting()
        if keyed:
            raise Transmitting("receiver", "its transmitter is on, so it is restored later.")

    def _sleep(self, seconds: float) -> None:
        if self._clock.sleep(seconds, self._stop) or self._stop.is_set():
            raise Interrupted(f"{self._why_stop()} in the middle of a pass")
