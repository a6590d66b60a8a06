"""What is in flight at the rig: noted before it is touched, so that an end without warning still leaves a record.

A killed process and a power cut write nothing down. Whoever takes the rig next finds the note here, counts what the
relays may have done meanwhile and, if it was a pass, writes down what became of it.
"""

from collections.abc import Mapping
from contextlib import suppress
from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any

from sweeper.daemon.rig import relay_life
from sweeper.station import Station
from sweeper.store import Store, StoreError
from sweeper.words import PassRecord

SAVED_STATE = "receiver-as-found"
"""Under this key the store keeps how the receiver stood, from before the rig is touched until it is restored."""

IN_FLIGHT = "in-hand"
"""Under this key the store keeps what the rig was taken for: a pass with its start, or a command (no pass)."""

BECAUSE = "the program ended in the middle of it (killed, or without power)"


def mark_in_flight(
    store: Store, remembered: Mapping[str, Any], number: int | None = None, started: datetime | None = None
) -> None:
    """Keep how the receiver stood and what the rig is taken for, in one write. `StoreError` when it is not kept."""
    note = {"pass": number, "started": started.isoformat() if started is not None else None}
    store.remember_all({SAVED_STATE: dict(remembered), IN_FLIGHT: note})


def clear_in_flight(store: Store) -> None:
    """The rig is in its saved state again."""
    store.remember_all({SAVED_STATE: None, IN_FLIGHT: None})


def record_interrupted_pass(station: Station, store: Store, now: datetime) -> str:
    """Count and record what an end without warning cut short; one sentence about a pass, or empty.

    The caller holds the rig, and has no pass waiting to be stored.
    """
    try:
        note = store.recall(IN_FLIGHT)
        if not isinstance(note, Mapping):
            return ""
        number, started = note.get("pass"), note.get("started")
        if number is None or started is None:
            relay_life.count(store.folder, relay_life.moves_of_a_pass(station, 1), now)
            store.remember(IN_FLIGHT, None)
            return ""
        try:
            number, began = int(number), datetime.fromisoformat(started)
            began.timestamp()
            if began.tzinfo is None:
                raise ValueError("without its zone")
        except (ValueError, TypeError, OverflowError):
            store.remember(IN_FLIGHT, None)  # Nothing that was ever noted here.
            return ""
        if any(abs(record.started - began) < timedelta(milliseconds=1) for record in store.passes()):
            # It came to its record, with its moves counted; only the receiver was still to be put back.
            store.remember(IN_FLIGHT, None)
            return ""
        moves = relay_life.moves_of_a_pass(station, number)
        relay_life.count(store.folder, moves, now)
        record = PassRecord(number, began, began, "failed", BECAUSE, moves.total())
        free = store.next_pass_number()
        if record.number < free:  # Readings that were brought in meanwhile may have taken it.
            record = replace(record, number=free)
        store.write_pass(record, ())
        with suppress(StoreError):  # Its record says from now on that this is done.
            store.remember(IN_FLIGHT, None)
        return f"Pass {record.number}, begun at {began:%H:%M} UTC, has no readings: {BECAUSE}."
    except (ValueError, TypeError):
        with suppress(StoreError):
            store.remember(IN_FLIGHT, None)  # Nobody can tell what it once said.
        return ""
    except StoreError:
        return ""  # The note stays, and is looked at again by whoever takes the rig next.
