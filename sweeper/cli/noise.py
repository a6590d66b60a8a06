"""`noise`: what makes a station's noise."""

from pathlib import Path
from typing import Annotated

import typer

from sweeper.cli.options import AsJson, DataFolder, StationFile, open_store
from sweeper.errors import UserFacingError


def noise(
    station_file: StationFile,
    data: DataFolder = None,
    as_json: AsJson = False,
    picture: Annotated[
        Path | None, typer.Option(metavar="FILE.png", help="Draw it as well; .png or .svg.")
    ] = None,
) -> None:
    """Tell what makes the noise: its sources, when they run, what they cost, and how much of it is whose."""
    from sweeper.reduction.noise import noise_of
    from sweeper.report.noise_terminal import noise_json, show_noise
    from sweeper.station import load

    station = load(station_file)
    with open_store(station, station_file, data, read_only=True) as store:
        told = noise_of(store, station)
    if not told.passes:
        raise UserFacingError(
            f"{store.folder}: no pass has told what makes the noise yet. Passes tell it that are measured by samples "
            "(receiver.spectrum) or from the receiver's sound (receiver.audio)."
        )
    if as_json:
        print(noise_json(station.station.name, told))
    else:
        show_noise(station.station.name, told)
    if picture is not None:
        from sweeper.report.noise_picture import write_noise_picture

        write_noise_picture(station.station.name, told, station.station.timezone, picture)
        if not as_json:
            print(f"\n{picture}")
