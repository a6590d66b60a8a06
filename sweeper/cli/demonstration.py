"""`demo` and `simulate`: the invented station Saltmarsh on real sockets and pseudo-terminals."""

import os
import shutil
import tempfile
from contextlib import ExitStack, contextmanager
from datetime import timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Annotated
from urllib.parse import urlsplit

import typer

from drivers.config_files import station_file
from sweeper.cli.demo_folder import cleared, remember
from sweeper.cli.progress import progress
from sweeper.cli.recordings import Form, Gain, invent
from sweeper.clock import JumpingClock, SystemClock
from sweeper.errors import UserFacingError, WrongInput

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from datetime import datetime

    from sweeper.simulation.serve import Served
    from sweeper.station import Station
    from sweeper.store import Store
    from sweeper.words import PassRecord, Reading

WITH_METER, WITH_SAMPLES = ("rigctl-net", "saltmarsh"), ("iq-tcp", "saltmarsh-samples")
"""Simulated receiver, and the station file that measures with it."""


def demo(
    out: Annotated[Path, typer.Option(metavar="DIR", help="Where to write.")] = Path("saltmarsh-demo"),
    nights: Annotated[int, typer.Option(min=1, metavar="N", help="How many nights to simulate.")] = 1,
    seed: Annotated[int, typer.Option(metavar="N", help="Draw other nights: a whole number.")] = 1,
    samples: Annotated[
        bool, typer.Option("--samples", help="With a receiver that delivers samples of whole bands over TCP.")
    ] = False,
) -> None:
    """Run simulated nights through real protocol servers, print the recommendation, write the report."""
    from sweeper.daemon.run.campaign import Campaign, run_passes
    from sweeper.daemon.run.observers import Observer
    from sweeper.simulation import HOUSEHOLD, saltmarsh, serve
    from sweeper.station.lines import text_of
    from sweeper.store import Store, replace_whole

    cleared(out)
    world = saltmarsh(seed, samples, HOUSEHOLD if samples else ())
    receiver, file = WITH_SAMPLES if samples else WITH_METER
    clock = JumpingClock(world.first_evening)
    with _on_one_core(), serve(world, clock, receiver=receiver, switch="modbus-rtu") as served:
        station = _station(file, served.receiver_link, served.switch_link)
        due = list(_due(station, world.first_evening, nights))
        store = Store(out / "saltmarsh.data", station.station.name, station.station.longitude)
        # Not with the links of this run, which end with it: with those that `sweeper simulate` serves.
        text = text_of(station_file(file))
        store.keep_station_file(text)
        replace_whole(out / "saltmarsh.yaml", text.encode())
        with progress(f"Measuring {nights} simulated night{'s' if nights > 1 else ''}") as told:

            class Counting(Observer):
                """Moves the bar as passes end."""

                def finished(self, record: "PassRecord", readings: "Sequence[Reading]") -> None:
                    told(record.number / len(due))

            run_passes(Campaign(station, store, clock, observers=[Counting()]), due)
    _nothing_forbidden(served)
    _reduced(station, store, out)
    print(f"\nThe station is invented, so is every reading. Report: {out / 'report.html'}")


def _reduced(station: "Station", store: "Store", out: Path) -> None:
    """Findings, report and table of what was measured, written; the answer printed. Closes the store."""
    from sweeper.analysis import findings_json
    from sweeper.reduction import facts_of, reduce_store
    from sweeper.reduction.noise import noise_of
    from sweeper.report.noise_terminal import show_sources
    from sweeper.report.page import write_html
    from sweeper.report.setting import Setting
    from sweeper.report.terminal import show_findings
    from sweeper.store import replace_whole, write_parquet

    with progress("Reducing and drawing") as told:
        reduced = reduce_store(store, facts_of(station), progress=lambda share: told(share / 2))
        noise = noise_of(store, station, reduced.spectra)
        write_html(
            reduced.findings,
            reduced.evidence,
            reduced.passes,
            out / "report.html",
            setting=Setting.of(station, store.folder, reduced.spectra),
            noise=noise,
        )
        told(1.0)
    replace_whole(out / "findings.json", findings_json(reduced.findings).encode())
    write_parquet(store.readings(), out / "readings.parquet")
    store.close()
    remember(out)
    show_findings(reduced.findings, station.station.timezone)
    show_sources(noise)


def simulate(
    station_file: Annotated[
        Path | None, typer.Argument(metavar="[STATION]", help="The station file whose ports to serve.")
    ] = None,
    recording: Annotated[
        Path | None,
        typer.Option(metavar="DIR", help="Write an invented recording here instead, to try `ab --file` on."),
    ] = None,
    samples: Annotated[
        bool, typer.Option("--samples", help="Record samples of a band, not audio of a receiver.")
    ] = False,
    minutes: Annotated[float, typer.Option(metavar="M", min=0.1, help="Length of the recording.")] = 8.0,
    every: Annotated[
        float | None, typer.Option(metavar="S", min=0.5, help="Seconds between in and out.")
    ] = None,
    by_hand: Annotated[bool, typer.Option("--by-hand", help="Switched by hand, about so often.")] = False,
    load: Annotated[bool, typer.Option("--load", help="Begin with the load on both routes.")] = False,
    agc: Annotated[Gain, typer.Option(help="Automatic gain control of the receiver.")] = "off",
    overload: Annotated[bool, typer.Option("--overload", help="The stage is overloaded.")] = False,
    form: Annotated[Form, typer.Option("--format", help="How to write the recording.")] = "wav",
    seed: Annotated[int, typer.Option(metavar="N", help="Draw another evening: a whole number.")] = 1,
    sound: Annotated[
        str,
        typer.Option(metavar="SINK", help="Play what the receiver hears into this sink of the sound server."),
    ] = "",
) -> None:
    """Serve the simulated station on the ports that the station file names, until stopped; or write a recording."""
    if (station_file is None) == (recording is None):
        raise WrongInput(
            "Name either a station file to serve, or a folder with --recording DIR to write an invented recording to."
        )
    if recording is not None:
        invent(
            recording,
            samples=samples,
            minutes=minutes,
            every_s=every,
            hand=by_hand,
            load=load,
            agc=agc,
            overload=overload,
            form=form,
            seed=seed,
        )
    elif station_file is not None:
        _serve(station_file, sound)


