"""The files of finished days in a station's folder: which there are, whether they are what was written, and making way.

Knows no database; `finished` knows the form of one file.
"""

from __future__ import annotations

from collections.abc import Callable, Collection
from datetime import date
from pathlib import Path

from sweeper.store import finished
from sweeper.store.files import set_aside, told
from sweeper.store.manifest import digest_of, has_rotted
from sweeper.tables import pl


class DayFiles:
    """Finished days of one station. `trouble` is told what is not read and what was set aside."""

    def __init__(self, station: Path, aside: Path, trouble: Callable[[str], None]) -> None:
        self.folder = station / "days"
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
            self._trouble(f"{file}: this is no day of readings, so it is not read.")
        return {day: file for day, file in days.items() if self._is_sound(file)}

    def frame(self, day: date) -> pl.DataFrame | None:
        """The readings of a finished day; None where it has no file that can be read."""
        file = self.folder / finished.file_name(day)
        return finished.scan_day(file).collect() if file.exists() and self._is_sound(file) else None

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

    def write(self, day: date, readings: pl.DataFrame, *, over_unreadable: bool) -> None:
        """Write a day's file. A file there that cannot be read is not overwritten: it might be mended one day."""
        file = self.folder / finished.file_name(day)
        if over_unreadable and file.exists():
            self._trouble(f"{file}: it was set aside as {set_aside(file, self._aside)}.")
        finished.write_day(self.folder, day, readings)

    def set_torn_aside(self) -> None:
        """Out of the way with what is no whole day."""
        days, strange = finished.list_days(self.folder)
        for file in (*(file for file in days.values() if not finished.is_whole(file)), *strange):
            where = set_aside(file, self._aside)
            self._trouble(
                f"{file}: this is no whole day of readings of that date; it was set aside as {where}."
            )

    def _is_sound(self, file: Path) -> bool:
        """Whether a day's file is whole and has not changed behind our back; a trouble when not."""
        with told("read it", file):
            if not finished.is_whole(file):
                self._trouble(f"{file}: this is no whole day of readings of that date, so it is not read.")
                return False
            if self._has_rotted(file):
                return False
            if not finished.is_sound(file):
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
