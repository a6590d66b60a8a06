"""Finished days: one Parquet file a day, written whole, read only when footer and values are such as we write.

Readings and spectra alike; a `Form` says what the files of one of them are told by.
"""

from __future__ import annotations

import io
import stat
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date
from functools import lru_cache
from pathlib import Path

from sweeper.store.files import write_whole
from sweeper.store.frames import problem_of, schema
from sweeper.store.manifest import MOST_DAY_BYTES, announce, stamp_of
from sweeper.tables import pl

FORMAT = "sweeper-readings-1"
MOST_ROWS = 10_000_000
"""In a day: more than one every 10 ms, which no receiver tells. A small file can unpack to any number of equal ones."""


@dataclass(frozen=True)
class Form:
    """Of the files of one table: their folder in a station's, their format, what they hold, its columns and bounds."""

    folder: str
    format: str
    holds: str
    schema: Callable[[], pl.Schema]
    problem_of: Callable[[pl.LazyFrame], str]


READINGS = Form("days", FORMAT, "readings", schema, problem_of)
NOTHING: Mapping[str, str] = {}


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


def is_whole(file: Path, form: Form = READINGS) -> bool:
    """Whether the footer can be read and says that this is the day that the file's name says."""
    return _checked(file, form, _footer)


def is_sound(file: Path, form: Form = READINGS) -> bool:
    """Whether all its values can be read and are such as are stored."""
    return _checked(file, form, _values)


def _checked(file: Path, form: Form, check: Callable[[Path, Form, tuple[int, ...]], str]) -> bool:
    try:
        return check(file, form, stamp_of(file)) == ""
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
def _footer(file: Path, form: Form, stamp: tuple[int, ...]) -> str:
    if not is_file_of_days(file):
        return "it is no ordinary file"
    try:
        return problem_of_footer(file, file.stem, form)
    except (OSError, pl.exceptions.PolarsError, pl.exceptions.PanicException) as error:
        return str(error)


@lru_cache(maxsize=4096)
def _values(file: Path, form: Form, stamp: tuple[int, ...]) -> str:
    try:
        return form.problem_of(scan_day(file, form))
    except (OSError, pl.exceptions.PolarsError, pl.exceptions.PanicException) as error:
        return str(error)


def problem_of_footer(source: Path | bytes, day: str, form: Form = READINGS) -> str:
    """What is wrong with a file that is said to be of `day` (its date as text); empty if nothing.

    Told by its footer, so that nothing is unpacked. A copy under another date would count its passes twice.
    """
    metadata = pl.read_parquet_metadata(source)
    if metadata.get("sweeper") != form.format:
        return f"it is no day of {form.holds} of this program"
    if metadata.get("day") != day:
        return f"it holds the {form.holds} of {metadata.get('day')!r}, not those of {day}"
    if list(pl.read_parquet_schema(source)) != list(form.schema()):
        return f"its columns are not those of the {form.holds} table"
    if rows_in(source) > MOST_ROWS:
        return f"it says that it holds more than {MOST_ROWS} rows"
    return ""


def rows_in(source: Path | bytes) -> int:
    """How many rows a Parquet file says that it has; nothing of them is unpacked."""
    return int(pl.scan_parquet(source).select(pl.len()).collect().item())


def write_day(
    folder: Path, day: date, rows: pl.DataFrame, form: Form = READINGS, remark: Mapping[str, str] = NOTHING
) -> Path:
    """Write a finished day whole, replacing an earlier version of it; its file. `remark` goes into its footer."""
    content = io.BytesIO()
    rows.write_parquet(
        content,
        compression="zstd",
        compression_level=12,  # A tenth larger than the highest level, in a tenth of its time.
        metadata={"sweeper": form.format, "day": day.isoformat(), **remark},
    )
    file = folder / file_name(day)
    announce(folder.parent, file, content.getvalue())
    write_whole(file, content.getvalue())
    return file


def scan_day(file: Path, form: Form = READINGS) -> pl.LazyFrame:
    """A finished day, in the columns of its table."""
    return pl.scan_parquet(file).cast(form.schema())


def day_of_bytes(content: bytes, day: str) -> pl.DataFrame:
    """The readings of a day (its date as text) out of its file's bytes. ValueError or a polars error otherwise."""
    if problem := problem_of_footer(content, day):
        raise ValueError(problem)
    readings = pl.read_parquet(io.BytesIO(content)).cast(schema())
    if problem := problem_of(readings.lazy()):
        raise ValueError(problem)
    return readings


def last_pass(file: Path) -> int:
    """The highest pass number in a finished day."""
    return int(pl.scan_parquet(file).select(pl.col("pass").max()).collect().item() or 0)
