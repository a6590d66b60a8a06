"""Readings from a CSV file: every bad line is named, and of a refused file nothing is taken."""

from __future__ import annotations

import csv
import re
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import datetime
from itertools import count, groupby
from pathlib import Path
from typing import get_args

from drivers.numbers import MOST_READING, strict
from drivers.ordinary_files import opened
from sweeper import words
from sweeper.store.errors import BadRows
from sweeper.store.export import FORMULA
from sweeper.store.files import told
from sweeper.store.frames import frame_of
from sweeper.store.store import Store
from sweeper.tables import pl
from sweeper.words import BROUGHT_IN, Channel, PassRecord, Purpose, Reading

NEEDED = ("time", "pass", "band", "hz", "for", "source", "route", "reading")
OPTIONAL = ("dbm", "bandwidth_hz", "flags")
MOST_NAMED = 20
MOST_DBM = 300.0
MOST_LINE = 10_000
"""Bytes; a line of ours has about ninety."""
MOST_BYTES = 20_000_000_000
"""Four seasons of fifty million readings."""
MOST_MIXED = 2_000_000
"""Readings that are sorted in memory, about a gigabyte."""


def import_csv(store: Store, file: Path, channels: Sequence[Channel]) -> int:
    """Store the readings of a CSV file in one transaction; how many they were. `BadRows` when any line is wrong.

    Rows belong to channels of the station. Pass numbers that are taken already are shifted to free ones. The file is
    read twice and never held whole, unless the readings of its passes are mixed: then `MOST_MIXED` of them at most.
    """
    seen = _Seen()
    for reading in read_csv(file, channels):
        seen.add(reading)
    if not seen.spans:
        raise BadRows(f"{file}: there are no readings in it. Nothing was taken.")
    if seen.mixed and seen.number > MOST_MIXED:
        raise BadRows(
            f"{file}: the readings of its passes are mixed, and there are {seen.number:,} of them, so nothing of the "
            f"file was taken. Sort it by pass; up to {MOST_MIXED:,} may be mixed."
        )
    taken = {record.number for record in store.passes()}
    shift = store.next_pass_number() - min(seen.spans) if taken.intersection(seen.spans) else 0
    store.write_passes(_Passes(store, file, channels, seen, shift))
    return seen.number


class _Seen:
    """What the first look at a file finds: when each pass began and ended."""

    def __init__(self) -> None:
        self.spans: dict[int, tuple[datetime, datetime]] = {}
        self.number = 0
        self.mixed = False
        self._last = 0

    def add(self, reading: Reading) -> None:
        number, time = reading.pass_number, reading.time
        first, last = self.spans.get(number, (time, time))
        self.mixed |= number != self._last and number in self.spans
        self.spans[number] = (min(first, time), max(last, time))
        self.number += 1
        self._last = number


class _Passes:
    """The passes of a file, one after the other, each time that somebody goes through them."""

    def __init__(
        self, store: Store, file: Path, channels: Sequence[Channel], seen: _Seen, shift: int
    ) -> None:
        self._file, self._channels, self._seen, self._shift = file, channels, seen, shift
        self._known = _keys_within(store, seen)

    def __iter__(self) -> Iterator[tuple[PassRecord, Sequence[Reading]]]:
        readings: Iterable[Reading] = read_csv(self._file, self._channels)
        if self._seen.mixed:
            readings = sorted(readings, key=lambda each: each.pass_number)
        for number, rows in groupby(readings, key=lambda each: each.pass_number):
            if number not in self._seen.spans:
                raise BadRows(f"{self._file}: it changed while it was read, so nothing of it was taken.")
            shifted = number + self._shift
            moved = [replace(row, pass_number=shifted) for row in rows]
            self._refuse_known(moved)
            started, ended = self._seen.spans[number]
            yield PassRecord(shifted, started, ended, "done", BROUGHT_IN, relay_operations=0), moved

    def _refuse_known(self, readings: Sequence[Reading]) -> None:
        if self._known.height:
            both = frame_of(readings).join(self._known, on=KEYS, how="semi").height
            if both:
                raise BadRows(
                    f"{self._file}: readings of its pass {readings[0].pass_number - self._shift} are stored already, "
                    "so nothing of the file was taken."
                )


