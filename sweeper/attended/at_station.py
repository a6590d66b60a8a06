"""An attended A/B test at a station: the rig borrowed, the receiver tuned for it, everything put back at the end."""

import threading
from collections.abc import Callable
from contextlib import AbstractContextManager, nullcontext
from dataclasses import dataclass, replace
from datetime import datetime
from typing import TYPE_CHECKING

from drivers.contracts import Receiver, SampleSource
from drivers.errors import Transmitting
from drivers.waiting import bounded
from sweeper.attended.listening import Hands, PersonHands, Pressed, RelayHands, attend
from sweeper.attended.session import Asked, Session
from sweeper.attended.stays import relay_order
from sweeper.attended.view import Attended, View
from sweeper.attended.witness import Witness, over_s9_of
from sweeper.clock import Clock
from sweeper.errors import UserFacingError
from sweeper.words import LOAD_BYPASS, dial_beside

if TYPE_CHECKING:
    from sweeper.daemon.rig.instruments import Rig
    from sweeper.station import Station
    from sweeper.store import Store

LINEAR = ("USB", "LSB", "CW")
ENVELOPE = ("AM", "AMS", "SAM")
TONE_HZ = 1000
BY_RELAY_S, BY_HAND_S = 1.4, 3.0
"""How long a stay lasts. Changes are what counts, and the faster they come the less fading can keep up with them; just
long enough for what is compared beside each. A relay of 100,000 operations lasts for 1300 tests of two minutes."""
SOUND_SETTLE_S = 0.1

Keys = Callable[[], AbstractContextManager[object]]
"""Entered while the test itself runs: nobody else may ask the person at the terminal anything then."""


@dataclass(frozen=True, slots=True)
class Tuned:
    """Where the receiver listens for the test: the carrier as the person names it, the dial, and the mode."""

    hz: int
    dial_hz: int
    mode: str
    gain_known: bool | None
    notes: tuple[str, ...]


def asked_of(
    now: datetime, minutes: float, by_hand: bool, hz: float | None, confidence: float, worthwhile_db: float,
    *, presses: bool = True,
) -> Asked:  # fmt: skip
    """A test that begins at `now` (UTC); `presses`: a person who switches has keys or buttons, too."""
    return Asked(
        seconds=60.0 * minutes,
        every_s=BY_HAND_S if by_hand else BY_RELAY_S,
        by_hand=by_hand,
        at=f"{now:%Y-%m-%dT%H:%M:%SZ}",
        hz=hz,
        confidence=confidence,
        worthwhile_db=worthwhile_db,
        keys=presses and by_hand,
    )


def attended(
    source: SampleSource, asked: Asked, pressed: Pressed, clock: Clock, stop: threading.Event,
    told: Callable[[View], None], keys: Keys = nullcontext,
) -> Attended:  # fmt: skip
    """By hand, without a station: a receiver that nothing controls. `UserFacingError`, `RigError`."""
    with bounded(stop=stop), keys():
        session = Session(asked, clock.monotonic())
        attend(source, session, PersonHands(session, pressed, clock), clock, stop, told)
    return session.finish()


def attended_at(
    station: "Station", store: "Store", source: SampleSource, asked: Asked, pressed: Pressed, clock: Clock,
    stop: threading.Event, told: Callable[[View], None], keys: Keys = nullcontext,
) -> Attended:  # fmt: skip
    """At a station, by its relay or (`asked.by_hand`) by hand. `asked.hz`: where to listen, None where the dial stands.

    The rig is borrowed as by any command: `InUse` or `StoreError` while somebody else has it, `Transmitting` when
    the receiver is on the air; relays at rest and the receiver as it was at the end, whatever happens in between.
    """
    from sweeper.daemon.rig.borrow import borrowed_rig  # of no use to a hand without a station

    with bounded(stop=stop), borrowed_rig(station, store, clock) as rig:
        tuned = tune(station, rig.receiver, asked.hz)
        clock.sleep(station.receiver.settle_s, stop)
        asked = replace(
            asked,
            hz=float(tuned.hz),
            dial_hz=float(tuned.dial_hz),
            mode=tuned.mode,
            gain_known=tuned.gain_known,
            has_load=LOAD_BYPASS in station.paths(),
            amplifies=(station.stage.rated_gain_db or 0.0) > 3.0,
        )
        session = Session(asked, clock.monotonic())
        session.notes += tuned.notes
        session.witness = Witness(rig.receiver, over_s9_of(station))
        with keys():
            attend(source, session, _hands(station, rig, session, tuned, pressed, clock), clock, stop, told)
    return session.finish()


def _hands(
    station: "Station", rig: "Rig", session: Session, tuned: Tuned, pressed: Pressed, clock: Clock
) -> Hands:
    if session.asked.by_hand:
        return PersonHands(session, pressed, clock)
    from sweeper.engine import same_dial

    def still_ours() -> None:
        if rig.receiver.is_transmitting():
            raise Transmitting(
                "receiver", "its transmitter is on, so the stage went out and the test is over."
            )
        at_hz = rig.receiver.frequency_hz()
        if not same_dial(at_hz, tuned.dial_hz):
            raise UserFacingError(
                f"The dial was turned from {tuned.dial_hz} Hz to {at_hz} Hz meanwhile, so nothing is claimed: begin "
                "again and leave it alone until the answer is there."
            )

    order = relay_order(session.asked.has_load)
    settle_s = station.switch.settle_s + SOUND_SETTLE_S
    return RelayHands(session, rig.switch, order, settle_s, clock, still_ours, pressed)


def tune(station: "Station", receiver: Receiver, hz: float | None) -> Tuned:
    """Set the receiver for the test. `UserFacingError` in a mode whose audio tells no S/N."""
    audio = station.receiver.audio
    tone_hz = TONE_HZ if audio is None else audio.tone_hz
    found = receiver.tuning()
    mode, notes = found.mode.upper(), []
    if hz is None and mode in LINEAR:
        carrier, dial, wanted = found.hz, found.hz, mode
    elif hz is None and mode in ENVELOPE:
        carrier, dial, wanted = found.hz, dial_beside(found.hz, "USB", tone_hz), "USB"
        notes.append(
            f"The receiver was in {mode}, whose detector bends S/N: it listened in USB {tone_hz} Hz below meanwhile."
        )
    elif hz is None:
        raise UserFacingError(
            f"The receiver is in {mode}, whose audio tells no S/N: set it to USB, LSB or CW, or name a "
            "carrier with --hz."
        )
    else:
        wanted = station.receiver.mode.upper() if station.receiver.mode.upper() in LINEAR else "USB"
        carrier, dial = round(hz), dial_beside(round(hz), wanted, tone_hz)
    unknown = receiver.prepare()
    if wanted != mode:
        receiver.set_mode(wanted, station.receiver.bandwidth_hz)
    if dial != found.hz:
        receiver.tune(dial)
    if unknown:
        notes.append(f"Not known of the receiver, and perhaps moving its level: {', '.join(unknown)}.")
    held = not unknown or (audio is not None and audio.agc_off)
    return Tuned(carrier, dial, wanted, True if held else None, tuple(notes))
