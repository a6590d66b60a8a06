"""What `run` and `check` have to do with messages: watching for what is to be told, and trying the addresses."""

import sys
from contextlib import ExitStack
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from sweeper.errors import UserFacingError

if TYPE_CHECKING:
    from sweeper.daemon.run.observers import Observer
    from sweeper.station import Station
    from sweeper.store import Store

TOLD_LAST = "the night of the last morning message"


def watching(
    station: "Station", station_file: Path, store: "Store", sending: ExitStack
) -> "tuple[Observer, ...]":
    """An observer that has messages sent, where the station wants any; what waits is sent as `sending` closes."""
    from sweeper.clock import SystemClock
    from sweeper.notify import Sender, Watch, addresses_in

    notify = station.notify
    if notify is None:
        return ()
    try:
        addresses_in(notify.file)
    except UserFacingError as wrong:
        _say(f"No message will be sent. {wrong}")
        return ()
    sender = Sender(station_file.resolve(), store.folder.parent.resolve(), _say)
    sending.callback(sender.close)
    told = store.recall(TOLD_LAST)
    watch = Watch(
        SystemClock(),
        station.station.longitude,
        sender.send,
        morning=notify.morning,
        at_once=notify.at_once,
        told_last=date.fromisoformat(told) if isinstance(told, str) else None,
        tells=lambda night: store.remember(TOLD_LAST, night.isoformat()),
    )
    return (watch,)


def tried(station: "Station") -> str:
    """A test message sent to the station's addresses, in a sentence; `UserFacingError` where it cannot be."""
    from sweeper.notify import addresses_in
    from sweeper.notify.delivery import sent, services_of

    if station.notify is None:
        raise UserFacingError(
            "The station file has no section notify:, so there is nowhere to send a message."
        )
    services, unknown = services_of(addresses_in(station.notify.file))
    said = sent(services, f"{station.station.name}: a test", "Messages from this station arrive here.", None)
    if unknown or said:
        raise UserFacingError(" ".join(filter(None, (unknown, said))))
    return f"A test message went to {len(services)} address{'es' if len(services) > 1 else ''}."


def _say(sentence: str) -> None:
    print(sentence, file=sys.stderr, flush=True)
