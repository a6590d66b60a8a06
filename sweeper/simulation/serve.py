"""Put the simulated station on real wires: a receiver and a relay board that share one bench and one clock."""

from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Literal, Union
from urllib.parse import urlsplit

from sweeper.clock import Clock
from sweeper.simulation.boards import byte_commands as byte_boards
from sweeper.simulation.boards import modbus as modbus_board
from sweeper.simulation.boards.byte_commands import ByteBoard
from sweeper.simulation.boards.http import WebBoard
from sweeper.simulation.boards.modbus import ModbusBoard
from sweeper.simulation.boards.mqtt import BrokerBoard
from sweeper.simulation.receivers import ascii as ascii_receiver
from sweeper.simulation.receivers import binary as binary_receiver
from sweeper.simulation.receivers.ascii import AsciiReceiver
from sweeper.simulation.receivers.binary import BinaryReceiver
from sweeper.simulation.receivers.network import NetworkReceiver
from sweeper.simulation.receivers.partial import KINDS, PartialReceiver
from sweeper.simulation.receivers.scpi import ScpiReceiver
from sweeper.simulation.wires.command_log import CommandLog
from sweeper.simulation.wires.faults import WireFaults
from sweeper.simulation.wires.forwarding import to_port
from sweeper.simulation.wires.wire import MakeSession, PtyWire, TcpWire
from sweeper.simulation.world.bench import Bench
from sweeper.simulation.world.world import World

if TYPE_CHECKING:
    from sweeper.simulation.receivers.audio import Hearing
    from sweeper.simulation.receivers.sample_server import SampleServer

Over = Literal["tcp", "serial"]
Wired = NetworkReceiver | PartialReceiver | AsciiReceiver | BinaryReceiver | ScpiReceiver
Instrument = Union[Wired, "SampleServer"]
Board = ModbusBoard | ByteBoard | WebBoard | BrokerBoard

NETWORK: tuple[str, ...] = ("rigctl-net", *KINDS, "scpi")
SAMPLES = "iq-tcp"
"""A server of samples: it brings a wire of its own."""
RECEIVERS: tuple[str, ...] = (*NETWORK, *ascii_receiver.MODELS, *binary_receiver.MODELS)
SWITCHES: tuple[str, ...] = ("modbus-tcp", "modbus-rtu", *byte_boards.BOARDS, "http", "mqtt")


@dataclass(frozen=True)
class Faults:
    """What can go wrong on either wire."""

    receiver: WireFaults
    switch: WireFaults


@dataclass(frozen=True)
class Served:
    """A simulated station on its wires. `receiver` and `board` are the bench: dial, meter and relays.

    `instrument` and `relay_board` are the protocols behind the two wires, for what only one family can do. `hearing` is
    what the receiver's sound is made of, where it is played.
    """

    receiver_link: str
    switch_link: str
    receiver: Bench
    board: Bench
    faults: Faults
    instrument: Instrument
    relay_board: Board
    hearing: "Hearing | None" = None

    @property
    def receiver_log(self) -> CommandLog:
        """All that the receiver was told."""
        return self.instrument.log

    @property
    def switch_log(self) -> CommandLog:
        """All that the relay board was told."""
        return self.relay_board.log

    @property
    def forbidden(self) -> tuple[bytes, ...]:
        """Everything that was sent outside the allow-lists."""
        return (*self.receiver_log.forbidden, *self.switch_log.forbidden)


