"""A station's data folder: today in SQLite, finished days in Parquet, read as one."""

from __future__ import annotations

import json
import os
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import date, datetime, timedelta
from functools import partial
from pathlib import Path
from threading import RLock
from typing import Any, TypeVar

from sweeper.outside import json_of
from sweeper.store import finished
from sweeper.store.apart import written_apart
from sweeper.store.day_files import DayFiles
from sweeper.store.days import day_of
from sweeper.store.errors import DiskError, StoreError
from sweeper.store.files import folder_name, make_folder, set_aside
from sweeper.store.frames import empty, without_passes_of
from sweeper.store.lock import take_lock
from sweeper.store.manifest import keep_station_file, write_manifest
from sweeper.store.place import Place, moved, place_of
from sweeper.store.records import Note
from sweeper.store.running import Damaged, RunningDay, all_ordinary, fits
from sweeper.store.salvage import salvage
from sweeper.store.spectra import SPECTRA, thin_old
from sweeper.store.spectra import empty as no_spectra
from sweeper.tables import pl
from sweeper.words import PassRecord, Reading, Spectra

T = TypeVar("T")

_HIGHEST_PASS = "highest pass before this database"
"""Records of passes can be lost with a damaged database, but their numbers must not come again."""


class Store:
    """The readings of one station, in ``folder/station_name``.

    Opening for writing claims the station: a second writer is refused with `StoreError`, readers
    (`read_only`) are always welcome. `troubles` tells what was set aside or not read; `on_trouble` is told
    each once. `damaged`: a reader could not read the database.

    Before and after each write the open files must still be those of the folder. Where they are not, the write
    raises, and the next one opens what lies in the folder by then, if another program does not hold it.
    """

    def __init__(
        self,
        folder: Path | str,
        station_name: str,
        longitude: float,
        *,
        read_only: bool = False,
        on_trouble: Callable[[str], None] = lambda sentence: None,
    ) -> None:
        self.folder = Path(folder) / folder_name(station_name)
        self.troubles: tuple[str, ...] = ()
        self.damaged = False
        self.on_trouble = on_trouble
        self.longitude = longitude
        self._guard = RLock()
        self._read_only = read_only
        self._lock: int | None = None
        self._running: RunningDay | None = None
        self._place: Place | None = {}
        self._file = self.folder / "today.sqlite"
        self._aside = self.folder / "set-aside"
        self._days = DayFiles(finished.READINGS, self.folder, self._aside, self._trouble)
        self._spectra = DayFiles(SPECTRA, self.folder, self._aside, self._trouble)
        if not read_only:
            self._open()

    def close(self) -> None:
        """Let go of the files and of the station."""
        with self._guard:
            self._place = {}
            self._let_go()

    def __enter__(self) -> Store:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    # Writing

    def stand_by(self) -> None:
        """Make sure that the open files are those of the folder; where it was replaced, open what lies there now.

        `StoreError` when there is no folder any more, or another program has it.
        """
        with self._guard:
            if self._read_only or (self._place is not None and moved(self._place) is None):
                return
            if not self.folder.is_dir():
                raise DiskError(
                    f"{self.folder}: the data folder is gone, so nothing can be stored. Put it back where it was, or "
                    "stop this program, which writes into no other."
                )
            self._place = None
            make_folder(self._days.folder)
            before, self._running = self._running, None
            try:
                if before is not None and not self._file.exists():
                    before.copy_to(self._file)
            finally:
                if before is not None:
                    before.close()
                self._let_go()
            self._open()
            self._trouble(
                f"{self.folder}: the data folder was replaced meanwhile; what lies there now is in use."
            )

    def write_again(
        self, record: PassRecord, readings: Sequence[Reading], spectra: Spectra = ()
    ) -> PassRecord:
        """Store a pass that was refused before, and perhaps stored all the same; as what it is stored.

        It gets another number where the one it had was given to another pass meanwhile.
        """
        with self._guard:
            self.stand_by()
            taken = {each.number: each.started for each in self.passes()}.get(record.number)
            if taken is not None and abs(taken - record.started) < timedelta(milliseconds=1):
                return record
            if taken is not None:
                number = self.next_pass_number()
                record = replace(record, number=number)
                readings = [replace(reading, pass_number=number) for reading in readings]
            self.write_pass(record, readings, spectra)
            return record

    def write_pass(self, record: PassRecord, readings: Sequence[Reading], spectra: Spectra = ()) -> None:
        """Store a pass: on the disk when this returns, and nothing of it when this raises."""
        self._keep(
            lambda running: running.write([(record, readings)], self.longitude, {record.number: spectra})
        )

    def write_passes(self, passes: Iterable[tuple[PassRecord, Sequence[Reading]]]) -> None:
        """Store several passes at once: all of them or none. They may be gone through twice."""
        self._keep(lambda running: running.write(passes, self.longitude))

    def finish_days(
        self,
        now: datetime,
        apart: bool = False,
        most: int | None = None,
        keep_spectra_days: int | None = None,
    ) -> tuple[date, ...]:
        """Turn the days that are over into Parquet files; which they were.

        Repeatable: after a crash between file and database, readings are in both, are read once, and
        the next call lets go of the database's. `apart`: each day in a process of its own, so that what the work
        takes of memory is given back with it, however many days there are. `most`: the first so many only.
        `keep_spectra_days`: spectra that are older become pictures; None leaves all as they are.
        """
        with self._guard:
            self.stand_by()
            today = day_of(now, self.longitude)
            here = {*self._write(RunningDay.days), *self._write(RunningDay.days_of_spectra)}
            over = sorted(day for day in here if day < today)[:most]
            for day in over:
                passes = self._write_day_apart(day) if apart else self.write_day(day)
                self._write(partial(RunningDay.forget_readings, passes=passes))
            if over:
                self._write(RunningDay.tidy)
            thin = keep_spectra_days is not None and thin_old(self._spectra, today, keep_spectra_days)
            if over or thin:
                write_manifest(self.folder)
            return tuple(over)

    def write_day(self, day: date) -> list[int]:
        """Put a day's readings and spectra into their files; the passes that may leave the database by now."""
        readings = self._read(partial(RunningDay.frame, day=day), empty())
        self._days.add(day, readings)
        heard = self._read(partial(RunningDay.spectra, day=day), no_spectra())
        self._spectra.add(day, heard)
        passes: list[int] = pl.concat([readings["pass"], heard["pass"]]).unique().to_list()
        return passes

    def _write_day_apart(self, day: date) -> list[int]:
        found = written_apart(partial(_written_there, self.folder, self.longitude, day), self.folder, day)
        if found is None:  # only who holds the database sets it aside
            return self.write_day(day)
        passes, troubles = found
        for trouble in troubles:
            self.on_trouble(trouble)
        return passes

    def add_note(self, time: datetime, text: str) -> None:
        """Keep a person's remark."""
        self._keep(lambda running: running.add_note(Note(time, text)))

    def remember(self, key: str, value: Any) -> None:
        """Keep a small value, of what JSON can carry, across crashes."""
        self._keep(lambda running: running.remember(key, json.dumps(value)))

    def remember_all(self, values: Mapping[str, Any]) -> None:
        """Keep several small values in one write: all of them or none."""
        self._keep(
            lambda running: running.remember_all({key: json.dumps(value) for key, value in values.items()})
        )

    def keep_station_file(self, text: str) -> None:
        """Keep the station file that the readings were taken under beside them."""
        keep_station_file(self.folder, text)

    # Reading

    def recall(self, key: str, default: Any = None) -> Any:
        """What was last remembered under `key`."""
        found = self._read(lambda running: running.recall(key), None)
        try:
            return default if found is None else json_of(found)
        except ValueError:
            return default

    def notes(self) -> tuple[Note, ...]:
        return self._read(RunningDay.notes, ())

    def passes(self, day: date | None = None) -> tuple[PassRecord, ...]:
        """The record of every pass, or of those of one day, in order."""
        return self._read(lambda running: running.passes(day), ())

    def next_pass_number(self) -> int:
        """One more than the highest pass number ever stored here."""
        before = self.recall(_HIGHEST_PASS, 0)
        last = max(self._read(RunningDay.last_pass, 0), before if isinstance(before, int) else 0)
        if last == 0:  # No database, but perhaps days from another computer.
            last = max((finished.last_pass(file) for file in self._days.sound().values()), default=0)
        return last + 1

    def days(self) -> tuple[date, ...]:
        """The days that have readings, in order."""
        running = self._read(RunningDay.days, tuple[date, ...]())
        return tuple(sorted({*running, *self._days.listed()}))

    def day(self, day: date) -> pl.DataFrame:
        """The readings of one day, in the order in which they were taken."""
        running = self._read(lambda each: each.frame(day), None)  # First, as in `readings`.
        written = self._days.frame(day)
        if written is None:
            return empty() if running is None else running
        if running is None or running.is_empty():
            return written
        return written.vstack(without_passes_of(running, written)).sort("pass", maintain_order=True)

    def day_identities(self) -> dict[date, str]:
        """For each day whose readings can be read, in order, a text that changes whenever its file does.

        Empty while readings of the day are still in the database.
        """
        running = self._read(RunningDay.days, tuple[date, ...]())
        found = {**self._days.identities(but=running), **dict.fromkeys(running, "")}
        return dict(sorted(found.items()))

    def readings(self, start: datetime | None = None, end: datetime | None = None) -> pl.LazyFrame:
        """All readings from `start` to before `end` (aware instants), whichever files they are in."""
        # The database first: what moves to a file meanwhile is then seen twice and counted once, never missed.
        running_days, running = self._read(RunningDay.days_and_frame, (tuple[date, ...](), empty()))
        return self._joined(self._days, running, running_days, start, end)

    def spectra(self, start: datetime | None = None, end: datetime | None = None) -> pl.LazyFrame:
        """All spectra from `start` to before `end` (aware instants), of whole days and, thinned, of older ones."""
        running_days, running = self._read(RunningDay.days_and_spectra, (tuple[date, ...](), no_spectra()))
        return self._joined(self._spectra, running, running_days, start, end)

    def _joined(
        self,
        days: DayFiles,
        running: pl.DataFrame,
        running_days: Sequence[date],
        start: datetime | None,
        end: datetime | None,
    ) -> pl.LazyFrame:
        """What the days' files hold from `start` to before `end`, and what is still in the database."""
        whole = days.sound()
        for day in whole.keys() & set(running_days):
            running = without_passes_of(running, days.scan(whole[day]).select("pass").unique().collect())
        frames = []
        for day, file in whole.items():
            if start is not None and day < day_of(start, self.longitude) - timedelta(days=1):
                continue  # A pass that crosses noon belongs to the day it began on.
            if end is not None and day > day_of(end, self.longitude):
                continue
            frames.append(days.scan(file))
        found = pl.concat([*frames, running.lazy()])
        if start is not None:
            found = found.filter(pl.col("time") >= start)
        if end is not None:
            found = found.filter(pl.col("time") < end)
        return found

    # Files

    def _open(self) -> None:
        make_folder(self._days.folder)
        self._lock = take_lock(self.folder / "lock")
        try:
            try:
                self._running = RunningDay(self._file, writable=True)
            except Damaged:
                self._begin_anew()
            self._days.set_torn_aside()
            self._spectra.set_torn_aside()
        except BaseException:
            self._let_go()
            raise
        self._remember_place()

    def _remember_place(self) -> None:
        log, index = (self._file.with_name(f"{self._file.name}{end}") for end in ("-wal", "-shm"))
        self._place = place_of((self.folder / "lock", self._file, log, index))

    def _let_go(self) -> None:
        if self._running is not None:
            self._running.close()
            self._running = None
        if self._lock is not None:
            os.close(self._lock)
            self._lock = None

    def _begin_anew(self) -> None:
        """Set a damaged database aside, with its log, and begin a new one with what can be salvaged."""
        rows = salvage(self._file, self._days.listed()) if all_ordinary(self._file) else {}
        kept = [
            set_aside(file, self._aside)
            for file in (
                self._file,
                *(self._file.with_name(f"{self._file.name}{end}") for end in ("-wal", "-shm")),
            )
            if os.path.lexists(file)
        ]
        self._trouble(
            f"{self._file}: the database is damaged. It was set aside as {', '.join(map(str, kept))}, nothing was "
            "deleted, and a new one was begun. Finished days are not concerned."
        )
        self._running = RunningDay(self._file, writable=True)
        self._running.take_over({table: list(filter(fits(table), found)) for table, found in rows.items()})
        highest = max((finished.last_pass(file) for file in self._days.sound().values()), default=0)
        self._running.remember(_HIGHEST_PASS, json.dumps(highest))

    def _trouble(self, sentence: str) -> None:
        if sentence not in self.troubles:
            self.troubles = (*self.troubles, sentence)
            self.on_trouble(sentence)

    def _keep(self, doing: Callable[[RunningDay], T]) -> T:
        """Write into the folder as it is now."""
        with self._guard:
            self.stand_by()
            return self._write(doing)

    def _write(self, doing: Callable[[RunningDay], T]) -> T:
        """Write, and vouch that it is in the folder: what a deleted file takes is not stored."""
        with self._guard:
            self._still_there()
            done = self._use(doing)
            self._still_there()
            return done

    def _still_there(self) -> None:
        gone = moved(self._place) if self._place is not None else self.folder
        if gone is not None:
            raise DiskError(
                f"{gone}: this is no longer the file that was opened here, so nothing counts as stored. Was the data "
                "folder deleted, replaced or unmounted? Put it back."
            )

    def _use(self, doing: Callable[[RunningDay], T]) -> T:
        if self._running is None:
            raise StoreError(f"{self.folder}: opened for reading, or closed; nothing can be stored.")
        try:
            return doing(self._running)
        except Damaged:
            self._running.close()
            self._running = None
            self._begin_anew()
            self._remember_place()
            assert self._running is not None
            return doing(self._running)

    def _read(self, doing: Callable[[RunningDay], T], absent: T) -> T:
        with self._guard:
            if self._running is not None:
                return self._use(doing)
            if self._place is None:
                raise DiskError(f"{self.folder}: the data folder is gone or another program has it.")
            if not self._file.exists():
                return absent
            try:
                running = RunningDay(self._file, writable=False)
                try:
                    return doing(running)
                finally:
                    running.close()
            except Damaged:
                self.damaged = True
                self._trouble(
                    f"{self._file}: the database is damaged and not read; the next `sweeper run` sets it aside."
                )
                return absent


def _written_there(folder: Path, longitude: float, day: date) -> tuple[list[int], tuple[str, ...]] | None:
    """`Store.write_day` in another process: the passes that are in the file by now, and what went wrong.

    None where the database is damaged: then something of the day may be in no file, whatever was written.
    """
    with Store(folder.parent, folder.name, longitude, read_only=True) as store:
        passes = store.write_day(day)
        return None if store.damaged else (passes, store.troubles)
