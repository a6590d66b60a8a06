"""Puts a message into words and hands it to the services. Runs in a process of its own; nothing here is logged.

What services exist, and how they are spoken to, is Apprise's part (the optional package ``apprise``).
"""

import logging
import tempfile
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from drivers.ordinary_files import content_of
from sweeper.errors import UserFacingError
from sweeper.notify.addresses import addresses_in
from sweeper.notify.watch import Message

if TYPE_CHECKING:
    from sweeper.station import Station

SERVICE_S = 30.0
MOST_LETTERS = 700
MOST_BYTES = 300_000_000
"""What sending may take of memory beyond what is taken: a service whose answer has no end gets no more."""


def delivered(station_file: Path, data: Path, message: Message) -> str:
    """Send one message to all addresses of the station; what went wrong, in one sentence, or nothing."""
    from sweeper.station import load

    logging.disable(logging.CRITICAL)  # libraries name addresses in their logs
    try:
        station = load(station_file)
        if station.notify is None:
            return ""
        services, unknown = services_of(addresses_in(station.notify.file))
    except UserFacingError as told:
        return f"No message is sent. {told}"
    sentence, picture = message.sentence, None
    if message.kind == "morning":
        sentence, picture = _of_the_night(station, data, message)
    bound_memory()
    said = sent(services, f"{station.station.name}: {message.kind}", sentence[:MOST_LETTERS], picture)
    return " ".join(filter(None, (unknown, said)))


def bound_memory() -> None:
    """From now on this process is refused more than `MOST_BYTES`, where the system can do that."""
    try:
        import resource

        pages = int(content_of(Path("/proc/self/statm"), 200).split()[5])  # data and stack, proc(5)
    except (ImportError, OSError, ValueError, IndexError):
        return
    most = pages * resource.getpagesize() + MOST_BYTES
    hard = resource.getrlimit(resource.RLIMIT_DATA)[1]
    resource.setrlimit(
        resource.RLIMIT_DATA, (most if hard == resource.RLIM_INFINITY else min(most, hard), hard)
    )


def services_of(addresses: Sequence[str]) -> tuple[list[object], str]:
    """Apprise's service for each address, and which lines it knows none for, without their text."""
    try:
        from apprise import Apprise, AppriseAsset, PersistentStoreMode
    except ImportError:
        raise UserFacingError(
            "The package apprise is not installed. In the program's environment: pip install 'stage-sweeper[notify]'"
        ) from None
    asset = AppriseAsset(storage_mode=PersistentStoreMode.MEMORY, service_timeout=SERVICE_S)
    found: list[object] = []
    unknown = []
    for nth, address in enumerate(addresses, 1):
        service = Apprise(asset=asset)
        if service.add(address):
            found.append(service)
        else:
            unknown.append(str(nth))
    if not unknown:
        return found, ""
    lines = f"address {unknown[0]}" if len(unknown) == 1 else f"addresses {', '.join(unknown)}"
    return found, f"Apprise knows no service for {lines} in the file of notify."


def sent(services: Sequence[object], title: str, sentence: str, picture: bytes | None) -> str:
    """The sentence to each service and then the picture, which not every one takes; what did not go, or nothing."""
    failed, late = 0, 0
    with tempfile.TemporaryDirectory() as folder:
        shown = Path(folder) / "night.png"
        if picture is not None:
            from sweeper.store import write_new

            write_new(shown, picture, 0o600)
        for service in services:
            result = service.notify(body=sentence, title=title, timeout=SERVICE_S)  # type: ignore[attr-defined]
            if result:
                if picture is not None:
                    service.notify(body=title, attach=str(shown), timeout=SERVICE_S)  # type: ignore[attr-defined]
            elif result.status.name == "TIMEOUT":
                late += 1
            else:
                failed += 1
    parts = []
    if failed:
        parts.append(f"{failed} of {len(services)} services did not take a message")
    if late:
        parts.append(f"{late} of {len(services)} did not answer in time; perhaps it arrived all the same")
    return f"{'; '.join(parts)}." if parts else ""


def _of_the_night(station: "Station", data: Path, message: Message) -> tuple[str, bytes]:
    """What the morning's message says, and its picture; without findings the passes alone are told."""
    from sweeper.daemon.service.health import health_sentence
    from sweeper.reduction import facts_of, reduce_store
    from sweeper.report.answer import answer_line
    from sweeper.report.shared_picture import picture_of
    from sweeper.store import Store

    place = station.station
    with Store(data, place.name, place.longitude, read_only=True) as store:
        passes = store.passes(message.night)
        health = health_sentence(passes, store.troubles)
        reduced = reduce_store(store, facts_of(station))
    line = answer_line(reduced.findings, place.timezone)
    return f"{line}. {health}", picture_of(reduced.findings, place.timezone, "png")
