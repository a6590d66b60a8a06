"""Finished days: one Parquet file a day, written whole, read only after its footer proves it is ours."""

from __future__ import annotations

import io
from datetime import date
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING

from sweeper.store.files import write_whole
from sweeper.store.frames import schema

if TYPE_CHECKING:
    import polars as pl

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
    """Whether the footer can be read and says that this is a day of readings."""
    try:
        stat = file.stat()
    except OSError:
        return False
    return _is_whole(file, stat.st_size, stat.st_mtime_ns)


@lru_cache(maxsize=4096)
def _is_whole(file: Path, size: int, modified_ns: int) -> bool:
    import polars as pl

    try:
        metadata = pl.read_parquet_metadata(file)
        return metadata.get("sweeper") == FORMAT and list(pl.read_parquet_schema(file)) == list(schema())
    except (OSError, pl.exceptions.PolarsError):
        return False


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
    write_whole(file, content.getvalue())
    return file


def scan_day(file: Path) -> pl.LazyFrame:
    """The readings of a finished day, in the columns of the readings table."""
    import polars as pl

    return pl.scan_parquet(file).cast(schema())


def last_pass(file: Path) -> int:
    """The highest pass number in a finished day."""
    import polars as pl

    return int(pl.scan_parquet(file).select(pl.col("pass").max()).collect().item() or 0)
