"""The running day in SQLite: one transaction a pass, on the disk before it counts (WAL, synchronous=FULL)."""

from __future__ import annotations

import json
import os
import sqlite3
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import closing, contextmanager, suppress
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any, get_args

from sweeper.outside import json_of
from sweeper.store import running_spectra
from sweeper.store.days import day_of
from sweeper.store.errors import DiskError, StoreError
from sweeper.store.files import told
from sweeper.store.frames import empty, problem_of, schema
from sweeper.store.records import LONGEST_VALUE, Note
from sweeper.store.salvage import Rows
from sweeper.store.spectra import empty as spectra_empty
from sweeper.store.spectra import frame_of
from sweeper.store.spectra import problem_of as problem_of_spectra
from sweeper.tables import pl
from sweeper.words import Channel, Outcome, PassRecord, Reading, Spectra

_TABLES = """
CREATE TABLE passes (number INTEGER PRIMARY KEY, day TEXT NOT NULL,
  started_ms INTEGER NOT NULL, ended_ms INTEGER NOT NULL, outcome TEXT NOT NULL, because TEXT NOT NULL,
  relay_operations INTEGER NOT NULL, left_over TEXT NOT NULL, unknown_settings TEXT NOT NULL);
CREATE INDEX passes_by_day ON passes (day);
CREATE TABLE channels (id INTEGER PRIMARY KEY, band TEXT NOT NULL, hz INTEGER NOT NULL, purpose TEXT NOT NULL,
  bandwidth_hz INTEGER NOT NULL, UNIQUE (band, hz, purpose, bandwidth_hz));
CREATE TABLE readings (pass INTEGER NOT NULL, number INTEGER NOT NULL, time_ms INTEGER NOT NULL,
  channel INTEGER NOT NULL, source TEXT NOT NULL, route TEXT NOT NULL, reading REAL NOT NULL, dbm REAL,
  flags TEXT NOT NULL, PRIMARY KEY (pass, number)) WITHOUT ROWID;
CREATE TABLE notes (time_ms INTEGER NOT NULL, text TEXT NOT NULL);
CREATE TABLE memory (key TEXT PRIMARY KEY, value TEXT NOT NULL);
"""
VERSION = 2
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_ROWS_AT_ONCE = 10_000
"""Rows as Python values take twenty times the room that they take in a frame."""


def milliseconds(time: datetime) -> int:
    """An aware instant as whole milliseconds since 1970."""
    if time.tzinfo is None:
        raise ValueError("an instant needs its zone, such as 2026-11-01T16:00:00+00:00")
    return round((time - _EPOCH).total_seconds() * 1000)