@contextmanager
def serve(
    world: World,
    clock: Clock,
    *,
    receiver: str = "rigctl-net",
    switch: str = "modbus-tcp",
    receiver_port: int = 0,
    switch_port: int = 0,
    receiver_over: Over | None = None,
    switch_over: Over | None = None,
    broker: str = "",
    login: tuple[str, str] | None = None,
    certificate: Path | None = None,
    ours: bool = True,
    sound: str = "",
) -> Iterator[Served]:
    """Serve a world until the block ends. Port 0 takes any free one.

    `receiver` is one of `RECEIVERS` or `SAMPLES`, `switch` one of `SWITCHES`; ValueError for any other. Each comes over
    TCP or a pseudo-terminal as is usual for it, unless `receiver_over` and `switch_over` say otherwise. `broker` is the
    link of an MQTT broker; `login` and `certificate` belong to the web board. `ours` False says that programs which
    are not ours talk here, so that what they send is not held against us. `sound` is a sink of the sound server, into
    which what the receiver hears is played while the clock of this computer runs.
    """
    _known(receiver, switch)
    bench = Bench(world, clock)
    faults = Faults(WireFaults(), WireFaults())
    with ExitStack() as cleanup:
        over: Over = receiver_over or ("tcp" if receiver in NETWORK else "serial")
        instrument: Instrument
        if receiver == SAMPLES:
            instrument = _sampling(world, bench, clock, receiver_port, ours, cleanup)
            receiver_link = instrument.link
        else:
            instrument = _receiver(bench, receiver, ours)
            receiver_link = _wire(instrument.session, faults.receiver, over, receiver_port, cleanup)
        board: Board
        if switch == "mqtt":
            board = BrokerBoard(bench, broker, ours=ours)
            cleanup.callback(board.close)
            to_broker = partial(to_port, urlsplit(broker).port or 1883, lambda data: None)
            switch_link = _wire(to_broker, faults.switch, "tcp", switch_port, cleanup).replace(
                "tcp:", "mqtt:"
            )
        else:
            over = switch_over or ("tcp" if switch in ("modbus-tcp", "http") else "serial")
            wired = _board(bench, switch, ours, login, certificate, cleanup)
            switch_link = _wire(wired.session, faults.switch, over, switch_port, cleanup)
            if isinstance(wired, WebBoard):
                switch_link = switch_link.replace("tcp:", f"{wired.scheme}:")
            board = wired
        hearing = _sounding(world, bench, clock, sound, cleanup) if sound else None
        yield Served(receiver_link, switch_link, bench, bench, faults, instrument, board, hearing)


def _known(receiver: str, switch: str) -> None:
    if receiver not in (*RECEIVERS, SAMPLES):
        raise ValueError(f"no simulated receiver is called {receiver!r}; there are {', '.join(RECEIVERS)}")
    if switch not in SWITCHES:
        raise ValueError(f"no simulated relay board is called {switch!r}; there are {', '.join(SWITCHES)}")


def _sounding(world: World, bench: Bench, clock: Clock, sink: str, cleanup: ExitStack) -> "Hearing":
    # filters and arrays take long to load, and few stations are heard
    from sweeper.simulation.receivers.audio import Hearing
    from sweeper.simulation.receivers.sound_out import Playing

    hearing = Hearing(world, bench, clock)
    cleanup.callback(Playing(hearing, sink, clock).close)
    return hearing


def _sampling(
    world: World, bench: Bench, clock: Clock, port: int, ours: bool, cleanup: ExitStack
) -> "SampleServer":
    from sweeper.simulation.receivers.sample_server import SampleServer  # arrays take long to load

    server = SampleServer(world, bench, clock, port, ours=ours)
    cleanup.callback(server.close)
    return server


def _receiver(bench: Bench, name: str, ours: bool) -> Wired:
    if name in ascii_receiver.MODELS:
        return AsciiReceiver(bench, name, ours=ours)
    if name in binary_receiver.MODELS:
        return BinaryReceiver(bench, name, ours=ours)
    if name in KINDS:
        return PartialReceiver(bench, name, ours=ours)
    if name == "scpi":
        return ScpiReceiver(bench, ours=ours)
    return NetworkReceiver(bench, ours=ours)


def _board(
    bench: Bench,
    name: str,
    ours: bool,
    login: tuple[str, str] | None,
    certificate: Path | None,
    cleanup: ExitStack,
) -> ModbusBoard | ByteBoard | WebBoard:
    if name in byte_boards.BOARDS:
        return ByteBoard(bench, name, ours=ours)
    served: ModbusBoard | WebBoard
    if name == "http":
        served = WebBoard(bench, ours=ours, login=login, certificate=certificate)
    else:
        served = ModbusBoard(bench, modbus_board.framing_of(name), ours=ours)
    cleanup.callback(served.close)
    return served


def _wire(make_session: MakeSession, faults: WireFaults, over: Over, port: int, cleanup: ExitStack) -> str:
    wire = TcpWire(make_session, faults, port) if over == "tcp" else PtyWire(make_session, faults)
    cleanup.callback(wire.close)
    return wire.link
