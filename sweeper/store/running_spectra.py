"""Spectra of the running day, in its database: blobs, stored in the transaction of their pass."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from datetime import date

from sweeper.store.spectra import row_of
from sweeper.words import Spectra

TABLE = """\
CREATE TABLE spectra (pass INTEGER NOT NULL, number INTEGER NOT NULL, time_ms INTEGER NOT NULL, band TEXT NOT NULL,
  source TEXT NOT NULL, route TEXT NOT NULL, start_hz INTEGER NOT NULL, step_hz REAL NOT NULL, mean BLOB NOT NULL,
  low BLOB NOT NULL, segments INTEGER NOT NULL, gaps INTEGER NOT NULL, clipped REAL NOT NULL, envelope BLOB NOT NULL,
  PRIMARY KEY (pass, number));
"""
COLUMNS = (
    "time_ms, pass, band, source, route, start_hz, step_hz, mean, low, segments, gaps, clipped, envelope"
)


def insert(db: sqlite3.Connection, pass_number: int, spectra: Spectra) -> None:
    """Within the transaction of the pass."""
    values = ", ".join("?" * 14)
    for number, (band, one) in enumerate(spectra):
        db.execute(f"INSERT INTO spectra VALUES ({values})", (pass_number, number, *row_of(band, one)))


def select(db: sqlite3.Connection, day: date | None) -> Iterator[tuple[object, ...]]:
    """Rows in `COLUMNS`, of one day or of all, in order of pass and time."""
    where, values = ("WHERE day = ?", (day.isoformat(),)) if day else ("", ())
    return db.execute(
        f"SELECT {COLUMNS} FROM spectra JOIN passes ON passes.number = pass {where} ORDER BY pass, spectra.number",
        values,
    )


def days(db: sqlite3.Connection) -> list[str]:
    """The days that still have spectra here, as text."""
    found = db.execute(
        "SELECT DISTINCT day FROM passes WHERE number IN (SELECT pass FROM spectra) ORDER BY day"
    )
    return [str(row[0]) for row in found]
