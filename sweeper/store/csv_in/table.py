"""One table: its rows, and each row as readings. Whatever is wrong with a row is told in one go."""

import re
from collections.abc import Callable, Iterator, Sequence
from datetime import UTC, date, datetime
from functools import lru_cache
from pathlib import Path
from zoneinfo import ZoneInfo

from sweeper.store.csv_in import cells as cell
from sweeper.store.csv_in.asked import Asked, Dates, FrequencyUnit
from sweeper.store.csv_in.layout import HEADER_WITHIN, Layout, layout_of
from sweeper.store.csv_in.lines import Limits, cells_of, lines_of, text_of
from sweeper.store.csv_in.mistakes import Mistake, Mistakes
from sweeper.store.csv_in.times import NO_ZONE, date_of, instant_of
from sweeper.store.errors import Unclear
from sweeper.store.export import FORMULA
from sweeper.words import Channel, Reading, SignalPath

MOST_DBM = 300.0


def first_look(file: Path, asked: Asked, limits: Limits) -> Layout:
    """The layout of a file; `BadRows` where there is none."""
    mistakes = Mistakes(file)
    first: list[str] = []
    for number, line in lines_of(file, limits):
        if isinstance(line, Mistake):
            if not first:
                mistakes.refuse_for(line)
            break
        first.append(text_of(line, lenient=True).rstrip("\r\n"))
        if number == HEADER_WITHIN:
            break
    try:
        layout = layout_of(first, asked)
        if layout.utc and asked.timezone is not None and asked.timezone.key != "UTC":
            raise Mistake(f"the header says UTC, and --timezone {asked.timezone.key}; one of them is wrong")
    except Mistake as mistake:
        mistakes.refuse_for(mistake)
    return layout


def rows_of(
    file: Path, layout: Layout, limits: Limits, mistakes: Mistakes
) -> Iterator[tuple[int, list[str]]]:
    """Every line below the header as cells, with its number; lines that are none go to the mistakes."""
    for number, line in lines_of(file, limits):
        if isinstance(line, Mistake):
            mistakes.add(number, line)
            return
        if number <= layout.header_line:
            continue
        try:
            found = cells_of(text_of(line, lenient=not layout.exported), layout.delimiter)
            if layout.exported and len(found) != layout.width:
                raise Mistake(
                    f"the header has {layout.width} fields, and a line another number", str(len(found))
                )
        except Mistake as mistake:
            mistakes.add(number, mistake)
            continue
        if not layout.exported:
            found = [*found[: layout.width], *[""] * (layout.width - len(found))]
            if not any(each.strip() for each in found):
                continue
        yield number, found


