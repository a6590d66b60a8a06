"""Dates and clock times as people write them, to instants. Pure; raises `Mistake` for whatever has two meanings."""

import re
from collections.abc import Iterable
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

from sweeper.store.csv_in.asked import Dates
from sweeper.store.csv_in.mistakes import Mistake
from sweeper.store.errors import Unclear

_INSTANT = re.compile(
    r"[0-9]{4}-[0-9]{2}-[0-9]{2}[Tt][0-9:]{5,8}(?:\.[0-9]{1,9})?(?:[Zz]|[+-][0-9]{2}:[0-9]{2})"
)
"""RFC 3339, section 5.6."""
_YEAR_FIRST = re.compile(r"([0-9]{4})[-/.]([0-9]{1,2})[-/.]([0-9]{1,2})")
_YEAR_LAST = re.compile(r"([0-9]{1,2})\s*([-/.])\s*([0-9]{1,2})\s*[-/.]\s*([0-9]{4}|[0-9]{2})")
_MONTH_NAMED = re.compile(r"([0-9]{1,2})[-. ]+([A-Za-z]{3})[a-z]*[-. ,]+([0-9]{4}|[0-9]{2})")
_MONTHS = ["jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec"]
_CLOCK = re.compile(
    r"([0-9]{1,2})(?:[:.h]([0-9]{2})|([0-9]{2}))(?:[:.]([0-9]{2})(?:[.,]([0-9]{1,9}))?)?\s*([AaPp]\.?[Mm]\.?)?"
    r"\s*([Zz]|UTC|GMT|[+-][0-9]{2}:?[0-9]{2})?"
)

FORM = "write it as 2026-11-01T16:00:00Z, or as a date and a clock time"
NO_DATE = "this is no date; write it as 2026-11-01, 1.11.2026 or 1 Nov 2026"
NO_CLOCK = "this is no clock time; write it as 18:05"
NO_ZONE = "the time has no zone"


def order_of(dates: Iterable[str], asked: Dates | None) -> Dates | None:
    """Whether the day stands first in dates such as 3/11/2026: as asked, or as a date in the table shows; else None."""
    if asked is not None:
        return asked
    shown: set[Dates] = set()
    for text in dates:
        if (found := _YEAR_LAST.match(text.strip())) and found[2] != ".":
            if int(found[1]) > 12:
                shown.add("day-first")
            if int(found[3]) > 12:
                shown.add("month-first")
    return shown.pop() if len(shown) == 1 else None


def date_of(text: str, order: Dates | None) -> date:
    """A date. Points between its parts put the day first; after strokes and hyphens the order has to be known."""
    bare = text.strip()
    try:
        if found := _YEAR_FIRST.fullmatch(bare):
            return date(int(found[1]), int(found[2]), int(found[3]))
        if found := _MONTH_NAMED.fullmatch(bare):
            return date(_year(found[3]), _MONTHS.index(found[2].lower()) + 1, int(found[1]))
        if found := _YEAR_LAST.fullmatch(bare):
            first, second, year = int(found[1]), int(found[3]), _year(found[4])
            if found[2] != "." and order is None and first != second:
                raise Mistake(
                    "the date can be read two ways; say --dates day-first or --dates month-first, or write 2026-11-03",
                    bare,
                    Unclear("dates", bare),
                )
            month_first = order == "month-first" and found[2] != "."
            return date(year, *((first, second) if month_first else (second, first)))
    except Mistake:
        raise
    except ValueError:
        pass
    raise Mistake(NO_DATE, text)


def _year(text: str) -> int:
    return int(text) if len(text) == 4 else 2000 + int(text)


def instant_of(text: str, day: date | None, order: Dates | None, zone: ZoneInfo | None) -> datetime:
    """The instant that a cell names, by the date of another cell where it has none; `zone` is for times without one."""
    try:
        return _within(_instant(text, day, order, zone), text)
    except Mistake:
        raise
    except (ValueError, OverflowError):  # no such day, hour or zone, or one before or after all time
        raise Mistake(f"the time is none; {FORM}", text) from None


def _instant(text: str, day: date | None, order: Dates | None, zone: ZoneInfo | None) -> datetime:
    bare = text.strip()
    if _INSTANT.fullmatch(bare):
        return datetime.fromisoformat(bare)
    parts = re.split(r"[T ,]+", bare, maxsplit=1) if day is None else ["", bare]
    if len(parts) < 2 or not parts[1]:
        raise Mistake(f"the time is none; {FORM}", text)
    on = date_of(parts[0], order) if day is None else day
    return _at(on, parts[1], zone, text)


def _at(day: date, clock: str, zone: ZoneInfo | None, text: str) -> datetime:
    found = _CLOCK.fullmatch(clock.strip())
    if found is None:
        raise Mistake(NO_CLOCK, text)
    hour, minute = int(found[1]), int(found[2] or found[3])
    if found[6]:
        if not 1 <= hour <= 12:
            raise Mistake(NO_CLOCK, text)
        hour = hour % 12 + 12 * (found[6][0] in "pP")
    try:
        local = datetime(day.year, day.month, day.day, hour, minute, int(found[4] or 0))  # noqa: DTZ001
    except ValueError:
        raise Mistake(NO_CLOCK, text) from None
    local += timedelta(microseconds=int((found[5] or "").ljust(6, "0")[:6]))
    if written := found[7]:
        if written.upper() in ("Z", "UTC", "GMT"):
            return local.replace(tzinfo=UTC)
        return datetime.fromisoformat(f"{local.isoformat()}{written[:3]}:{written[-2:]}")
    if zone is None:
        raise Mistake(NO_ZONE, text)
    return _local(local, zone, text)


def _local(local: datetime, zone: ZoneInfo, text: str) -> datetime:
    """The instant of a local time; `Mistake` in the hour that is skipped, and in the one that comes twice."""
    first, second = (local.replace(tzinfo=zone, fold=fold) for fold in (0, 1))
    if first.utcoffset() != second.utcoffset():
        there = first.astimezone(UTC).astimezone(zone).replace(tzinfo=None) == local
        comes = "comes twice" if there else "is left out"
        raise Mistake(
            f"the clocks change then, and this time {comes}; write it with its zone, as 02:30+01:00", text
        )
    return first.astimezone(UTC)


def _within(time: datetime, text: str) -> datetime:
    if not 1970 <= time.year <= 2200:
        raise Mistake("the time is not in 1970 to 2200", text)
    return time
