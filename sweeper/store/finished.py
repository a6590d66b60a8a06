"""Finished days: one Parquet file a day, written whole, read only when footer and values are such as we write."""

from __future__ import annotations

import io
import stat
from collections.abc import Callable, Mapping, Sequence
from datetime import date
from functools import lru_cache
from pathlib import Path

from sweeper.store.files import write_whole
from sweeper.store.frames import problem_of, schema
from sweeper.store.manifest import MOST_DAY_BYTES, announce, stamp_of
from sweeper.tables import pl

FORMAT = "sweeper-readings-1"


def file_name(day: date) -> str:
    return f"{day.isoformat()}.parquet"


def list_days(folder: Path) -> tuple[dict[date, Path], tuple[Path, ...]]:
    """The day files in a folder by day, in order, told by their names alone; and what else lies there."""
    days, strange = {}, []
    for file in sorted(folder.iterdir()) if folder.is_dir() else ():
        if file.name.startswith("."):
            continue  # An unfinished write; the next one replaces it.
        try:
            day = date.fromisoformat(file.name.removesuffix(".parquet"))
        except ValueError:
            strange.append(file)
            continue
        if file.name == file_name(day):
            days[day] = file
        else:
            strange.append(file)
    return days, tuple(strange)


def is_whole(file: Path) -> bool:
    """Whether the footer can be read and says that this is the day of readings that the file's name says."""
    return _checked(file, _footer)


def is_sound(file: Path) -> bool:
    """Whether all its values can be read and are such as are stored."""
    return _checked(file, _values)


def _checked(file: Path, check: Callable[[Path, tuple[int, ...]], str]) -> bool:
    try:
        return check(file, stamp_of(file)) == ""
    except OSError:
        return False


def is_file_of_days(file: Path) -> bool:
    """Whether it is there, an ordinary file, and of a size that a day may have: a pipe would be waited for."""
    try:
        found = file.stat()
    except OSError:
        return False
    return stat.S_ISREG(found.st_mode) and found.st_size <= MOST_DAY_BYTES


@lru_cache(maxsize=4096)
def _footer(file: Path, stamp: tuple[int, ...]) -> str:
    if not is_file_of_days(file):
        return "it is no ordinary file"
    try:
        return problem_of_footer(
            pl.read_parquet_metadata(file), list(pl.read_parquet_schema(file)), file.stem
        )
    except (OSError, pl.exceptions.PolarsError, pl.exceptions.PanicException) as error:
        return str(error)


@lru_cache(maxsize=4096)
def _values(file: Path, stamp: tuple[int, ...]) -> str:
    try:
        return problem_of(scan_day(file))
    except (OSError, pl.exceptions.PolarsError, pl.exceptions.PanicException) as error:
        return str(error)


def problem_of_footer(metadata: Mapping[str, str], columns: Sequence[str], day: str) -> str:
    """What is wrong with a file that is said to hold the readings of `day` (its date as text); empty if nothing.

    A copy under another date would count its passes twice.
    """
    if metadata.get("sweeper") != FORMAT:
        return "it is no day of readings of this program"
    if metadata.get("day") != day:
        return f"it holds the readings of {metadata.get('day')!r}, not those of {day}"
    if list(columns) != list(schema()):
        return "its columns are not those of the readings table"
    return ""


def write_day(folder: Path, day: date, readings: pl.DataFrame) -> Path:
    """Write a finished day whole, replacing an earlier version of it; its file."""
    content = io.BytesIO()
    readings.write_parquet(
        content,
        compression="zstd",
        compression_level=12,  # A tenth larger than the highest level, in a tenth of its time.
        metadata={"sweeper": FORMAT, "day": day.isoformat()},
    )
    file = folder / file_name(day)
    announce(folder.parent, file, content.getvalue())
    write_whole(file, content.getvalue())
    return file


def scan_day(file: Path) -> pl.LazyFrame:
    """The readings of a finished day, in the columns of the readings table."""
    return pl.scan_parquet(file).cast(schema())


def day_of_bytes(content: bytes, day: str) -> pl.DataFrame:
    """The readings of a day (its date as text) out of its file's bytes. ValueError or a polars error otherwise."""
    columns = list(pl.read_parquet_schema(io.BytesIO(content)))
    if problem := problem_of_footer(pl.read_parquet_metadata(io.BytesIO(content)), columns, day):
        raise ValueError(problem)
    readings = pl.read_parquet(io.BytesIO(content)).cast(schema())
    if problem := problem_of(readings.lazy()):
        raise ValueError(problem)
    return readings


def last_pass(file: Path) -> int:
    """The highest pass number in a finished day."""
    return int(pl.scan_parquet(file).select(pl.col("pass").max()).collect().item() or 0)
