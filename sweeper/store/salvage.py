"""What can still be read of a damaged database: small values, notes, and the records of finished days.

Not its readings: where some are lost, nobody could tell whether the others are whole.
"""

import sqlite3
from collections.abc import Iterable
from contextlib import closing, suppress
from datetime import date
from itertools import islice
from pathlib import Path
from typing import Any

MOST_ROWS = 1_000_000
"""A record every ten minutes for two decades."""
LONGEST_VALUE = 1_000_000
Rows = dict[str, list[tuple[Any, ...]]]


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
                    rows[table] = list(islice(old.execute(query, values), MOST_ROWS))
    return rows


def _is_table(old: sqlite3.Connection, name: str) -> bool:
    """Not a view in its place, which may have no end."""
    found = old.execute("SELECT 1 FROM sqlite_master WHERE type = 'table' AND name = ?", (name,))
    return found.fetchone() is not None
