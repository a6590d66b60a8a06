"""What can still be read of a damaged database: small values, notes, and the records of finished days.

Not its readings: where some are lost, nobody could tell whether the others are whole.
"""

import sqlite3
from collections.abc import Iterable
from contextlib import closing, suppress
from datetime import date
from pathlib import Path
from typing import Any

Rows = dict[str, list[tuple[Any, ...]]]

MOST_ROWS = 1_000_000
"""More records than a station makes in a lifetime of passes; whoever wrote more was not this program."""
LONGEST_VALUE = 1_000_000
"""Bytes, as in a healthy database."""


def salvage(file: Path, finished_days: Iterable[date]) -> Rows:
    """Rows by table, as far as they can be read. Nothing is written."""
    days = [day.isoformat() for day in finished_days]
    queries: dict[str, tuple[str, tuple[str, ...]]] = {
        "memory": ("SELECT key, value FROM memory", ()),
        "notes": ("SELECT time_ms, text FROM notes", ()),
        "passes": (f"SELECT * FROM passes WHERE day IN ({', '.join('?' * len(days))})", tuple(days)),
    }
    rows: Rows = {}
    with (
        suppress(sqlite3.Error),
        closing(sqlite3.connect(f"{file.absolute().as_uri()}?mode=ro", uri=True)) as old,
    ):
        old.setlimit(sqlite3.SQLITE_LIMIT_LENGTH, LONGEST_VALUE)
        old.execute("PRAGMA trusted_schema = OFF")
        for table, (query, values) in queries.items():
            with suppress(sqlite3.Error):
                if _is_table(old, table):
                    rows[table] = old.execute(query, values).fetchmany(MOST_ROWS)
    return rows


def _is_table(connection: sqlite3.Connection, name: str) -> bool:
    """Whether it is a table of its own: a view in its place may have no end."""
    found = connection.execute("SELECT type, sql FROM sqlite_master WHERE name = ?", (name,)).fetchall()
    return len(found) == 1 and found[0][0] == "table" and "VIRTUAL" not in str(found[0][1]).upper()
