"""The files of finished days in a station's folder: which there are, whether they are what was written, and making way.

Knows no database; `finished` knows the form of one file.
"""

from __future__ import annotations

from collections.abc import Callable, Collection
from datetime import date
from pathlib import Path

from sweeper.store import finished
from sweeper.store.files import make_folder, set_aside, told
from sweeper.store.finished import Form
from sweeper.store.frames import without_passes_of
from sweeper.store.manifest import digest_of, has_rotted
from sweeper.tables import pl


class DayFiles:
    """Finished days of one station, of one form. `trouble` is told what is not read and what was set aside."""

    def __init__(self, form: Form, station: Path, aside: Path, trouble: Callable[[str], None]) -> None:
        self.folder = station / form.folder
        self._form = form
        self._station = station
        self._aside = aside
        self._trouble = trouble

    def listed(self) -> dict[date, Path]:
        """The files that are named like a day, whatever is in them."""
        return finished.list_days(self.folder)[0]

    def sound(self) -> dict[date, Path]:
        """The days that can be read."""
        days, strange = finished.list_days(self.folder)
        for file in strange:
            self._trouble(f"{file}: this is no day of {self._form.holds}, so it is not read.")
        return {day: file for day, file in days.items() if self._is_sound(file)}

    def scan(self, file: Path) -> pl.LazyFrame:
        """What a day's file holds."""
        return finished.scan_day(file, self._form)

    def frame(self, day: date) -> pl.DataFrame | None:
        """What is stored of a finished day; None where it has no file that can be read."""
        file = self.folder / finished.file_name(day)
        return self.scan(file).collect() if file.exists() and self._is_sound(file) else None

    def identities(self, but: Collection[date]) -> dict[date, str]:
        """A text for each day `but` these that changes whenever its file does."""
        found = {}
        for day, file in self.listed().items():
            try:
                if day not in but and not self._has_rotted(file):
                    found[day] = digest_of(file)
            except OSError:
                continue  # Gone since it was listed.
        return found

    def add(self, day: date, rows: pl.DataFrame) -> None:
        """Put rows into a day's file, beside those of other passes that are there.

        A file there that cannot be read is not overwritten: it might be mended one day.
        """
        written = self.frame(day)
        new = rows if written is None else without_passes_of(rows, written)
        if new.is_empty():
            return
        file = self.folder / finished.file_name(day)
        make_folder(self.folder)
        if written is not None:
            new = written.vstack(new).sort("pass", maintain_order=True)
        elif file.exists():
            self._trouble(f"{file}: it was set aside as {set_aside(file, self._aside)}.")
        finished.write_day(self.folder, day, new, self._form)

    def set_torn_aside(self) -> None:
        """Out of the way with what is no whole day."""
        days, strange = finished.list_days(self.folder)
        torn = (file for file in days.values() if not finished.is_whole(file, self._form))
        for file in (*torn, *strange):
            where = set_aside(file, self._aside)
            self._trouble(f"{file}: {self._no_day}; it was set aside as {where}.")

    @property
    def _no_day(self) -> str:
        return f"this is no whole day of {self._form.holds} of that date"

    def _is_sound(self, file: Path) -> bool:
        """Whether a day's file is whole and has not changed behind our back; a trouble when not."""
        with told("read it", file):
            if not finished.is_whole(file, self._form):
                self._trouble(f"{file}: {self._no_day}, so it is not read.")
                return False
            if self._has_rotted(file):
                return False
            if not finished.is_sound(file, self._form):
                self._trouble(
                    f"{file}: some of its values are none that a station stores, so it is not read."
                )
                return False
        return True

    def _has_rotted(self, file: Path) -> bool:
        rotted = has_rotted(self._station, file)
        if rotted:
            self._trouble(
                f"{file}: its bytes are not those that were written, so it is not read. The disk may be failing; "
                "copy the data folder to another one, and put this day back from a copy."
            )
        return rotted
