"""Passes with readings for tests of the store: every reading differs, so that none can stand in for another."""

from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np

from sweeper.store import Store
from sweeper.words import ANTENNA_BYPASS, ANTENNA_STAGE, Channel, Labelled, PassRecord, Reading, Spectrum

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


def spectra_of(number: int, started: datetime, bins: int = 12) -> list[tuple[str, Labelled]]:
    """What pass `number` heard on both routes: each bin differs, one is silent."""
    found = []
    for nth, path in enumerate((ANTENNA_BYPASS, ANTENNA_STAGE)):
        mean = 10 ** (-8 + (number + 2 * nth + np.arange(bins) / 16) / 10)
        mean[0] = 0.0
        low = (0.5 * mean).astype(np.float32) if number % 2 else None
        envelope = (
            None if nth else np.sqrt(np.geomspace(1.0, 0.1, 7))[None, None, :].astype(np.complex64)
        )  # at steps of its own
        one = Spectrum(7_037_500.0, 31.25, mean.astype(np.float32), low, 60 + nth, 62.5, envelope=envelope)
        at = started.timestamp() + 60.0 * nth
        found.append(("40 m", Labelled(at, at + 1.0, path, 7_037_500.0, one)))
    return found


def open_store(folder: Path, name: str = "Saltmarsh") -> Store:
    return Store(folder, name, LONGITUDE)


def fill(store: Store, started: datetime, count: int, every: timedelta = timedelta(minutes=10)) -> None:
    """Store `count` passes from `started` on."""
    for n in range(count):
        store.write_pass(*pass_of(store.next_pass_number(), started + n * every))
