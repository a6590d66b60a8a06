"""Summaries of finished days as they are kept beside the readings: a Parquet file a month, and a book that vouches.

The book names for each month the file's checksum and what its days were made from: the analysis code, the facts of the
station, the identity of each day's file. A month whose file is not the book's, and a day made from anything else than
now, count as not there: whatever is wrong with a summary, it can be made again. A new night rewrites one month.
"""

from __future__ import annotations

import hashlib
import io
import json
import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import asdict, dataclass
from datetime import date
from functools import lru_cache
from importlib.resources import files
from importlib.resources.abc import Traversable
from pathlib import Path

from sweeper import analysis
from sweeper.analysis import StationFacts
from sweeper.outside import json_of
from sweeper.store import replace_whole
from sweeper.store.finished import rows_in
from sweeper.tables import pl

BOOK = "summaries.json"
MOST_ROWS = 1_000_000
"""In a month: 31 days of every hour, band, channel and path are some hundred thousand."""


@dataclass(frozen=True, slots=True)
class Month:
    """What the book says of one month: who made it, its file's SHA-256, and the identity of each day by its date."""

    made_by: str
    sha256: str
    days: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class Kept:
    """What there is and can be trusted: rows by month, oldest first, the days they hold, and the book's entries."""

    frames: Mapping[str, pl.DataFrame]
    days: frozenset[str]
    months: Mapping[str, Month]


def file_name(month: str) -> str:
    """The file of a month such as ``2026-03``."""
    return f"summaries.{month}.parquet"


def made_by(facts: StationFacts) -> str:
    """What a summary depends on besides the readings: the analysis code and the facts of the station."""
    return f"{code_fingerprint()} {facts.fingerprint}"


@lru_cache(maxsize=1)
def code_fingerprint() -> str:
    """A hash of the analysis as it is installed: change a line of it and the summaries are made again."""
    return fingerprint_of(files("sweeper.analysis"))


def fingerprint_of(folder: Traversable) -> str:
    """A hash of all Python sources in `folder` and the folders within, by name and content."""
    digest = hashlib.sha256()
    for entry in sorted(folder.iterdir(), key=lambda entry: entry.name):
        if entry.name.endswith(".py"):
            digest.update(entry.name.encode() + b"\0" + entry.read_bytes())
        elif entry.is_dir() and entry.name != "__pycache__":
            digest.update(entry.name.encode() + b"\0" + fingerprint_of(entry).encode())
    return digest.hexdigest()[:16]


def read_kept(read: Callable[[str], bytes], facts: StationFacts, identities: Mapping[str, str]) -> Kept:
    """What is kept of the days in `identities` (identity by date).

    `read` gives the bytes of a file by its name, or raises OSError.
    """
    frames: dict[str, pl.DataFrame] = {}
    months: dict[str, Month] = {}
    found: set[str] = set()
    for name, month in sorted(_book(read).items()):
        days = [day for day, made in month.days.items() if made and identities.get(day) == made]
        if month.made_by != made_by(facts) or not days:
            continue
        try:
            content = read(file_name(name))
            if hashlib.sha256(content).hexdigest() != month.sha256:
                continue
            if rows_in(content) > MOST_ROWS:
                continue
            frame = pl.read_parquet(content)
        except (OSError, pl.exceptions.PolarsError, pl.exceptions.PanicException):
            continue
        if not analysis.is_summary(frame):
            continue
        frame = frame.filter(pl.col("night").is_in([date.fromisoformat(day) for day in days]))
        frames[name] = frame
        months[name] = month
        found.update(days)
    return Kept(frames, frozenset(found), months)


def by_month(kept: Kept, made: Iterable[tuple[str, pl.DataFrame]]) -> dict[str, pl.DataFrame]:
    """What is kept with the summaries of further days (by date) put in, oldest first."""
    parts = {name: [frame] for name, frame in kept.frames.items()}
    for day, summary in made:
        parts.setdefault(day[:7], []).append(summary)
    return {
        name: frames[0]
        if len(frames) == 1
        else pl.concat(frames, how="diagonal_relaxed").sort("night", maintain_order=True)
        for name, frames in sorted(parts.items())
    }


def write_kept(
    folder: Path,
    facts: StationFacts,
    months: Mapping[str, pl.DataFrame],
    identities: Mapping[str, str],
    kept: Kept,
) -> None:
    """Keep `months` for the days of `identities` that have one; months that `kept` has already are left alone.

    Each file is written whole and the book last, so that whatever a crash leaves apart fails its checksum.
    """
    days: dict[str, dict[str, str]] = {name: {} for name in months}
    for day, identity in identities.items():
        if identity and day[:7] in days:
            days[day[:7]][day] = identity
    book = {name: month for name, month in kept.months.items() if month.days == days.get(name)}
    changed = [name for name in months if name not in book and days[name]]
    if not changed and book == kept.months:
        return
    try:
        for name in changed:
            nights = [date.fromisoformat(day) for day in days[name]]
            content = io.BytesIO()
            rows = months[name].filter(pl.col("night").is_in(nights))
            rows.write_parquet(content, compression="zstd", compression_level=1)  # 3 saves a hundredth
            digest = hashlib.sha256(content.getvalue()).hexdigest()
            book[name] = Month(made_by(facts), digest, days[name])
            replace_whole(folder / file_name(name), content.getvalue())
        text = json.dumps({name: asdict(book[name]) for name in sorted(book)})
        replace_whole(folder / BOOK, text.encode())
        for file in folder.glob("summaries.*parquet"):
            if file.name not in map(file_name, book):
                file.unlink(missing_ok=True)
    except OSError:
        return  # a full or read-only disk costs time tomorrow, nothing else


def _book(read: Callable[[str], bytes]) -> dict[str, Month]:
    try:
        book = {name: Month(**month) for name, month in json_of(read(BOOK)).items()}
        if not all(re.fullmatch(r"\d{4}-\d{2}", name) and dict(month.days) for name, month in book.items()):
            return {}
    except (OSError, ValueError, TypeError, AttributeError):
        return {}
    return book
