"""`fleet`: many stations side by side."""

import os
import sys
from pathlib import Path
from typing import Annotated

import typer

from sweeper.cli.options import AsJson
from sweeper.cli.progress import progress


def fleet(
    places: Annotated[
        list[str], typer.Argument(metavar="DIR_OR_URL...", help="Stations' folders, or folders of them.")
    ],
    scheduler: Annotated[
        str | None,
        typer.Option(
            metavar="URL", help="A Dask scheduler such as tcp://10.0.0.2:8786; this machine if left out."
        ),
    ] = None,
    workers: Annotated[
        int | None, typer.Option(min=1, metavar="N", help="Processes on this machine.")
    ] = None,
    out: Annotated[
        Path | None, typer.Option(metavar="FILE.html", help="Write the comparison as a page, too.")
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Reduce many stations to one comparison, on this machine or a Dask cluster."""
    from sweeper.fleet import DaskCluster, ProcessPool, find_stations, fleet_json, reduce_fleet

    executor = DaskCluster(scheduler) if scheduler else ProcessPool(workers or os.cpu_count() or 1)
    urls = find_stations(places)
    with progress(f"Reducing {len(urls)} stations") as told:
        reduced = reduce_fleet(urls, executor, told)
    if as_json:
        print(fleet_json(reduced))
    else:
        from sweeper.report.terminal import show_fleet

        show_fleet(reduced)
    if out is not None:
        from sweeper.report.fleet_page import write_fleet_html

        write_fleet_html(reduced, out)
    problems = [problem for share in reduced.shares for problem in share.problems]
    for problem in problems:
        print(problem, file=sys.stderr)
    if problems:
        raise typer.Exit(1)