KEYS = ["time", "hz", "for", "source", "route"]


def _keys_within(store: Store, seen: _Seen) -> pl.DataFrame:
    """What tells readings apart, of those that are stored within the file's time."""
    start = min(first for first, _ in seen.spans.values())
    end = max(last for _, last in seen.spans.values())
    return store.readings(start).filter(pl.col("time") <= end).select(KEYS).collect()


def read_csv(file: Path, channels: Sequence[Channel]) -> Iterator[Reading]:
    """The readings of a CSV file (RFC 4180, UTF-8, with a header), as they come.

    `BadRows` at its end names the first `MOST_NAMED` bad lines; from the first one on no reading comes any more.
    """
    bad = _Bad()
    known: dict[tuple[str, int, str], Channel] = {
        (each.band, each.hz, each.purpose): each for each in channels
    }
    for line, row in _rows(file, bad):
        try:
            reading = _reading(row, known)
        except ValueError:
            bad.add(line, "; ".join(_faults(row, known)))
            continue
        if not bad.number:
            yield reading
    if bad.number:
        more = f"\n  and {bad.number - MOST_NAMED} more" if bad.number > MOST_NAMED else ""
        raise BadRows(
            f"{file}: {bad.number} bad line{'s' if bad.number > 1 else ''}, so nothing of the file was taken. "
            "Correct the lines and import again.\n  " + "\n  ".join(bad.named) + more
        )


class _Bad:
    """The bad lines so far: how many, and what is wrong with the first of them."""

    def __init__(self) -> None:
        self.number = 0
        self.named: list[str] = []

    def add(self, line: int, what: str) -> None:
        self.number += 1
        if self.number <= MOST_NAMED:
            self.named.append(f"line {line}: {what}")


def _rows(file: Path, bad: _Bad) -> Iterator[tuple[int, dict[str, str]]]:
    header: list[str] = []
    for number, text in _lines(file, bad):
        try:
            # Line by line: no field of ours has a line end in it, and a quote that never closes spoils one line.
            row = next(csv.reader([text], strict=True), [])
        except csv.Error as error:
            bad.add(number, f"this is not CSV: {error}")
            continue
        if not header:
            header = row
            if problem := _header_problem(header):
                bad.add(number, problem)
                return
        elif len(row) == len(header):
            yield number, dict(zip(header, row, strict=True))
        else:
            bad.add(number, f"{len(row)} fields where the header has {len(header)}")
    if not header and not bad.number:
        bad.add(1, _header_problem(header))


def _lines(file: Path, bad: _Bad) -> Iterator[tuple[int, str]]:
    with told("read it", file), opened(file) as raw:
        left = MOST_BYTES
        for number in count(1):
            line = raw.readline(MOST_LINE + 1)
            left -= len(line)
            if not line:
                return
            if len(line) > MOST_LINE:
                bad.add(number, f"it is longer than {MOST_LINE:,} bytes; what follows was not looked at")
                return
            if left < 0:
                bad.add(number, f"the file is longer than {MOST_BYTES:,} bytes; divide it by nights")
                return
            try:
                text = line.decode("utf-8-sig" if number == 1 else "utf-8")
            except UnicodeDecodeError:
                bad.add(number, "this is not UTF-8")
                if number == 1:
                    return
                continue
            yield number, text


def _header_problem(header: list[str]) -> str:
    missing = [name for name in NEEDED if name not in header]
    strange = [name for name in header if name not in NEEDED + OPTIONAL]
    if missing:
        return f"the header lacks {', '.join(missing)}"
    if strange:
        return f"the header has unknown columns: {', '.join(map(repr, strange))}"
    return "a column comes twice" if len(set(header)) != len(header) else ""


