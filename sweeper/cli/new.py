"""`new`: ten questions, each with a sensible answer offered, and a station file to begin with."""

import sys
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, TypeVar
from zoneinfo import ZoneInfo

import typer

from drivers.config_files import board_names, dialect_names
from sweeper.cli.checking import check as check_station
from sweeper.cli.first_bands import chosen, first_bands
from sweeper.cli.first_file import Answers, station_text
from sweeper.cli.first_links import RECEIVER_PORT, RELAY_PORTS, serial_ports, servers
from sweeper.cli.progress import progress
from sweeper.clock import SystemClock
from sweeper.errors import WrongInput

if TYPE_CHECKING:
    from sweeper.cli.first_file import Answers
    from sweeper.station import Station

T = TypeVar("T")

ENVIRONMENTS = ("city", "residential", "rural", "quiet-rural")
WEST_END, EAST_END = -20.0, 60.0
"""Region 1 of the Radio Regulations, Article 5, lies about between these degrees east (from memory)."""
FIRST_CHOICE = "80 m, 40 m, 20 m, 10 m"


def new(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="The station file to write; must not exist.")],
    listen: Annotated[
        bool, typer.Option("--listen", help="Find empty frequencies with the receiver before writing.")
    ] = False,
    check: Annotated[bool, typer.Option(help="Run `sweeper check` on the new file.")] = True,
    systemd: Annotated[
        Path | None,
        typer.Option(
            metavar="FOLDER",
            help="Write what the units need for the drivers in FILE, which may be there already, into FOLDER.",
        ),
    ] = None,
) -> None:
    """Ask ten questions and write a commented station file."""
    from sweeper.station import load
    from sweeper.store import replace_whole

    if systemd is not None and file.exists():
        _told_units(load(file), file, systemd)
        return
    if file.exists():
        raise WrongInput(
            f"{file}: it is there already and stays as it is. Name another file, or move that one."
        )
    print("Ten questions. Enter takes the answer in brackets; all of it can be edited later.\n")
    answers = _asked()
    _write_new(file, station_text(answers))
    station = load(file)  # What was asked is what a station needs; if not, this says which line and why.
    if listen:
        heard = _listened(station, answers)
        replace_whole(file, station_text(heard).encode())
        station = load(file)
    print(f"\n{file} is written: {len(station.channels())} channels, {len(station.paths())} paths.")
    if check:
        print()
        check_station(file)
    if systemd is not None:
        _told_units(station, file, systemd)
    print(f"\nNext: sweeper plan {file}, then sweeper run {file}")


def _told_units(station: "Station", file: Path, folder: Path) -> None:
    from sweeper.cli.first_units import write_drop_ins

    written = write_drop_ins(station, file, folder)
    for each in written:
        print(f"{each} is written.")
    print(
        "Then: systemctl daemon-reload." if written else "The units need nothing more for the drivers in use."
    )


def _asked() -> "Answers":
    name = _ask("1. What is the station called?", "Home", _name)
    place = _ask("2. Where is it? Degrees north, degrees east", "51.5, 0", _place)
    environment = _ask(
        f"3. What surrounds it? {', '.join(ENVIRONMENTS)}", "residential", _one_of(ENVIRONMENTS)
    )

    ports = serial_ports()
    receiver, receiver_link = _asked_receiver(ports)
    print("   Lightning, mains and DC on the feed line: docs/relay-wiring.md, before anything is wired.")
    board, board_link = _asked_board(tuple(port for port in ports if port != receiver_link))
    with_load = _ask(
        "8. Can it put a 50-ohm load in the antenna's place? It tells the floor", "yes", _yes_or_no
    )
    gain = _ask("9. What gain is the stage rated at, dB? (- if you do not know)", "-", _gain)
    bands = first_bands()
    print(f"   Bands: {', '.join(band.name for band in bands)}")
    if not WEST_END <= place[1] <= EAST_END:
        print(
            "   Their edges are those of ITU Region 1; yours differ on 80 m, 40 m, long and medium wave. Edit them."
        )
    wanted = _ask(
        "10. Which bands, with commas between, or all?", FIRST_CHOICE, lambda answer: chosen(answer, bands)
    )
    unit, step_db = ("dB-over-S9", 1.0) if receiver == "hamlib" else _meter_of(receiver)
    return Answers(
        name=name,
        latitude=place[0],
        longitude=place[1],
        environment=environment,
        timezone=_timezone(),
        dialect="" if receiver == "hamlib" else receiver,
        meter_unit=unit,
        step_db=step_db,
        receiver_link=receiver_link,
        board=board,
        board_link=board_link,
        with_load=with_load,
        rated_gain_db=gain,
        bands=wanted,
    )


