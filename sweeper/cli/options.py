"""Arguments and options that several commands share, and where a station's data lie."""

import errno
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from sweeper.errors import WrongInput

if TYPE_CHECKING:
    from sweeper.station import Station
    from sweeper.store import Store

StationFile = Annotated[Path, typer.Argument(metavar="STATION", help="The station file.")]
DataFolder = Annotated[
    Path | None,
    typer.Option(
        "--data", metavar="DIR", help="Where the readings lie; a folder beside the station file if left out."
    ),
]
AsJson = Annotated[bool, typer.Option("--json", help="Print the findings as JSON.")]
FromTime = Annotated[
    str | None,
    typer.Option("--from", metavar="TIME", help="Only from this instant on, such as 2026-11-01T16:00Z."),
]
ToTime = Annotated[str | None, typer.Option("--to", metavar="TIME", help="Only up to this instant.")]

NO_PLACE = (errno.EACCES, errno.EPERM, errno.EROFS, errno.ENOTDIR, errno.ENOENT)
"""What the system says of a folder in which nobody can keep readings, however often they try."""


def data_folder(station_file: Path, data: Path | None) -> Path:
    """The folder named, or the one beside the station file."""
    return data if data is not None else station_file.with_suffix(".data")


def open_store(
    station: "Station", station_file: Path, data: Path | None, *, read_only: bool, alone: bool = False
) -> "Store":
    """The store of a station; for reading it must be there already.

    A folder that takes nothing is a wrong call where a person can mend it, and else (`alone`) a fault that may pass: a
    disk that is mounted late.
    """
    from sweeper.store import Store, StoreError

    folder = data_folder(station_file, data)
    if read_only and not folder.is_dir():
        raise WrongInput(
            f"{folder}: no readings lie there yet. Measure with `sweeper run {station_file}`, bring readings in "
            f"with `sweeper import`, or name another folder with --data."
        )

    def told(trouble: str) -> None:
        if read_only:  # a daemon tells them in its own way
            print(trouble, file=sys.stderr)

    place = station.station
    try:
        return Store(folder, place.name, place.longitude, read_only=read_only, on_trouble=told)
    except StoreError as refused:
        cause = refused.__cause__
        if not alone and isinstance(cause, OSError) and cause.errno in NO_PLACE:
            raise WrongInput(str(refused)) from refused
        raise