def _serve(station_file: Path, sound: str) -> None:
    from sweeper.cli.simulated_house import unplug_by_hand
    from sweeper.daemon.run.orders import Orders, stop_on_signals
    from sweeper.simulation import HOUSEHOLD, saltmarsh, serve
    from sweeper.station import load

    station = load(station_file)
    if sound and shutil.which("pacat") is None:
        raise WrongInput(
            "pacat, which plays the sound, is not installed. On Debian: apt install pulseaudio-utils."
        )
    samples = station.receiver.driver == "iq-tcp"
    world = saltmarsh(1, samples, HOUSEHOLD if samples else ())
    ports = [_port_here(station_file, link) for link in (station.receiver.link, station.switch.link)]
    orders = Orders()
    stop_on_signals(orders)
    with ExitStack() as serving:
        try:
            served = serving.enter_context(
                serve(
                    world,
                    SystemClock(),
                    receiver="iq-tcp" if samples else "rigctl-net",
                    switch="modbus-tcp",
                    receiver_port=ports[0],
                    switch_port=ports[1],
                    sound=sound,
                )
            )
        except OSError as taken:
            raise WrongInput(
                f"{station_file}: the simulated station cannot be served on the ports {ports[0]} and {ports[1]} "
                f"({os.strerror(taken.errno or 0)}). Another one, or rigctld, may be running there: end it, or write "
                "other ports into the links of a copy of this file."
            ) from taken
        print(
            f"receiver at {served.receiver_link}, relay board at {served.switch_link}"
            f"{f', sound in {sound}' if sound else ''}; Ctrl-C ends\n"
            f"Now, in another terminal: sweeper check {station_file}",
            flush=True,
        )
        unplug_by_hand(world)
        orders.wake.wait()
    _nothing_forbidden(served)


def _port_here(station_file: Path, link: str) -> int:
    """The port of a link to this computer; `WrongInput` for any other link."""
    parts = urlsplit(link)
    if parts.scheme != "tcp" or not parts.port:
        raise WrongInput(
            f"{station_file}: a simulated station is served where receiver and switch have a link like "
            f"tcp://127.0.0.1:4532; {link or 'one without a link'} names no such port."
        )
    if parts.hostname not in ("127.0.0.1", "localhost"):
        raise WrongInput(
            f"{station_file}: {link} is another computer, and a simulated station is served on this one. Write "
            f"tcp://127.0.0.1:{parts.port} into a copy of this file."
        )
    return parts.port


def _nothing_forbidden(served: "Served") -> None:
    if served.forbidden:
        raise UserFacingError(
            f"The simulated station was sent what could key a transmitter: {served.forbidden[0]!r}"
        )


@contextmanager
def _on_one_core() -> "Iterator[None]":
    """Program and simulated station take turns: on one core neither waits for another core to wake up.

    Threads that begin in here stay there.
    """
    import polars

    if not hasattr(os, "sched_setaffinity"):  # not every system lets a program choose
        yield
        return
    polars.thread_pool_size()  # its threads have begun now, so they keep every core
    cores = os.sched_getaffinity(0)
    os.sched_setaffinity(0, {max(cores)})
    try:
        yield
    finally:
        os.sched_setaffinity(0, cores)


def _station(of: str, receiver_link: str, switch_link: str) -> "Station":
    """The station file `of` with the links of this run."""
    from sweeper.station import load
    from sweeper.station.lines import text_of
    from sweeper.station.rewrite import with_values
    from sweeper.store import write_new

    text = with_values(
        text_of(station_file(of)),
        {
            ("receiver", "link"): receiver_link,
            ("switch", "link"): switch_link,
            # Receiver and relays are threads of this process: on a busy computer they answer late, but they answer.
            ("receiver", "timeout_s"): 20,
            ("switch", "timeout_s"): 20,
            # Nothing has to settle in a relay made of numbers, and this pause would be real time.
            ("switch", "break_s"): 0,
            ("switch", "baud"): 115200,  # so is the silence between frames, which is shorter at this speed
        },
    )
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "saltmarsh.yaml"
        write_new(file, text.encode())
        return load(file)


def _due(station: "Station", start: "datetime", nights: int) -> "Iterator[datetime]":
    """The scheduled instants of so many nights."""
    from sweeper.schedule import next_times

    after, end = start, start + timedelta(days=nights)
    while True:
        instant = next_times(station, after, 1)[0]
        if instant >= end:
            return
        yield instant
        after = instant + timedelta(seconds=1)
