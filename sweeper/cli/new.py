"""`new`: ten questions, each with a sensible answer offered, and a station file to begin with."""

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated
from zoneinfo import ZoneInfo

import typer

from sweeper.cli import first_answers as answers
from sweeper.cli.asking import ask
from sweeper.cli.checking import looked_at
from sweeper.cli.first_bands import FirstBand, around, chosen, first_bands
from sweeper.cli.first_file import Answers, station_text
from sweeper.cli.first_links import RELAY_PORTS, serial_ports, servers
from sweeper.cli.first_receiver import BY_HAND, OF_SAMPLES, SOAPY, FirstReceiver, asked_receiver
from sweeper.cli.first_switch import LINKS, switch_kinds
from sweeper.cli.progress import progress
from sweeper.clock import SystemClock
from sweeper.errors import WrongInput

if TYPE_CHECKING:
    from sweeper.station import Station

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
    given = _asked()
    _write_new(file, station_text(given))
    station = load(file)  # What was asked is what a station needs; if not, this says which line and why.
    if listen and given.of_samples:
        print("   What is quiet and what is a carrier is learned while measuring; nothing to listen for now.")
    elif listen:
        given = _listened(station, given)
        replace_whole(file, station_text(given).encode())
        station = load(file)
    many = "tunings" if given.of_samples else "channels"
    print(f"\n{file} is written: {len(station.channels())} {many}, {len(station.paths())} paths.")
    well = True
    if check:
        print()
        items = looked_at(station, file, None)
        well = all(item.well for item in items)
        floor = next((item.floor for item in items if item.floor is not None), None)
        if floor is not None and given.floor is None and given.sound is None:
            replace_whole(file, station_text(replace(given, floor=floor)).encode())
            print(
                f"\nThe meter rests on {floor:g} where noise is weak; that is its floor, and is written down."
            )
    if systemd is not None:
        _told_units(station, file, systemd)
    if not well:
        print(f"\n{file} stays as it is written. Once the parts above answer: sweeper check {file}")
        raise typer.Exit(1)
    print(f"\nNext: sweeper plan {file}, then sweeper run {file}")


def _told_units(station: "Station", file: Path, folder: Path) -> None:
    from sweeper.cli.first_units import write_drop_ins

    written = write_drop_ins(station, file, folder)
    for each in written:
        print(f"{each} is written.")
    print(
        "Then: systemctl daemon-reload." if written else "The units need nothing more for the drivers in use."
    )


def _asked() -> Answers:
    name = ask("1. What is the station called?", "Home", answers.name)
    place = ask("2. Where is it? A locator, or degrees such as 55.7N 12.6E", "51.5, 0", answers.place)
    environment = ask(
        f"3. What surrounds it? {', '.join(ENVIRONMENTS)}", "residential", answers.one_of(ENVIRONMENTS)
    )
    receiver = asked_receiver(ask)
    print("   Lightning, mains and DC on the feed line: docs/relay-wiring.md, before anything is wired.")
    board, board_link = _asked_board(receiver)
    with_load = ask(
        "8. Can it put a 50-ohm load in the antenna's place? It tells the floor", "yes", answers.yes_or_no
    )
    gain = ask("9. What gain is the stage rated at, dB? (- if you do not know)", "-", answers.gain)
    bands = first_bands()
    print(f"   Bands: {', '.join(band.name for band in bands)}; a frequency such as 7.1M names its band")
    if not WEST_END <= place[1] <= EAST_END:
        print(
            "   Their edges are those of ITU Region 1; yours differ on 80 m, 40 m, long and medium wave. Edit them."
        )
    wanted = ask(
        "10. Which bands, with commas between, or all?",
        _first_choice(receiver.dial_hz, bands),
        lambda answer: chosen(answer, bands),
    )
    unit, step_db = _meter_of(receiver)
    return Answers(
        name=name,
        latitude=place[0],
        longitude=place[1],
        environment=environment,
        timezone=_timezone(),
        dialect="" if receiver.kind in ("hamlib", SOAPY) else receiver.kind,
        meter_unit=unit,
        step_db=step_db,
        receiver_link=receiver.link,
        board=board,
        board_link=board_link,
        with_load=with_load,
        rated_gain_db=gain,
        bands=wanted,
        device=receiver.device,
        sound=receiver.sound,
        receive_only=receiver.receive_only,
        curve=receiver.curve,
    )


def _first_choice(dial_hz: int | None, bands: tuple[FirstBand, ...]) -> str:
    """The band that the receiver is tuned to, and some that most people want."""
    here = around(dial_hz, bands) if dial_hz is not None else None
    if here is None or here.name in FIRST_CHOICE.split(", "):
        return FIRST_CHOICE
    return f"{here.name}, {FIRST_CHOICE}"


def _asked_board(receiver: FirstReceiver) -> tuple[str, str]:
    """The kind of switch, and its link; none where a person switches or nothing has a link of its own."""
    kinds = switch_kinds()
    while True:
        board = ask(
            f"6. What switches the stage? {', '.join(kinds[:-1])}, or person (you)",
            "modbus",
            answers.one_of(kinds),
        )
        if board != "own-stage" or receiver.kind not in (*OF_SAMPLES, BY_HAND):
            break
        print("   own-stage needs a receiver behind hamlib, or one with a dialect. Please say it again.")
    if board == "person":
        if not ask(
            "7. It asks at every change, so somebody has to be there. Go on?", "yes", answers.yes_or_no
        ):
            raise WrongInput("Nothing is written.")
        return board, ""
    if board in ("own-stage", "joint"):
        print("   (7. Nothing to ask: it is reached as the receiver is, or as its parts say.)")
        return board, ""
    offered = LINKS.get(board, "")
    if not offered:
        boards = servers(RELAY_PORTS) if board == "modbus" else ()
        ports = tuple(port for port in serial_ports() if port != receiver.link)
        offered = _first(boards, _first(ports, f"tcp://127.0.0.1:{RELAY_PORTS[1]}"))
    return board, ask(
        "7. Where is it? A serial port, host:port, or an address as above", offered, answers.link
    )


def _meter_of(receiver: FirstReceiver) -> tuple[str, float | None]:
    """Unit and step of the meter of a receiver that comes with the program."""
    if receiver.kind == "hamlib":
        return ("raw", None) if receiver.curve or receiver.fractions else ("dB-over-S9", 1.0)
    if receiver.kind in (*OF_SAMPLES, BY_HAND):
        return "raw", None
    from drivers.receivers.dialect import load as load_dialect

    meter = load_dialect(receiver.kind).meter
    return meter.unit, meter.step_db


def _first(found: Sequence[str], otherwise: str) -> str:
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


def _listened(station: "Station", given: Answers) -> Answers:
    """The answers with noise channels that are empty now."""
    from sweeper.cli.first_listen import Heard, floor_of, listen
    from sweeper.daemon.rig.instruments import open_receiver

    receiver = open_receiver(station)
    heard: list[Heard] = []
    try:
        with progress("Listening for empty frequencies") as told:
            bands = listen(
                receiver,
                given.bands,
                station.receiver.mode,
                station.receiver.bandwidth_hz,
                station.receiver.settle_s,
                SystemClock(),
                told,
                heard.append,
            )
    finally:
        receiver.close()
    floor = floor_of(heard, station) if given.sound is None else None
    if floor is not None:
        print(f"   The meter rests on {floor:g} where noise is weak; that is its floor, and is written down.")
    return replace(given, bands=bands, floor=floor)
