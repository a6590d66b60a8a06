"""Readings from a CSV file: every bad line is named, and of a refused file nothing is taken."""

from __future__ import annotations

import csv
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from datetime import datetime
from pathlib import Path
from typing import get_args

from drivers.numbers import MOST_READING, strict
from sweeper import words
from sweeper.store.errors import BadRows
from sweeper.store.export import FORMULA
from sweeper.store.files import told
from sweeper.store.store import Store
from sweeper.words import BROUGHT_IN, Channel, PassRecord, Purpose, Reading

NEEDED = ("time", "pass", "band", "hz", "for", "source", "route", "reading")
OPTIONAL = ("dbm", "bandwidth_hz", "flags")
MOST_NAMED = 20
MOST_DBM = 300.0


def import_csv(store: Store, file: Path, channels: Sequence[Channel]) -> int:
    """Store the readings of a CSV file in one transaction; how many they were. `BadRows` when any line is wrong.

    Rows belong to channels of the station. Pass numbers that are taken already are shifted to free ones.
    """
    readings = read_csv(file, channels)
    if not readings:
        raise BadRows(f"{file}: there are no readings in it. Nothing was taken.")
    _refuse_known(store, file, readings)
    taken = {record.number for record in store.passes()}
    numbers = sorted({reading.pass_number for reading in readings})
    shift = store.next_pass_number() - numbers[0] if taken.intersection(numbers) else 0
    passes: dict[int, list[Reading]] = {}

    def times(rows: Sequence[Reading]) -> Iterator[datetime]:
        return (row.time for row in rows)

    for reading in readings:
        number = reading.pass_number + shift
        moved = Reading(
            reading.time, number, reading.channel, reading.path, reading.reading, reading.dbm, reading.flags
        )
        passes.setdefault(number, []).append(moved)
    store.write_passes(
        [
            (
                PassRecord(
                    number, min(times(rows)), max(times(rows)), "done", BROUGHT_IN, relay_operations=0
                ),
                rows,
            )
            for number, rows in sorted(passes.items())
        ]
    )
    return len(readings)


def read_csv(file: Path, channels: Sequence[Channel]) -> list[Reading]:
    """The readings of a CSV file (RFC 4180, UTF-8, with a header). `BadRows` names every bad line."""
    bad: list[str] = []
    readings: list[Reading] = []
    known: dict[tuple[str, int, str], Channel] = {
        (each.band, each.hz, each.purpose): each for each in channels
    }
    for line, row in _rows(file, bad):
        try:
            readings.append(_reading(row, known))
        except ValueError:
            bad.append(f"line {line}: {'; '.join(_faults(row, known))}")
    if bad:
        more = f"\n  and {len(bad) - MOST_NAMED} more" if len(bad) > MOST_NAMED else ""
        raise BadRows(
            f"{file}: {len(bad)} bad line{'s' if len(bad) > 1 else ''}, so nothing of the file was taken. Mend them "
            "and import it again.\n  " + "\n  ".join(bad[:MOST_NAMED]) + more
        )
    return readings


def _rows(file: Path, bad: list[str]) -> Iterator[tuple[int, dict[str, str]]]:
    with told("read it", file), file.open("rb") as raw:
        lines = _decoded(raw, bad)
        reader = csv.reader(lines, strict=True)
        try:
            header = next(reader, [])
            problem = _header_problem(header)
            if problem:
                bad.append(f"line 1: {problem}")
                return
            while True:
                line = reader.line_num + 1
                row = next(reader, None)
                if row is None:
                    return
                if len(row) != len(header):
                    bad.append(f"line {line}: {len(row)} fields where the header has {len(header)}")
                    continue
                yield line, dict(zip(header, row, strict=True))
        except csv.Error as error:
            bad.append(f"line {max(reader.line_num, 1)}: this is not CSV: {error}")


def _decoded(raw: Iterator[bytes], bad: list[str]) -> Iterator[str]:
    for number, line in enumerate(raw, 1):
        try:
            text = line.decode("utf-8-sig" if number == 1 else "utf-8")
        except UnicodeDecodeError:
            bad.append(f"line {number}: this is not UTF-8")
            continue
        yield text


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


def _time(text: str) -> datetime:
    try:
        time = datetime.fromisoformat(text)
    except ValueError:
        raise ValueError(f"time is {text!r}; write it as 2026-11-01T16:00:00.000Z") from None
    if time.tzinfo is None or "T" not in text.upper():
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


def _refuse_known(store: Store, file: Path, readings: Sequence[Reading]) -> None:
    import polars as pl

    from sweeper.store.frames import frame_of

    new = frame_of(readings)
    keys = ["time", "hz", "for", "source", "route"]
    start, end = min(each.time for each in readings), max(each.time for each in readings)
    known = store.readings(start).filter(pl.col("time") <= end).select(keys).collect()
    both = new.join(known, on=keys, how="semi").height
    if both:
        raise BadRows(f"{file}: {both} of its readings are stored already, so nothing of the file was taken.")
