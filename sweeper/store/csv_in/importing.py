"""Readings from a table into the store: in one transaction, or none of them."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from itertools import groupby
from pathlib import Path

from sweeper.store.csv_in.asked import Asked
from sweeper.store.csv_in.by_hand import Settled, in_order, settled
from sweeper.store.csv_in.layout import Layout
from sweeper.store.csv_in.lines import LIMITS, Limits
from sweeper.store.csv_in.mistakes import Mistake, Mistakes
from sweeper.store.csv_in.table import Rows, WrongRow, first_look, rows_of
from sweeper.store.errors import BadRows
from sweeper.store.frames import frame_of
from sweeper.store.store import Store
from sweeper.tables import pl
from sweeper.words import BROUGHT_IN, PassRecord, Reading

KEYS = ["time", "hz", "for", "source", "route"]
_Again = Callable[[], Iterable[Reading]]
"""The readings, each time that it is called."""


@dataclass(frozen=True, slots=True)
class Taken:
    """What came of a table: readings taken, readings left out since they were stored already, and how it was read."""

    readings: int
    known: int
    passes: int
    read_as: tuple[str, ...]


def import_csv(store: Store, file: Path, asked: Asked, limits: Limits = LIMITS) -> Taken:
    """Store the readings of a table in one transaction. `BadRows` when any line is wrong, or when there are none.

    Rows belong to channels of the station. Pass numbers that are taken already are shifted to free ones. A file as
    `export` writes it is read twice and never held whole, unless the readings of its passes are mixed: then
    `Limits.mixed` of them at most; the same readings are refused the second time. A table kept by hand is held
    whole, and of one that has grown since only the new rows are taken.
    """
    layout = first_look(file, asked, limits)
    if layout.exported:
        return _import(store, file, lambda: read_csv(file, asked, limits), limits)
    readings, sentences = _by_hand(file, layout, asked, limits)
    if not readings:
        raise BadRows(f"{file}: there are no readings in it. Nothing was taken.")
    new = _not_stored(store, readings)
    known = len(readings) - len(new)
    if not new:
        raise BadRows(
            f"{file}: all its {known} readings are stored already, so nothing of the file was taken."
        )
    taken = _import(store, file, lambda: new, limits)
    return replace(taken, known=known, read_as=sentences)


def read_csv(file: Path, asked: Asked, limits: Limits = LIMITS) -> Iterator[Reading]:
    """The readings of a table, as they come; `BadRows` at its end, and none comes from the first bad line on."""
    layout = first_look(file, asked, limits)
    if not layout.exported:
        yield from _by_hand(file, layout, asked, limits)[0]
        return
    mistakes = Mistakes(file)
    rows = Rows(asked, layout, asked.dates, "Hz")
    for line, row in rows_of(file, layout, limits, mistakes):
        try:
            found = rows.readings(row)
        except WrongRow as wrong:
            mistakes.add(line, *wrong.mistakes)
            continue
        if not mistakes.lines:
            yield from found
    mistakes.refuse()


def _by_hand(
    file: Path, layout: Layout, asked: Asked, limits: Limits
) -> tuple[list[Reading], tuple[str, ...]]:
    """All readings of a table kept by hand, in passes, and how it was read."""
    mistakes = Mistakes(file)
    table = list(rows_of(file, layout, replace(limits, bytes=limits.by_hand_bytes), mistakes))
    try:
        common = settled([row for _, row in table], layout, asked)
    except Mistake as mistake:
        mistakes.refuse_for(mistake)
    rows = Rows(asked, layout, common.order, common.frequency)
    readings: list[Reading] = []
    blank = 0
    for line, row in table:
        try:
            found = rows.readings(row)
        except WrongRow as wrong:
            mistakes.add(line, *wrong.mistakes)
            continue
        blank += not found
        readings += found
    mistakes.refuse()
    numbered = "pass" in layout.columns
    return in_order(readings, numbered=numbered), _read_as(layout, asked, common, blank)


def _read_as(layout: Layout, asked: Asked, common: Settled, blank: int) -> tuple[str, ...]:
    between = {",": "commas", ";": "semicolons", "\t": "tabs", "|": "strokes"}[layout.delimiter]
    parts = [f"{between} between cells"]
    if common.frequency is not None:
        parts.append(f"frequencies in {common.frequency}")
    if common.order is not None:
        parts.append(f"dates {common.order.replace('-', ' ')}")
    if layout.utc or asked.timezone is not None:
        parts.append(f"times of {'UTC' if layout.utc or asked.timezone is None else asked.timezone.key}")
    sentences = [f"Read with {', '.join(parts)}."]
    if blank:
        sentences.append(f"{blank} row{'s' if blank > 1 else ''} without a reading left out.")
    if layout.unused:
        sentences.append(f"Columns not used: {', '.join(layout.unused)}.")
    return tuple(sentences)


def _import(store: Store, file: Path, again: _Again, limits: Limits) -> Taken:
    seen = _Seen()
    for reading in again():
        seen.add(reading)
    if not seen.spans:
        raise BadRows(f"{file}: there are no readings in it. Nothing was taken.")
    if seen.mixed and seen.number > limits.mixed:
        raise BadRows(
            f"{file}: the readings of its passes are mixed, and there are {seen.number:,} of them, so nothing of the "
            f"file was taken. Sort it by pass; up to {limits.mixed:,} may be mixed."
        )
    taken = {record.number for record in store.passes()}
    shift = store.next_pass_number() - min(seen.spans) if taken.intersection(seen.spans) else 0
    store.write_passes(_Passes(store, file, again, seen, shift))
    return Taken(seen.number, 0, len(seen.spans), ())


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

    def __init__(self, store: Store, file: Path, again: _Again, seen: _Seen, shift: int) -> None:
        self._file, self._again, self._seen, self._shift = file, again, seen, shift
        self._known = _keys_within(store, *seen.spans.values())

    def __iter__(self) -> Iterator[tuple[PassRecord, Sequence[Reading]]]:
        readings: Iterable[Reading] = self._again()
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


def _keys_within(store: Store, *spans: tuple[datetime, datetime]) -> pl.DataFrame:
    """What tells readings apart, of those that are stored within these spans."""
    start, end = min(first for first, _ in spans), max(last for _, last in spans)
    return store.readings(start).filter(pl.col("time") <= end).select(KEYS).collect()


def _not_stored(store: Store, readings: Sequence[Reading]) -> list[Reading]:
    times = [each.time for each in readings]
    known = set(_keys_within(store, (min(times), max(times))).rows())
    return [
        each
        for each in readings
        if (each.time, each.channel.hz, each.channel.purpose, each.path.source, each.path.route) not in known
    ]
