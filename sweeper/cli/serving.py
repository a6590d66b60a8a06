"""`serve`: the live page."""

from pathlib import Path
from typing import Annotated

import typer

from sweeper.cli.options import DataFolder, StationFile, data_folder
from sweeper.errors import WrongInput


def serve(
    station_file: StationFile,
    port: Annotated[int, typer.Option(min=0, max=65_535, metavar="N", help="0 takes any free port.")] = 8473,
    host: Annotated[
        str,
        typer.Option(
            metavar="ADDRESS",
            help="Where to listen. Anywhere but on the loopback address the page wants a token, and what goes "
            "over the network is readable there: put TLS or a tunnel in front.",
        ),
    ] = "127.0.0.1",
    token_file: Annotated[
        Path | None,
        typer.Option(
            metavar="FILE", help="Where the token is, or is to be; beside the readings if left out."
        ),
    ] = None,
    data: DataFolder = None,
) -> None:
    """Serve the live page until stopped: the answer so far, what is being measured, pause and note."""
    from sweeper.page.serving import serve_page
    from sweeper.station import load
    from sweeper.store import StoreError, make_folder

    station = load(station_file)
    folder = data_folder(station_file, data)
    try:
        make_folder(folder / station.station.name)
    except StoreError as refused:
        raise WrongInput(str(refused)) from refused
    token = token_file if token_file is not None else folder / station.station.name / "page.token"
    serve_page(station, folder, host, port, token, lambda line: print(line, flush=True))
