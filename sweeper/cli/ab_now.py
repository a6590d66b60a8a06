"""`ab` without a file: in and out compared now, by the station's relay or by hand, while somebody attends."""

import sys
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, ExitStack, closing, contextmanager
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from sweeper.clock import SystemClock
from sweeper.errors import UserFacingError, WrongInput

if TYPE_CHECKING:
    from sweeper.attended.session import Asked
    from sweeper.attended.view import Attended, View
    from sweeper.daemon.run.orders import Orders
    from sweeper.station import Station

LONGEST_NAME = 200


@dataclass(frozen=True, slots=True)
class Call:
    """What was asked for on the command line."""

    station_file: Path | None
    sound: str | None
    channel: int | None
    hz: float | None
    minutes: float
    by_hand: bool
    mode: str | None
    agc_off: bool
    worthwhile_db: float
    confidence: float
    as_json: bool
    keep: bool
    data: Path | None


def ab_now(call: Call) -> None:
    """Attend a test, and print its result. `UserFacingError` where rig or sound allow none."""
    from sweeper.daemon.run.orders import Orders, stop_on_signals

    if call.station_file is None and call.sound is None:
        raise WrongInput(
            "Name a station, such as `sweeper ab station.yaml`; or a sound input to switch by hand, such as "
            "`sweeper ab --sound NAME`; or a recording with --file."
        )
    if call.sound is not None and not (call.sound.isprintable() and len(call.sound) <= LONGEST_NAME):
        raise WrongInput("--sound: no input has such a name; give a part of its name, such as USB.")
    if call.keep and call.station_file is None:
        raise WrongInput("--keep puts the result with a station's data: name the station, too.")
    if call.hz is not None and call.station_file is None:
        raise WrongInput(
            "--hz tunes a station's receiver: name the station, too, or tune by hand and leave it out."
        )
    if call.mode is not None and call.mode.upper() not in ("USB", "LSB", "CW"):
        raise WrongInput(
            f"--mode {call.mode}: only USB, LSB and CW tell S/N, an envelope detector bends it; set the receiver to "
            "USB, 1 kHz below the carrier."
        )
    from sweeper.station import load

    station = None if call.station_file is None else load(call.station_file)
    orders = Orders()
    stop_on_signals(orders)
    try:
        attended = _attended(call, station, orders)
    except UserFacingError:
        if orders.stopping:
            raise UserFacingError("Stopped before anything could be told; nothing is claimed.") from None
        raise
    _tell(call, station, attended)


def _attended(call: Call, station: "Station | None", orders: "Orders") -> "Attended":
    from sweeper.attended.sound import sound_of

    with ExitStack() as stack:
        source = stack.enter_context(closing(sound_of(station, call.sound, call.channel)))
        # it captures already while what compares and draws is loaded
        from sweeper.attended.at_station import attended, attended_at
        from sweeper.attended.keys import can_press, keys
        from sweeper.attended.listening import Pressed
        from sweeper.cli.options import open_store

        clock, pressed = SystemClock(), Pressed()
        told = stack.enter_context(_screen())
        asked = asked_for(call, station, clock.now(), can_press(sys.stdin))

        def at_keys() -> AbstractContextManager[bool]:
            return keys(pressed, clock)

        if station is None or call.station_file is None:
            return attended(source, asked, pressed, clock, orders.wake, told, at_keys)
        store = stack.enter_context(open_store(station, call.station_file, call.data, read_only=False))
        return attended_at(station, store, source, asked, pressed, clock, orders.wake, told, at_keys)


def asked_for(call: Call, station: "Station | None", now: datetime, presses: bool) -> "Asked":
    """The test that the call means."""
    from sweeper.attended.at_station import asked_of

    by_hand = call.by_hand or station is None or station.switch.by_hand
    asked = asked_of(
        now, call.minutes, by_hand, call.hz, call.confidence, call.worthwhile_db, presses=presses
    )
    return replace(asked, mode=call.mode, gain_known=True if call.agc_off else None)


@contextmanager
def _screen() -> "Iterator[Callable[[View], None]]":
    """On standard error: a picture that changes where that is a terminal, else a line whenever there is news."""
    from sweeper.report.ab_live import lines, live

    with live() if sys.stderr.isatty() else lines() as told:
        yield told


def _tell(call: Call, station: "Station | None", attended: "Attended") -> None:
    from sweeper.ab import as_json
    from sweeper.report.ab_live import show_attended

    text = as_json(attended.result)
    if call.as_json:
        print(text)
    else:
        show_attended(attended, None if call.station_file is None else str(call.station_file))
    if call.keep and station is not None and call.station_file is not None:
        from sweeper.cli.options import data_folder
        from sweeper.store import keep_ab_test

        folder = data_folder(call.station_file, call.data)
        kept = keep_ab_test(folder, station.station.name, attended.result.at or "", text)
        print(f"Kept as {kept}; the report shows it among the A/B tests.", file=sys.stderr)
