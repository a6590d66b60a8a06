"""`import` and `export`: readings in and out."""

import io
import os
import sys
from collections.abc import Sequence
from enum import StrEnum
from pathlib import Path
from typing import IO, TYPE_CHECKING, Annotated, Any
from zoneinfo import ZoneInfo

import typer

from sweeper.cli.instants import between
from sweeper.cli.options import DataFolder, FromTime, StationFile, ToTime, open_store
from sweeper.clock import SystemClock
from sweeper.errors import WrongInput
from sweeper.printable import printable, terminal_of

if TYPE_CHECKING:
    from sweeper.store import Store
    from sweeper.store.csv_in import Asked, Taken


class Format(StrEnum):
    """What `export` can write."""

    csv = "csv"
    parquet = "parquet"


class DateOrder(StrEnum):
    """What stands first in a date such as 3/11/2026."""

    day_first = "day-first"
    month_first = "month-first"


class Frequencies(StrEnum):
    """Units of a frequency column."""

    Hz = "Hz"
    kHz = "kHz"
    MHz = "MHz"


class Levels(StrEnum):
    """Units of a column of readings."""

    S = "S"
    dB = "dB"
    dBm = "dBm"


ASKED = "If the table does not say"


def import_readings(
    station_file: StationFile,
    file: Annotated[
        Path | None,
        typer.Argument(metavar="FILE.csv", help="Readings as CSV: an export, or a table kept by hand."),
    ] = None,
    data: DataFolder = None,
    template: Annotated[
        bool, typer.Option("--template", help="Print a table to fill in, and do nothing else.")
    ] = False,
    timezone: Annotated[
        str | None,
        typer.Option(
            metavar="ZONE", help="Zone of the times, such as Europe/Copenhagen or UTC.", rich_help_panel=ASKED
        ),
    ] = None,
    dates: Annotated[
        DateOrder | None, typer.Option(help="How to read 3/11/2026.", rich_help_panel=ASKED)
    ] = None,
    frequency: Annotated[
        Frequencies | None, typer.Option(help="Unit of the frequencies.", rich_help_panel=ASKED)
    ] = None,
    level: Annotated[Levels | None, typer.Option(help="Unit of the readings.", rich_help_panel=ASKED)] = None,
    column: Annotated[
        list[str] | None,
        typer.Option(
            metavar="MEANING=HEADER",
            help="Which column is date, time, frequency, band, for, source, route or reading; may be repeated.",
            rich_help_panel=ASKED,
        ),
    ] = None,
) -> None:
    """Bring in readings taken elsewhere or by hand; a file with a bad row is refused whole."""
    from sweeper.station import load
    from sweeper.store.csv_in import Asked, template_of

    station = load(station_file)
    meter = station.receiver.meter
    if template:
        print(template_of(station.channels(), station.paths(), meter.unit), end="")
        return
    if file is None:
        raise WrongInput("Name the table to bring in, or print one to fill in with --template.")
    if not file.exists():
        raise WrongInput(f"{file}: there is no such file, so nothing was brought in. Name a CSV file.")
    asked = Asked(
        channels=station.channels(),
        meter_unit=meter.unit,
        s9_dbm=meter.s9_dbm,
        station_zone=station.station.timezone,
        timezone=_zone(timezone),
        dates=None if dates is None else dates.value,
        frequency=None if frequency is None else frequency.value,
        level=None if level is None else level.value,
        columns=_columns(column or ()),
    )
    with open_store(station, station_file, data, read_only=False) as store:
        _bring_in(store, file, asked)


def _bring_in(store: "Store", file: Path, asked: "Asked") -> None:
    from sweeper.report import wording

    taken = _taken(store, file, asked)
    store.finish_days(SystemClock().now())
    for sentence in taken.read_as:
        print(sentence, file=sys.stderr)
    passes = wording.count(taken.passes, "pass", "passes")
    print(f"{wording.count(taken.readings, 'reading')} brought in from {file}, in {passes}")
    if taken.known:
        print(f"{wording.count(taken.known, 'reading')} of it had been stored before.")


def _taken(store: "Store", file: Path, asked: "Asked") -> "Taken":
    """Bring the table in; at a terminal ask what it leaves open, elsewhere refuse it with the options that say it."""
    from sweeper.cli.import_questions import answered, can_be_asked
    from sweeper.store import BadRows, import_csv

    while True:
        try:
            return import_csv(store, file, asked)
        except BadRows as refused:
            if not sys.stdin.isatty() or not can_be_asked(asked, refused.unclear):
                raise
            assert refused.unclear is not None
            asked = answered(asked, refused.unclear)


def _zone(name: str | None) -> ZoneInfo | None:
    if name is None:
        return None
    try:
        return ZoneInfo(name)
    except (KeyError, ValueError, OSError):
        raise WrongInput(
            f"--timezone: there is no time zone {name!r}. Write a place of the IANA list, such as Europe/Copenhagen, "
            "or UTC."
        ) from None


def _columns(given: Sequence[str]) -> dict[str, str]:
    from sweeper.store.csv_in import MEANINGS

    found = {}
    for each in given:
        meaning, sign, header = each.partition("=")
        if not sign or meaning not in MEANINGS:
            raise WrongInput(
                f"--column: {each!r} does not fit. Write MEANING=HEADER with one of {', '.join(MEANINGS)}."
            )
        found[meaning] = header.strip()
    return found


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
    spectra: Annotated[
        bool, typer.Option("--spectra", help="The spectra that levels were read from, as Parquet.")
    ] = False,
) -> None:
    """Write the stored readings, or spectra, as CSV or Parquet."""
    from sweeper.station import load
    from sweeper.store import write_csv, write_parquet

    station = load(station_file)
    span = between(since, to)
    if spectra and form is not Format.parquet:
        raise WrongInput("export: spectra are no rows of text; write --spectra --format parquet --out FILE.")
    store = open_store(station, station_file, data, read_only=True)
    try:
        readings = store.readings(*span)
        if form is Format.parquet:
            if out is None:
                raise WrongInput("export: Parquet is no text; name a file with --out.")
            write_parquet(store.spectra(*span) if spectra else readings, out)
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