class Rows:
    """Turns rows of one table into readings. A date, frequency or band that is blank is that of the row above."""

    def __init__(
        self, asked: Asked, layout: Layout, order: Dates | None, frequency: FrequencyUnit | None
    ) -> None:
        self._asked, self._layout, self._order, self._frequency = asked, layout, order, frequency
        self._zone = ZoneInfo("UTC") if layout.utc else asked.timezone
        self._above = {"date": "", "frequency": "", "band": ""}
        self._last: datetime | None = None
        self._channel = lru_cache(maxsize=4096)(self._channel_of)
        self._path = lru_cache(maxsize=64)(cell.path_of)

    def readings(self, row: Sequence[str]) -> list[Reading]:
        """The readings of one row, none where none was written down; `WrongRow` with all that is wrong."""
        places = self._layout.paths or {"": self._layout.columns["reading"]}
        if not self._layout.exported and not any(row[place].strip() for place in places.values()):
            self._carry(row)
            return []
        found: dict[str, object] = {}
        wrong: list[Mistake] = []
        parts: tuple[tuple[str, Callable[[Sequence[str]], object]], ...] = (
            ("time", self._time), ("pass", self._pass), ("channel", self._channel_in), ("levels", self._levels),
            ("dbm", self._dbm), ("flags", self._flags),
        )  # fmt: skip
        self._carry(row)
        for name, part in parts:
            try:
                found[name] = part(row)
            except Mistake as mistake:
                wrong.append(mistake)
        if wrong:
            raise WrongRow(wrong)
        return [
            Reading(found["time"], found["pass"], found["channel"], path, level, found["dbm"], found["flags"])  # type: ignore[arg-type]
            for path, level in found["levels"]  # type: ignore[attr-defined]
        ]

    def _carry(self, row: Sequence[str]) -> None:
        if not self._layout.exported:
            for meaning in self._above:
                if text := self._text(row, meaning):
                    self._above[meaning] = text

    def _text(self, row: Sequence[str], meaning: str) -> str:
        place = self._layout.columns.get(meaning)
        return "" if place is None else row[place].strip() if not self._layout.exported else row[place]

    def _time(self, row: Sequence[str]) -> datetime:
        day: date | None = None
        if "date" in self._layout.columns:
            day = date_of(self._above["date"], self._order)
        text = self._text(row, "time")
        try:
            time = instant_of(text, day, self._order, self._zone).astimezone(UTC)
        except Mistake as mistake:
            if mistake.kind != NO_ZONE:
                raise
            zone = self._asked.station_zone
            offered = (
                f"--timezone {zone} for the station's clock, or --timezone UTC"
                if zone != "UTC"
                else "--timezone UTC"
            )
            raise Mistake(f"{NO_ZONE}; say {offered}", text, Unclear("timezone", text)) from None
        if day is not None and not self._text(row, "date") and self._last is not None and time < self._last:
            raise Mistake(
                "earlier than the row above, with no date of its own; write the date after midnight", text
            )
        self._last = time
        return time

    def _pass(self, row: Sequence[str]) -> int:
        if "pass" not in self._layout.columns:
            return 1
        return _whole("pass", self._text(row, "pass"))

    def _channel_in(self, row: Sequence[str]) -> Channel:
        own = self._layout.exported
        frequency, band = (
            self._text(row, each) if own else self._above[each] for each in ("frequency", "band")
        )
        return self._channel(frequency, band, self._text(row, "for"), self._text(row, "bandwidth_hz"))

    def _channel_of(self, frequency: str, band: str, purpose: str, bandwidth: str) -> Channel:
        if re.match(rf"^'{FORMULA[1:]}", band):
            try:
                return self._channel_of(frequency, band[1:], purpose, bandwidth)  # so written by `export`
            except Mistake:
                pass
        hz = cell.hertz_of(frequency, self._frequency) if frequency or self._layout.exported else None
        channel = cell.channel_of(band, hz, purpose, self._asked.channels)
        if bandwidth:
            return Channel(channel.band, channel.hz, channel.purpose, _whole("bandwidth_hz", bandwidth))
        return channel

    def _levels(self, row: Sequence[str]) -> list[tuple[SignalPath, float]]:
        if self._layout.paths:
            return [
                (SignalPath.parse(path), self._level(row[place]))
                for path, place in self._layout.paths.items()
                if row[place].strip()
            ]
        path = self._path(self._text(row, "source"), self._text(row, "route"))
        return [(path, self._level(self._text(row, "reading")))]

    def _level(self, text: str) -> float:
        return cell.reading_of(text, self._layout.level, self._asked.meter_unit, self._asked.s9_dbm)

    def _dbm(self, row: Sequence[str]) -> float | None:
        text = self._text(row, "dbm")
        return cell.number_of("dbm", cell.plain(text), MOST_DBM, shown=text) if text else None

    def _flags(self, row: Sequence[str]) -> str:
        flags = self._text(row, "flags")
        if any(not flag.isascii() or not flag.replace("-", "").isalnum() for flag in flags.split()):
            raise Mistake("flags are words with spaces between them", flags)
        return " ".join(flags.split())


class WrongRow(ValueError):
    """All that is wrong with one row."""

    def __init__(self, mistakes: Sequence[Mistake]) -> None:
        super().__init__("; ".join(each.kind for each in mistakes))
        self.mistakes = tuple(mistakes)


def _whole(name: str, text: str) -> int:
    if not re.fullmatch("[0-9]{1,20}", text) or not 0 < int(text) < 2**53:
        raise Mistake(f"{name} is not a whole number above 0", text)
    return int(text)
