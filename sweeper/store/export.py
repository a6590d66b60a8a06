"""Readings out of the store: CSV by RFC 4180 and Parquet, a file at a time, whole or absent."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path
from typing import IO, TYPE_CHECKING

from sweeper.store.files import sync_folder, told

if TYPE_CHECKING:
    import polars as pl


def write_csv(readings: pl.LazyFrame, file: Path | IO[bytes]) -> None:
    """Write readings as CSV with a header: UTF-8, CRLF, times in RFC 3339, `dbm` empty where uncalibrated."""
    import polars as pl

    text = readings.with_columns(
        pl.col("time").dt.strftime("%Y-%m-%dT%H:%M:%S%.3fZ"), pl.col("flags").replace("", None)
    )
    if isinstance(file, Path):
        _whole(file, lambda beside: text.sink_csv(beside, line_terminator="\r\n"))
    else:
        text.sink_csv(file, line_terminator="\r\n")


def write_parquet(readings: pl.LazyFrame, file: Path) -> None:
    """Write readings as one Parquet file."""
    _whole(file, lambda beside: readings.sink_parquet(beside, compression="zstd"))


def _whole(file: Path, write: Callable[[Path], None]) -> None:
    beside = file.with_name(f".{file.name}.part")
    with told("write it", file):
        try:
            write(beside)
            with beside.open("rb") as written:
                os.fsync(written.fileno())
            beside.rename(file)
            sync_folder(file.parent)
        finally:
            beside.unlink(missing_ok=True)