def instant(time_ms: int) -> datetime:
    """The UTC instant of whole milliseconds since 1970."""
    return datetime.fromtimestamp(time_ms // 1000, UTC).replace(microsecond=time_ms % 1000 * 1000)


class Damaged(StoreError):
    """The database is not one, or is torn: it can only be set aside."""

    def __init__(self, file: Path) -> None:
        super().__init__(f"{file}: the database is damaged.")


class RunningDay:
    """The SQLite file. Used by one thread at a time; `Store` sees to that."""

    def __init__(self, file: Path, writable: bool) -> None:
        self._file = file
        self._connection = self._open(file, writable)

    @staticmethod
    def _open(file: Path, writable: bool) -> sqlite3.Connection:
        with told("open it", file):
            if not all_ordinary(file):
                raise Damaged(file)
        mode = "rwc" if writable else "ro"
        path = file.absolute().as_uri()
        if not writable and not os.access(file.parent, os.W_OK):
            # A reader that cannot write here cannot make the log's index either; without a log it needs none.
            log, index = (file.with_name(f"{file.name}{end}") for end in ("-wal", "-shm"))
            if not _has_content(log) and not index.exists():
                mode += "&immutable=1"
        with _told(file):
            connection = sqlite3.connect(
                f"{path}?mode={mode}", uri=True, isolation_level=None, check_same_thread=False, timeout=30
            )
            try:
                connection.execute("PRAGMA busy_timeout = 30000")
                connection.setlimit(sqlite3.SQLITE_LIMIT_LENGTH, LONGEST_VALUE)
                connection.execute("PRAGMA trusted_schema = OFF")
                if writable:
                    connection.execute("PRAGMA journal_mode = WAL")
                    connection.execute("PRAGMA synchronous = FULL")
                    version = connection.execute("PRAGMA user_version").fetchone()[0]
                    if version > VERSION:
                        raise StoreError(
                            f"{file}: a newer version of this program wrote it. Install that version again; nothing "
                            "was changed."
                        )
                    if version == 1 and not _has_our_tables(connection):
                        raise Damaged(file)
                    if version < VERSION:  # version 1 had no spectra
                        tables = running_spectra.TABLE if version else _TABLES + running_spectra.TABLE
                        connection.executescript(
                            f"BEGIN IMMEDIATE; {tables} PRAGMA user_version = {VERSION}; COMMIT;"
                        )
                    if connection.execute("PRAGMA quick_check(1)").fetchone()[0] != "ok":
                        raise Damaged(file)
                if not _has_our_tables(connection):
                    raise Damaged(file)
            except BaseException:
                connection.close()
                raise
        return connection

    def close(self) -> None:
        self._connection.close()

    def copy_to(self, file: Path) -> None:
        """All that is in here, also after the file itself was deleted, as a new database at `file`."""
        with _told(file), closing(sqlite3.connect(file)) as copy:
            self._connection.backup(copy)

    @contextmanager
    def _transaction(self) -> Iterator[sqlite3.Connection]:
        with _told(self._file):
            self._connection.execute("BEGIN IMMEDIATE")
            try:
                yield self._connection
                self._connection.execute("COMMIT")
            except BaseException:
                if self._connection.in_transaction:
                    self._connection.execute("ROLLBACK")
                raise

    def write(
        self,
        passes: Iterable[tuple[PassRecord, Sequence[Reading]]],
        longitude: float,
        spectra: Mapping[int, Spectra] | None = None,
    ) -> None:
        """Store passes with their readings, and spectra by the number of their pass: all of them or none."""
        with self._transaction() as db:
            for record, readings in passes:
                if any(reading.pass_number != record.number for reading in readings):
                    raise ValueError(f"a reading of another pass is among those of pass {record.number}")
                day = day_of(record.started, longitude).isoformat()
                db.execute(
                    "INSERT INTO passes VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)",
                    (
                        record.number,
                        day,
                        milliseconds(record.started),
                        milliseconds(record.ended),
                        record.outcome,
                        record.because,
                        record.relay_operations,
                        json.dumps(record.left_over),
                        json.dumps(record.unknown_settings),
                    ),
                )
                ids = {channel: self._channel(db, channel) for channel in {each.channel for each in readings}}
                db.executemany(
                    "INSERT INTO readings VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)",
                    (
                        (
                            record.number,
                            number,
                            milliseconds(each.time),
                            ids[each.channel],
                            each.path.source,
                            each.path.route,
                            each.reading,
                            each.dbm,
                            each.flags,
                        )
                        for number, each in enumerate(readings)
                    ),
                )
                running_spectra.insert(db, record.number, (spectra or {}).get(record.number, ()))

    @staticmethod
    def _channel(db: sqlite3.Connection, channel: Channel) -> int:
        values = (channel.band, channel.hz, channel.purpose, channel.bandwidth_hz)
        db.execute(
            "INSERT OR IGNORE INTO channels (band, hz, purpose, bandwidth_hz) VALUES (?, ?, ?, ?)", values
        )
        found: int = db.execute(
            "SELECT id FROM channels WHERE band = ? AND hz = ? AND purpose = ? AND bandwidth_hz = ?", values
        ).fetchone()[0]
        return found

    def take_over(self, rows: Rows) -> None:
        """Put in what was salvaged; a row that does not fit is left out."""
        with self._transaction() as db:
            for table, values in rows.items():
                for row in values:
                    with suppress(sqlite3.IntegrityError, sqlite3.OperationalError):
                        db.execute(f"INSERT INTO {table} VALUES ({', '.join('?' * len(row))})", row)

    def days(self) -> tuple[date, ...]:
        """The days that still have readings here."""
        rows = self._rows(
            "SELECT DISTINCT day FROM passes WHERE EXISTS (SELECT 1 FROM readings WHERE pass = passes.number) "
            "ORDER BY day"
        )
        with _as_stored(self._file):
            return tuple(date.fromisoformat(row[0]) for row in rows)

    def frame(self, day: date | None = None) -> pl.DataFrame:
        """The readings that are still here, of one day or of all."""
        where, values = ("WHERE day = ?", (day.isoformat(),)) if day else ("", ())
        names = schema()
        raw = {name: (pl.Int64() if name == "time" else kind) for name, kind in names.items()}
        parts = [empty()]
        with _told(self._file), _as_stored(self._file):
            cursor = self._connection.execute(
                "SELECT time_ms, pass, band, hz, purpose, source, route, reading, dbm, bandwidth_hz, flags "
                "FROM readings JOIN passes ON passes.number = pass JOIN channels ON channels.id = channel "
                f"{where} ORDER BY day, pass, readings.number",
                values,
            )
            while rows := cursor.fetchmany(_ROWS_AT_ONCE):
                columns = dict(zip(names, zip(*rows, strict=True), strict=True))
                time = pl.from_epoch("time", time_unit="ms").dt.replace_time_zone("UTC").cast(names["time"])
                parts.append(pl.DataFrame(columns, schema=raw).with_columns(time))
            found = pl.concat(parts)
            if problem := problem_of(found.lazy()):
                raise ValueError(problem)
        return found

    def days_of_spectra(self) -> tuple[date, ...]:
        """The days that still have spectra here."""
        if not self._has_spectra():
            return ()
        with _told(self._file), _as_stored(self._file):
            return tuple(date.fromisoformat(day) for day in running_spectra.days(self._connection))

    def spectra(self, day: date | None = None) -> pl.DataFrame:
        """The spectra that are still here, of one day or of all."""
        if not self._has_spectra():
            return spectra_empty()
        with _told(self._file), _as_stored(self._file):
            found = frame_of(running_spectra.select(self._connection, day))
            if problem := problem_of_spectra(found.lazy()):
                raise ValueError(problem)
        return found

    def _has_spectra(self) -> bool:
        """A database of version 1 that is only read has none."""
        return bool(self._rows("SELECT 1 FROM sqlite_master WHERE type = 'table' AND name = 'spectra'"))

    def days_and_frame(self) -> tuple[tuple[date, ...], pl.DataFrame]:
        """The days that still have readings here and those readings, as they were at one moment."""
        with self._one_moment():
            return self.days(), self.frame()

    def days_and_spectra(self) -> tuple[tuple[date, ...], pl.DataFrame]:
        """The same of spectra."""
        with self._one_moment():
            return self.days_of_spectra(), self.spectra()

    @contextmanager
    def _one_moment(self) -> Iterator[None]:
        with _told(self._file):
            self._connection.execute("BEGIN")
            try:
                yield
            finally:
                if self._connection.in_transaction:
                    self._connection.execute("ROLLBACK")

    def forget_readings(self, passes: Sequence[int]) -> None:
        """Delete readings and spectra of passes that are in a finished day by now; their records stay."""
        with self._transaction() as db:
            for table in ("readings", "spectra"):
                db.executemany(f"DELETE FROM {table} WHERE pass = ?", ((number,) for number in passes))

    def tidy(self) -> None:
        """Fold the log into the file, so that it does not grow for ever."""
        with _told(self._file):
            self._connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")

    def passes(self, day: date | None = None) -> tuple[PassRecord, ...]:
        where, values = ("WHERE day = ?", (day.isoformat(),)) if day else ("", ())
        rows = self._rows(
            "SELECT number, started_ms, ended_ms, outcome, because, relay_operations, left_over, unknown_settings "
            f"FROM passes {where} ORDER BY number",
            values,
        )
        with _as_stored(self._file):
            return tuple(record_of(row) for row in rows)

    def last_pass(self) -> int:
        with _as_stored(self._file):
            return int(self._rows("SELECT coalesce(max(number), 0) FROM passes")[0][0])

    def add_note(self, note: Note) -> None:
        with self._transaction() as db:
            db.execute("INSERT INTO notes VALUES (?, ?)", (milliseconds(note.time), note.text))

    def notes(self) -> tuple[Note, ...]:
        rows = self._rows("SELECT time_ms, text FROM notes ORDER BY time_ms, rowid")
        with _as_stored(self._file):
            return tuple(note_of(row) for row in rows)

    def remember(self, key: str, value: str) -> None:
        self.remember_all({key: value})

    def remember_all(self, values: Mapping[str, str]) -> None:
        with self._transaction() as db:
            db.executemany("INSERT OR REPLACE INTO memory VALUES (?, ?)", values.items())

    def recall(self, key: str) -> str | None:
        rows = self._rows("SELECT value FROM memory WHERE key = ?", (key,))
        return str(rows[0][0]) if rows else None

    def _rows(self, query: str, values: tuple[object, ...] = ()) -> list[Any]:
        with _told(self._file):
            return self._connection.execute(query, values).fetchall()


def record_of(row: Sequence[Any]) -> PassRecord:
    """The record in a row of `passes` (without its day). ValueError or TypeError when this is none."""
    number, started_ms, ended_ms, outcome, because, operations, left_over, unknown = row
    if outcome not in get_args(Outcome) or not isinstance(because, str):
        raise ValueError("this is no outcome")
    return PassRecord(
        number=int(number),
        started=instant(started_ms),
        ended=instant(ended_ms),
        outcome=outcome,
        because=because,
        relay_operations=int(operations),
        left_over=_words(left_over),
        unknown_settings=_words(unknown),
    )


def note_of(row: Sequence[Any]) -> Note:
    """The note in a row of `notes`. ValueError or TypeError when this is none."""
    time_ms, text = row
    if not isinstance(text, str):
        raise ValueError("this is no note")
    return Note(instant(time_ms), text)


def fits(table: str) -> Callable[[Sequence[Any]], bool]:
    """Whether a row of `table`, as salvaged from a damaged database, can be read as what it should be."""

    def fit(row: Sequence[Any]) -> bool:
        try:
            if table == "passes":
                number, day, *rest = row
                date.fromisoformat(day)
                record_of((number, *rest))
            elif table == "notes":
                note_of(row)
            else:
                json_of(row[1])
        except (ValueError, TypeError, OverflowError, OSError):
            return False
        return True

    return fit


def _words(text: str) -> tuple[str, ...]:
    words = json_of(text)
    if not isinstance(words, list) or not all(isinstance(word, str) for word in words):
        raise ValueError("these are no words")
    return tuple(words)


def _has_our_tables(connection: sqlite3.Connection) -> bool:
    """Whether the tables are those that this program makes: a view in a table's place may have no end."""
    with closing(sqlite3.connect(":memory:")) as ours:
        ours.executescript(_TABLES)
        if connection.execute("PRAGMA user_version").fetchone()[0] > 1:
            ours.executescript(running_spectra.TABLE)
        return _definitions(connection) == _definitions(ours)


def _definitions(connection: sqlite3.Connection) -> set[tuple[Any, ...]]:
    names = ("passes", "channels", "readings", "notes", "memory", "spectra")
    return set(
        connection.execute(
            f"SELECT type, name, sql FROM sqlite_master WHERE (name IN {names} OR tbl_name IN {names}) "
            "AND type IN ('table', 'view', 'trigger')"
        )
    )


def all_ordinary(file: Path) -> bool:
    """Whether the database, its log and the log's index are files of the folder, where they are there.

    A pipe would be waited for, and a link would have tables made in somebody else's file.
    """
    beside = (file.with_name(f"{file.name}{end}") for end in ("", "-wal", "-shm"))
    return all(each.is_file() and not each.is_symlink() for each in beside if os.path.lexists(each))


def _has_content(file: Path) -> bool:
    try:
        return file.stat().st_size > 0
    except OSError:
        return False


@contextmanager
def _as_stored(file: Path) -> Iterator[None]:
    """What SQLite hands out without a word may still be nothing that was ever stored here."""
    try:
        yield
    except (ValueError, TypeError, OverflowError, OSError, pl.exceptions.PolarsError) as error:
        raise Damaged(file) from error


DISK = (sqlite3.SQLITE_FULL, sqlite3.SQLITE_READONLY, sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_IOERR)


@contextmanager
def _told(file: Path) -> Iterator[None]:
    """Turn SQLite's errors into ours."""
    with told("use it", file):
        try:
            yield
        except sqlite3.IntegrityError as error:
            raise StoreError(
                f"{file}: this pass does not fit what is stored: {error}. Nothing of it was stored."
            ) from error
        except sqlite3.DatabaseError as error:
            code = (error.sqlite_errorcode or 0) & 0xFF if hasattr(error, "sqlite_errorcode") else 0
            if code in (sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB, sqlite3.SQLITE_TOOBIG) or (
                code == sqlite3.SQLITE_ERROR and "no such" in str(error)
            ):
                raise Damaged(file) from error
            why = {
                sqlite3.SQLITE_FULL: "the disk is full. Free some space; what is stored already is safe.",
                sqlite3.SQLITE_READONLY: "it is read-only. Mount the disk writable and give this user the folder.",
                sqlite3.SQLITE_CANTOPEN: "it cannot be opened. Check that the folder exists and belongs to this user.",
                sqlite3.SQLITE_IOERR: "the disk reports an error, or is full. Free some space, or look after the disk.",
                sqlite3.SQLITE_BUSY: "another program holds it for longer than 30 s. Close that program.",
            }.get(code, f"{error}.")
            kind = DiskError if code in DISK else StoreError
            raise kind(f"{file}: cannot use it: {why}") from error
