"""Finished days: one Parquet file a day, written whole, read only after its footer proves it is ours."""

from __future__ import annotations

import io
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from sweeper.store.files import write_whole
from sweeper.store.frames import schema

if TYPE_CHECKING:
    import polars as pl

FORMAT = "sweeper-readings-1"


@dataclass(frozen=True, slots=True)
class FinishedDay:
    """A file that holds one day."""

    day: date
    file: Path


def file_name(day: date) -> str:
    return f"{day.isoformat()}.parquet"


def list_days(folder: Path) -> tuple[tuple[FinishedDay, ...], tuple[Path, ...]]:
    """The whole days in a folder, in order; and the files that are torn or not ours, which nobody may read."""
    whole, bad = [], []
    for file in sorted(folder.glob("*")) if folder.is_dir() else ():
        if file.name.startswith("."):
            continue  # An unfinished write; the next one replaces it.
        try:
            day = date.fromisoformat(file.name.removesuffix(".parquet"))
        except ValueError:
            bad.append(file)
            continue
        if file.name == file_name(day) and is_whole(file):
            whole.append(FinishedDay(day, file))
        else:
            bad.append(file)
    return tuple(whole), tuple(bad)


def is_whole(file: Path) -> bool:
    """Whether the footer can be read and says that this is a day of readings."""
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
        compression_level=19,
        statistics=True,
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
