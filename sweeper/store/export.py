"""Readings out of the store: CSV by RFC 4180 and Parquet; a file is whole or absent."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import IO

from sweeper.store.errors import StoreError
from sweeper.store.files import replacing, told
from sweeper.tables import pl

_ROWS_AT_ONCE = 100_000

FORMULA = r"^'*[=+\-@\t\r]"
NO_FORMULA = "'"
"""A spreadsheet takes a field that begins so for a formula, and one with an apostrophe before it for text (OWASP, CSV
injection, from memory). `import` takes the apostrophe away again."""


def write_csv(readings: pl.LazyFrame, file: Path | IO[bytes]) -> None:
    """Write readings as CSV with a header: UTF-8, CRLF, times in RFC 3339, `dbm` empty where uncalibrated."""
    if isinstance(file, Path):
        with _whole(file) as beside, beside.open("wb") as out:
            _csv_to(readings, out)
    else:
        _csv_to(readings, file)


def write_parquet(readings: pl.LazyFrame, file: Path) -> None:
    """Write readings as one Parquet file."""
    with _whole(file) as beside:
        readings.sink_parquet(beside, compression="zstd")


@contextmanager
def _whole(file: Path) -> Iterator[Path]:
    """A file to write to, which becomes `file` if all goes well and is gone otherwise."""
    if file.exists() and not file.is_file():
        raise StoreError(f"{file}: this is no file, so it is not replaced by one. Give another name.")
    with told("write it", file):
        try:
            with replacing(file) as beside:
                yield beside
        except pl.exceptions.ComputeError as error:
            raise StoreError(f"{file}: cannot write it: {error}. What is stored is safe.") from error


def _csv_to(readings: pl.LazyFrame, out: IO[bytes]) -> None:
    band = pl.col("band")
    text = readings.with_columns(
        pl.col("time").dt.strftime("%Y-%m-%dT%H:%M:%S%.3fZ"),
        pl.col("flags").replace("", None),
        pl.when(band.str.contains(FORMULA)).then(pl.lit(NO_FORMULA) + band).otherwise(band).alias("band"),
    )
    out.write((",".join(text.collect_schema().names()) + "\r\n").encode())
    for batch in text.collect_batches(chunk_size=_ROWS_AT_ONCE, maintain_order=True):
        out.write(batch.write_csv(include_header=False, line_terminator="\r\n").encode())