def _asked_receiver(ports: tuple[str, ...]) -> tuple[str, str]:
    """The receiver's kind (`hamlib`, or a dialect) and its link."""
    at_hand = servers((RECEIVER_PORT,))
    if at_hand:
        print(f"   A server answers at {at_hand[0]}, where rigctld listens.")
    if ports:
        print(f"   Serial ports here: {', '.join(ports)}")
    kinds = ("hamlib", *dialect_names())
    receiver = _ask(f"4. Which receiver? {', '.join(kinds)}", "hamlib", _one_of(kinds))
    offered = f"tcp://127.0.0.1:{RECEIVER_PORT}" if receiver == "hamlib" else _first(ports, "/dev/ttyUSB0")
    return receiver, _ask("5. Where is the receiver? A serial port, or tcp://host:port", offered, _link)


def _asked_board(ports: tuple[str, ...]) -> tuple[str, str]:
    """The driver that switches the stage, and the relay board's link; none where a person switches."""
    board = _ask(
        f"6. What switches the stage? modbus, {', '.join(board_names())} (relay boards), person (you)",
        "modbus",
        _one_of(("modbus", *board_names(), "person")),
    )
    boards = servers(RELAY_PORTS)
    offered = boards[0] if boards else _first(ports, f"tcp://127.0.0.1:{RELAY_PORTS[1]}")
    board_link = ""
    if board != "person":
        board_link = _ask("7. Where is the relay board? A serial port, or tcp://host:port", offered, _link)
    elif not _ask("7. It asks at every change, so somebody has to be there. Go on?", "yes", _yes_or_no):
        raise WrongInput("Nothing is written.")
    return board, board_link


def _meter_of(dialect: str) -> tuple[str, float | None]:
    """Unit and step of the meter of a receiver that comes with the program."""
    from drivers.receivers.dialect import load as load_dialect

    meter = load_dialect(dialect).meter
    return meter.unit, meter.step_db


def _ask(question: str, offered: str, understood: Callable[[str], T]) -> T:
    """Ask until the answer is understood; an empty one takes what is offered."""
    while True:
        print(f"{question} [{offered}] ", end="", flush=True)
        line = sys.stdin.readline()
        if not line:
            raise WrongInput("\nThe answers ended before the questions did. Nothing is written.")
        if not sys.stdin.isatty():
            print()
        try:
            return understood(line.strip() or offered)
        except ValueError as problem:
            print(f"   {problem}. Please say it again.")


def _name(answer: str) -> str:
    if len(answer) > 80 or answer.startswith(".") or any(sign in "/\\" or ord(sign) < 32 for sign in answer):
        raise ValueError("a name has up to 80 characters, no slash, and does not begin with a dot")
    return answer


def _place(answer: str) -> tuple[float, float]:
    try:
        north, east = (float(part) for part in answer.replace(";", ",").split(","))
    except ValueError:
        raise ValueError("two numbers are needed, such as 56.2, 8.1") from None
    if not (-90 <= north <= 90 and -180 <= east <= 180):
        raise ValueError("degrees north lie within ±90, degrees east within ±180")
    return north, east


def _one_of(known: tuple[str, ...]) -> Callable[[str], str]:
    def understood(answer: str) -> str:
        if answer.lower() not in known:
            raise ValueError(f"{answer!r} is none of {', '.join(known)}")
        return answer.lower()

    return understood


def _link(answer: str) -> str:
    if not answer.startswith("/") and "://" not in answer:
        raise ValueError("a link is tcp://host:port, or the path of a serial port such as /dev/ttyUSB0")
    return answer


def _yes_or_no(answer: str) -> bool:
    if answer.lower() not in ("yes", "y", "no", "n"):
        raise ValueError("yes or no")
    return answer.lower().startswith("y")


def _gain(answer: str) -> float | None:
    if answer == "-":
        return None
    try:
        gain = float(answer)
    except ValueError:
        raise ValueError("a number of dB, such as 15") from None
    if not -60 <= gain <= 60:
        raise ValueError("a stage has between -60 and 60 dB")
    return gain


def _first(found: "tuple[str, ...] | list[str]", otherwise: str) -> str:
    return found[0] if found else otherwise


def _timezone() -> str:
    """The zone of this computer by its name in the IANA database; UTC where it has none."""
    parts = Path("/etc/localtime").resolve().parts
    name = "/".join(parts[parts.index("zoneinfo") + 1 :]) if "zoneinfo" in parts else "UTC"
    try:
        ZoneInfo(name)
    except (KeyError, ValueError, OSError):
        return "UTC"
    return name


def _write_new(file: Path, text: str) -> None:
    from sweeper.store import write_new

    try:
        write_new(file, text.encode())
    except OSError as fault:
        raise WrongInput(f"{file}: cannot be written ({fault.strerror}). Name another place.") from fault


def _listened(station: "Station", answers: "Answers") -> "Answers":
    """The answers with noise channels that are empty now."""
    from sweeper.cli.first_listen import listen
    from sweeper.daemon.rig.instruments import open_receiver

    receiver = open_receiver(station)
    try:
        with progress("Listening for empty frequencies") as told:
            bands = listen(
                receiver,
                answers.bands,
                station.receiver.mode,
                station.receiver.bandwidth_hz,
                station.receiver.settle_s,
                SystemClock(),
                told,
            )
    finally:
        receiver.close()
    return replace(answers, bands=bands)
