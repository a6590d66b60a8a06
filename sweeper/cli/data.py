"""`import` and `export`: readings in and out."""

import io
import os
import sys
from enum import StrEnum
from pathlib import Path
from typing import IO, Annotated, Any

import typer

from sweeper.cli.instants import between
from sweeper.cli.options import DataFolder, FromTime, StationFile, ToTime, open_store
from sweeper.clock import SystemClock
from sweeper.errors import WrongInput
from sweeper.printable import printable, terminal_of


class Format(StrEnum):
    """What `export` can write."""

    csv = "csv"
    parquet = "parquet"


def import_readings(
    station_file: StationFile,
    file: Annotated[Path, typer.Argument(metavar="FILE.csv", help="Readings as CSV, with a header.")],
    data: DataFolder = None,
) -> None:
    """Bring in readings taken elsewhere or by hand; a file with a bad row is refused whole."""
    from sweeper.report import wording
    from sweeper.station import load
    from sweeper.store import import_csv

    station = load(station_file)
    if not file.exists():
        raise WrongInput(f"{file}: there is no such file, so nothing was brought in. Name a CSV file.")
    store = open_store(station, station_file, data, read_only=False)
    try:
        count = import_csv(store, file, station.channels())
        store.finish_days(SystemClock().now())
    finally:
        store.close()
    print(f"{wording.count(count, 'reading')} brought in from {file}")


def export(
    station_file: StationFile,
    form: Annotated[Format, typer.Option("--format", help="csv or parquet.")] = Format.csv,
    out: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="Where to write; CSV goes to standard output if left out."),
    ] = None,
    data: DataFolder = None,
    since: FromTime = None,
    to: ToTime = None,
) -> None:
    """Write the stored readings as CSV or Parquet."""
    from sweeper.station import load
    from sweeper.store import write_csv, write_parquet

    station = load(station_file)
    span = between(since, to)
    store = open_store(station, station_file, data, read_only=True)
    try:
        readings = store.readings(*span)
        if form is Format.parquet:
            if out is None:
                raise WrongInput("export: Parquet is no text; name a file with --out.")
            write_parquet(readings, out)
        else:
            try:
                write_csv(readings, out if out is not None else _standard_output())
            except BrokenPipeError:  # as in `sweeper export … | head`
                os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    finally:
        store.close()


def _standard_output() -> IO[bytes]:
    """Bytes as they are for another program; on a terminal only what can be seen."""
    terminal = terminal_of(sys.stdout)
    if not terminal.isatty():
        return terminal.buffer

    class Seen(io.BytesIO):
        def write(self, part: Any) -> int:
            terminal.write(printable(bytes(part).decode().replace("\r\n", "\n")))
            return len(part)

    return Seen()
