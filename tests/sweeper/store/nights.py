"""Passes with readings for tests of the store: every reading differs, so that none can stand in for another."""

from datetime import UTC, datetime, timedelta
from pathlib import Path

from sweeper.store import Store
from sweeper.words import ANTENNA_BYPASS, ANTENNA_STAGE, Channel, PassRecord, Reading

LONGITUDE = 8.1
CHANNELS = (Channel("40 m", 7_038_500, "noise", 2400), Channel("40 m", 7_202_000, "carrier", 2400))
EVENING = datetime(2026, 11, 1, 16, tzinfo=UTC)


def pass_of(
    number: int, started: datetime, readings_a_visit: int = 4
) -> tuple[PassRecord, tuple[Reading, ...]]:
    """Pass `number`, in the order bypass, stage, stage, bypass."""
    readings = []
    time = started
    for path in (ANTENNA_BYPASS, ANTENNA_STAGE, ANTENNA_STAGE, ANTENNA_BYPASS):
        for channel in CHANNELS:
            for _ in range(readings_a_visit):
                value = -60.0 + number + len(readings) / 64
                readings.append(
                    Reading(
                        time, number, channel, path, value, value - 73, "stale" if number % 3 == 0 else ""
                    )
                )
                time += timedelta(milliseconds=50)
    return PassRecord(number, started, time, "done", "", relay_operations=2), tuple(readings)


def open_store(folder: Path, name: str = "Saltmarsh") -> Store:
    return Store(folder, name, LONGITUDE)


def fill(store: Store, started: datetime, count: int, every: timedelta = timedelta(minutes=10)) -> None:
    """Store `count` passes from `started` on."""
    for n in range(count):
        store.write_pass(*pass_of(store.next_pass_number(), started + n * every))
