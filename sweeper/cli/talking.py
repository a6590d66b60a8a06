"""`status`, `pause`, `resume`, `note`, `stop`, `keys`: talking to a running daemon; a note is kept without one, too."""

import re
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from sweeper.cli.options import DataFolder, StationFile, data_folder, open_store
from sweeper.clock import SystemClock
from sweeper.errors import UserFacingError, WrongInput

if TYPE_CHECKING:
    from sweeper.daemon.live.messages import Command
    from sweeper.station import Station

CLIENT = re.compile(r"[A-Za-z0-9_-]{1,60}")


def status(station_file: StationFile, data: DataFolder = None) -> None:
    """Say how the daemon is, how the last night went, and what that means for the findings."""
    _ask(station_file, data, "status")


def pause(station_file: StationFile, data: DataFolder = None) -> None:
    """Stop measuring until resumed; a pass under way ends within one visit."""
    _ask(station_file, data, "pause")


def resume(station_file: StationFile, data: DataFolder = None) -> None:
    """Measure again after a pause."""
    _ask(station_file, data, "resume")


def stop(station_file: StationFile, data: DataFolder = None) -> None:
    """End the daemon; relays go to rest and the receiver back to its saved state."""
    _ask(station_file, data, "stop")


def note(
    station_file: StationFile,
    text: Annotated[str, typer.Argument(metavar="TEXT", help="A remark, such as: new supply in the shack.")],
    data: DataFolder = None,
) -> None:
    """Keep a remark with the time, for `compare` to be read by later; a daemon need not run."""
    _ask(station_file, data, "note", text)


def keys(
    station_file: StationFile,
    client: Annotated[str, typer.Option(metavar="NAME", help="Whom the client's key is for.")] = "client",
    data: DataFolder = None,
) -> None:
    """Make CURVE keys for talking to the daemon across a network; what is there already is kept."""
    from sweeper.daemon.live.endpoints import make_keys

    if not CLIENT.fullmatch(client) or client == "server":
        raise WrongInput(
            f"--client: {client!r} cannot name a client's key. Use up to 60 letters, digits, hyphens and underscores."
        )
    station, folder = _station_folder(station_file, data)
    if station.live.keys is None:
        raise WrongInput(
            f"{station_file}: live.keys is not set, so there is nowhere to put keys. Add a section live: with "
            f"keys: keys, and with publish: or control: addresses."
        )
    for file in make_keys(folder / station.live.keys, client):
        print(file)


def _ask(station_file: Path, data: Path | None, command: "Command", text: str = "") -> None:
    from sweeper.daemon.live.client import ask, ask_across
    from sweeper.daemon.live.endpoints import client_keys
    from sweeper.daemon.live.messages import NOTE_LIMIT, Request

    if len(text) > NOTE_LIMIT:
        raise WrongInput(f"A note has at most {NOTE_LIMIT} characters; this one has {len(text)}.")
    station, folder = _station_folder(station_file, data)
    request = Request(command=command, text=text)
    if station.live.control and station.live.keys and not (folder / "control").exists():
        answer = ask_across(station.live.control, client_keys(folder / station.live.keys), request)
    else:
        try:
            answer = ask(folder, request)
        except UserFacingError:
            if command == "note":
                _keep_note(station, station_file, data, text)
                return
            if command == "status" and folder.is_dir():
                _tell_last_night(station, station_file, data)
            raise
    if command == "status" and answer.ok and answer.state is not None:
        from sweeper.report.terminal import show_state

        show_state(answer.state, station.station.timezone)
    else:
        print(answer.sentence)
    if not answer.ok:
        raise typer.Exit(1)


def _tell_last_night(station: "Station", station_file: Path, data: Path | None) -> None:
    """What the store says of the last passes, where no daemon runs that could be asked."""
    from sweeper.daemon.service.daemon import health_of
    from sweeper.report.wording import count, local_time
    from sweeper.store import day_of

    zone = station.station.timezone
    with open_store(station, station_file, data, read_only=True) as store:
        passes = store.passes()
        if not passes:
            print(f"{station.station.name}: no pass has been measured yet.")
            return
        last = max(each.ended for each in passes)
        day = day_of(max(each.started for each in passes), station.station.longitude)
        night = store.passes(day)
        began = min((each.started for each in night), default=last)
        print(
            f"{station.station.name}: last measured {local_time(began, zone)} to {local_time(last, zone)} ({zone}), "
            f"{count(len(night), 'pass', 'passes')}; {count(len(passes), 'pass', 'passes')} in all."
        )
        brought = all(each.brought_in for each in night)
        print("They came out of a file." if brought else health_of(station, store, last))


def _keep_note(station: "Station", station_file: Path, data: Path | None, text: str) -> None:
    """Put a note where the daemon would; `StoreError` while another sweeper writes there."""
    if not text.strip():
        raise WrongInput("A note needs words; nothing was kept.")
    with open_store(station, station_file, data, read_only=False) as store:
        store.add_note(SystemClock().now(), text)
    print("The note is kept. (No daemon runs, so it was put straight into the station's data.)")


def _station_folder(station_file: Path, data: Path | None) -> "tuple[Station, Path]":
    from sweeper.station import load

    station = load(station_file)
    return station, data_folder(station_file, data) / station.station.name
