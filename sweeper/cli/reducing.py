"""`analyse`, `compare` and `report`: from what is stored to what it says."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from sweeper.cli.instants import between, instant
from sweeper.cli.options import AsJson, DataFolder, FromTime, StationFile, ToTime, open_store
from sweeper.cli.progress import progress
from sweeper.errors import UserFacingError, WrongInput

if TYPE_CHECKING:
    from sweeper.analysis import StationFacts
    from sweeper.reduction import Reduced
    from sweeper.station import Station
    from sweeper.store import Store


def analyse(
    station_file: StationFile,
    data: DataFolder = None,
    since: FromTime = None,
    to: ToTime = None,
    as_json: AsJson = False,
) -> None:
    """Reduce what is stored to findings: per band and hour, with their uncertainty."""
    station, reduced = _reduced(station_file, data, since, to)
    if as_json:
        from sweeper.analysis import findings_json

        print(findings_json(reduced.findings))
    else:
        from sweeper.report.terminal import show_findings

        show_findings(reduced.findings, station.station.timezone)


def compare(
    station_file: StationFile,
    fix: Annotated[
        str | None, typer.Option(metavar="TIME", help="When the fix was made; looked for if left out.")
    ] = None,
    control: Annotated[
        list[str] | None,
        typer.Option(
            metavar="BAND", help="A band that the fix cannot have touched; may be given several times."
        ),
    ] = None,
    data: DataFolder = None,
    as_json: AsJson = False,
) -> None:
    """Before and after a fix: did local noise really change?"""
    from sweeper.reduction import compare_fix, facts_of
    from sweeper.reduction.noise import noise_changes
    from sweeper.station import load

    station = load(station_file)
    when = instant(fix, "--fix")
    bands = [band.name for band in station.bands]
    for name in control or ():
        if name not in bands:
            raise WrongInput(
                f"--control: {station_file} has no band {name!r}; its bands are {', '.join(bands)}."
            )
    store = open_store(station, station_file, data, read_only=True)
    try:
        if not store.days():
            raise UserFacingError(
                f"{store.folder}: no readings are stored, so there is nothing to compare. Measure some nights first."
            )
        comparison = compare_fix(store, facts_of(station), when, control or ())
        by_kind = noise_changes(store, station, comparison.fix) if comparison.fix is not None else []
    finally:
        store.close()
    if as_json:
        import json

        from sweeper.analysis import comparison_object
        from sweeper.report.noise_terminal import change_object

        told = comparison_object(comparison) | {"by_kind": [change_object(each) for each in by_kind]}
        print(json.dumps(told, ensure_ascii=False, allow_nan=False, indent=1))
    else:
        from sweeper.report.noise_terminal import show_changes
        from sweeper.report.terminal import show_comparison

        show_comparison(comparison, station.station.timezone)
        show_changes(by_kind)


def report(
    station_file: StationFile,
    out: Annotated[
        Path | None,
        typer.Option(metavar="FILE.html", help="Where to write; beside the station file if left out."),
    ] = None,
    fix: Annotated[
        str | None, typer.Option(metavar="TIME", help="Show what a fix at this instant changed.")
    ] = None,
    data: DataFolder = None,
    text: Annotated[bool, typer.Option("--text", help="Print a plain summary, for mail, instead.")] = False,
    picture: Annotated[
        Path | None,
        typer.Option(metavar="FILE.png", help="Draw the answer alone instead, to send; .png or .svg."),
    ] = None,
) -> None:
    """Write one self-contained page: the answer at its top, everything else folded below."""
    from sweeper.reduction import compare_fix, facts_of, reduce_store
    from sweeper.reduction.noise import noise_of
    from sweeper.report.setting import Setting
    from sweeper.station import load

    station = load(station_file)
    facts, when = facts_of(station), instant(fix, "--fix")
    with open_store(station, station_file, data, read_only=True) as store:
        _refuse_misfit(store, station_file, facts)
        with progress("Reducing") as told:
            reduced = reduce_store(store, facts, progress=told)
        comparison = compare_fix(store, facts, when, summaries=reduced.summaries)
        notes = store.notes()
        noise = (
            None if text or picture is not None else noise_of(store, station, reduced.spectra, comparison.fix)
        )
    if text:
        from sweeper.report.plain import as_text

        setting = Setting.of(station, store.folder)
        print(as_text(reduced.findings, setting.zone, comparison, setting.found_by_check))
        return
    if picture is not None:
        from sweeper.report.shared_picture import write_picture

        write_picture(reduced.findings, station.station.timezone, picture)
        print(picture)
        return
    from sweeper.report.page import write_html

    page = out if out is not None else station_file.with_suffix(".html")
    with progress("Drawing") as told:
        write_html(
            reduced.findings,
            reduced.evidence,
            reduced.passes,
            page,
            setting=Setting.of(station, store.folder, reduced.spectra),
            comparison=comparison,
            notes=notes,
            noise=noise,
            progress=told,
        )
    print(page)


def _refuse_misfit(store: "Store", station_file: Path, facts: "StationFacts") -> None:
    """A station file that the meter itself contradicts is told with its line; what is stored stays as it is."""
    from sweeper.reduction.misfit import misfit
    from sweeper.station.lines import read
    from sweeper.station.problems import Problem, StationFileError

    found = misfit(store, facts.meter)
    if found is None:
        return
    key, what, mend = found
    _, lines = read(station_file)
    line = lines.get(("receiver", "meter", key), lines.get(("receiver", "meter"), 0))
    raise StationFileError((Problem(station_file, line, f"receiver.meter.{key}", what, mend),))


def _reduced(
    station_file: Path, data: Path | None, since: str | None, to: str | None
) -> "tuple[Station, Reduced]":
    from sweeper.reduction import facts_of, reduce_store
    from sweeper.station import load

    station = load(station_file)
    span = between(since, to)
    store = open_store(station, station_file, data, read_only=True)
    try:
        _refuse_misfit(store, station_file, facts_of(station))
        with progress("Reducing") as told:
            return station, reduce_store(store, facts_of(station), *span, progress=told)
    finally:
        store.close()