def _reading(row: Mapping[str, str], known: Mapping[tuple[str, int, str], Channel]) -> Reading:
    return Reading(
        time=_time(row["time"]),
        pass_number=_whole_number("pass", row["pass"]),
        channel=_channel(row, known),
        path=_path(row),
        reading=_number("reading", row["reading"], MOST_READING),
        dbm=_dbm(row),
        flags=_flags(row),
    )


def _faults(row: Mapping[str, str], known: Mapping[tuple[str, int, str], Channel]) -> Iterator[str]:
    """All that is wrong with a row that `_reading` refused, part by part."""
    parts: tuple[Callable[[], object], ...] = (
        lambda: _time(row["time"]),
        lambda: _whole_number("pass", row["pass"]),
        lambda: _channel(row, known),
        lambda: _path(row),
        lambda: _number("reading", row["reading"], MOST_READING),
        lambda: _dbm(row),
        lambda: _flags(row),
    )
    for part in parts:
        try:
            part()
        except ValueError as error:
            yield str(error)


def _channel(row: Mapping[str, str], known: Mapping[tuple[str, int, str], Channel]) -> Channel:
    hz = _whole_number("hz", row["hz"])
    if row["for"] not in get_args(Purpose):
        raise ValueError(f"for is {row['for']!r}, neither noise nor carrier")
    band = row["band"]
    if re.match(rf"^'{FORMULA[1:]}", band):
        band = band[1:]  # so written by `export`
    channel = known.get((band, hz, row["for"])) or known.get((row["band"], hz, row["for"]))
    if channel is None:
        raise ValueError(f"the station has no channel {row['band']!r}, {hz} Hz, for {row['for']}")
    if bandwidth := row.get("bandwidth_hz", ""):
        return Channel(channel.band, channel.hz, channel.purpose, _whole_number("bandwidth_hz", bandwidth))
    return channel


def _path(row: Mapping[str, str]) -> words.SignalPath:
    return words.SignalPath.parse(f"{row['source']}-{row['route']}")


def _dbm(row: Mapping[str, str]) -> float | None:
    return _number("dbm", dbm, MOST_DBM) if (dbm := row.get("dbm", "")) else None


def _flags(row: Mapping[str, str]) -> str:
    flags = row.get("flags", "")
    if any(not flag.isascii() or not flag.replace("-", "").isalnum() for flag in flags.split()):
        raise ValueError(f"flags are {flags!r}; flags are words with spaces between them")
    return " ".join(flags.split())


_INSTANT = re.compile(
    r"[0-9]{4}-[0-9]{2}-[0-9]{2}[Tt][0-9:]{5,8}(?:\.[0-9]{1,9})?(?:[Zz]|[+-][0-9]{2}:[0-9]{2})?"
)
"""RFC 3339, section 5.6; the zone is asked for separately."""


def _time(text: str) -> datetime:
    try:
        if not _INSTANT.fullmatch(text):
            raise ValueError
        time = datetime.fromisoformat(text)
    except ValueError:
        raise ValueError(f"time is {text!r}; write it as 2026-11-01T16:00:00.000Z") from None
    if time.tzinfo is None:
        raise ValueError(f"time is {text!r}, without its zone; write it as 2026-11-01T16:00:00.000Z")
    if not 1970 <= time.year <= 2200:
        raise ValueError(f"time is {text!r}, which is not in 1970 to 2200")
    return time


def _whole_number(name: str, text: str) -> int:
    if not (text.isascii() and text.isdigit() and 0 < int(text[:20]) < 2**53):
        raise ValueError(f"{name} is {text!r}, not a whole number above 0")
    return int(text)


def _number(name: str, text: str, most: float) -> float:
    try:
        number = strict(text)
    except ValueError:
        raise ValueError(f"{name} is {text!r}, not a number") from None
    if abs(number) > most:
        raise ValueError(f"{name} is {text!r}; it is in decibels and lies between -{most:g} and {most:g}")
    return number
