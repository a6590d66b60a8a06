"""A table that somebody kept by hand: what its cells settle among them, and passes where none are numbered. Pure."""

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from itertools import groupby

from sweeper.store.csv_in.asked import Asked, Dates, FrequencyUnit
from sweeper.store.csv_in.cells import plain, units_that_fit
from sweeper.store.csv_in.layout import Layout
from sweeper.store.csv_in.mistakes import Mistake
from sweeper.store.csv_in.times import order_of
from sweeper.store.errors import Unclear
from sweeper.words import Reading

GAP = timedelta(minutes=15)
"""A longer break than this ends a pass: noise of one quarter of an hour need not be that of the next."""
LONGEST = timedelta(hours=1)
"""A pass is one sample of an hour of the night, so none is longer."""
EARLIEST = datetime.min.replace(tzinfo=UTC)


@dataclass(frozen=True, slots=True)
class Settled:
    """What the cells of a whole table say together of its dates and frequencies."""

    order: Dates | None
    frequency: FrequencyUnit | None


def settled(rows: Sequence[Sequence[str]], layout: Layout, asked: Asked) -> Settled:
    """Order of dates and unit of frequencies; `Mistake` where levels may be S-units as well as decibels."""

    def column(meaning: str) -> list[str]:
        place = layout.columns.get(meaning)
        return [] if place is None else sorted({row[place].strip() for row in rows} - {""})

    dates = column("date") or [text.split("T")[0].split(" ")[0] for text in column("time")]
    frequency = layout.frequency
    if frequency is None:
        fitting = units_that_fit(column("frequency"), asked.channels)
        frequency = fitting[0] if len(fitting) == 1 else None
    if layout.level is None and asked.meter_unit == "dB-over-S9":
        places = layout.paths.values() if layout.paths else (layout.columns["reading"],)
        levels = {plain(row[place]) for row in rows for place in places} - {""}
        if levels and all(re.fullmatch("0*[0-9]", each) for each in levels):
            raise Mistake(
                "these may be S-units or decibels over S9; say --level S or --level dB",
                ", ".join(sorted(levels)),
                Unclear("level", ", ".join(sorted(levels))),
            )
    return Settled(order_of(dates, asked.dates), frequency)


def in_order(readings: Sequence[Reading], *, numbered: bool) -> list[Reading]:
    """The readings by time, those of one written minute spread over it, and in passes unless they are `numbered`."""
    spread: list[Reading] = []
    for time, together in groupby(sorted(readings, key=lambda each: each.time), key=lambda each: each.time):
        alike = list(together)
        if len(alike) > 1 and time.second == 0 and time.microsecond == 0:
            alike = [
                replace(each, time=time + timedelta(milliseconds=60_000 * nth // len(alike)))
                for nth, each in enumerate(alike)
            ]
        spread += alike
    return spread if numbered else _passes(spread)


def _passes(readings: Sequence[Reading]) -> list[Reading]:
    """Passes are numbered from 1. One is over when a path is set again that was left, with both routes seen."""
    found: list[Reading] = []
    number, began, last = 0, EARLIEST, EARLIEST
    here: tuple[object, ...] = ()
    left: set[tuple[object, ...]] = set()
    for each in readings:
        visit = (each.channel, each.path.source, each.path.route)
        other = (each.channel, each.path.source, "stage" if each.path.route == "bypass" else "bypass")
        again = visit != here and visit in left and (other in left or other == here)
        if not number or again or each.time - last > GAP or each.time - began > LONGEST:
            number, began, left, here = number + 1, each.time, set(), ()
        if here and here != visit:
            left.add(here)
        here, last = visit, each.time
        found.append(replace(each, pass_number=number))
    return found
