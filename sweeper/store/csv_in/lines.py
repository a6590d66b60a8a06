"""A table of text, line by line: bounded, decoded, divided into cells."""

import csv
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import count
from pathlib import Path

from drivers.ordinary_files import opened
from sweeper.store.csv_in.mistakes import Mistake
from sweeper.store.files import told


@dataclass(frozen=True, slots=True)
class Limits:
    """How much of a file is read. A line of ours has about ninety bytes, four seasons of readings about 4 GB."""

    line_bytes: int = 10_000
    bytes: int = 20_000_000_000
    mixed: int = 2_000_000
    """Readings that are sorted in memory, about a gigabyte."""
    by_hand_bytes: int = 30_000_000
    """Of a table kept by hand, which is held whole: half a million rows, and not a gigabyte either."""


LIMITS = Limits()

NOT_TEXT = {
    b"PK\x03\x04": "this is a workbook, no table of text: save the sheet as CSV",
    b"\xd0\xcf\x11\xe0": "this is a workbook, no table of text: save the sheet as CSV",
    b"\xff\xfe": "this is UTF-16 text: save the sheet as CSV in UTF-8",
    b"\xfe\xff": "this is UTF-16 text: save the sheet as CSV in UTF-8",
}
"""How files begin that a spreadsheet saves when asked for something else."""


def lines_of(file: Path, limits: Limits = LIMITS) -> Iterator[tuple[int, bytes | Mistake]]:
    """Each line with its number from 1, its end and a byte order mark cut off; after a `Mistake` nothing comes."""
    with told("read it", file), opened(file) as raw:
        left = limits.bytes
        for number in count(1):
            line = raw.readline(limits.line_bytes + 1)
            left -= len(line)
            if not line:
                return
            if number == 1:
                line = line.removeprefix(b"\xef\xbb\xbf")
                if problem := next((NOT_TEXT[each] for each in NOT_TEXT if line.startswith(each)), ""):
                    yield number, Mistake(problem)
                    return
            if len(line) > limits.line_bytes:
                yield (
                    number,
                    Mistake(f"longer than {limits.line_bytes:,} bytes; what follows was not looked at"),
                )
                return
            if left < 0:
                yield number, Mistake(f"the file is longer than {limits.bytes:,} bytes; divide it by nights")
                return
            yield number, line


def text_of(line: bytes, *, lenient: bool = False) -> str:
    """The line as UTF-8, or as Windows writes Western text where `lenient`; `Mistake` where it is neither."""
    try:
        return line.decode("utf-8")
    except UnicodeDecodeError:
        if lenient:
            return line.decode("cp1252", errors="replace")
        raise Mistake("this is not UTF-8") from None


def cells_of(text: str, delimiter: str) -> list[str]:
    """The cells of one line. `Mistake` for what RFC 4180 does not allow within a line.

    No cell of ours has a line end in it, and so a quote that never closes spoils one line and no more.
    """
    try:
        return next(csv.reader([text], delimiter=delimiter, strict=True), [])
    except csv.Error as error:
        raise Mistake(f"this is not CSV: {error}") from None
