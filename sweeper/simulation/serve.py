"""Put the simulated station on real wires: a receiver and a relay board that share one bench and one clock."""

from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass

from sweeper.clock import Clock
from sweeper.simulation import ascii_receiver, binary_receiver, modbus_board, network_receiver
from sweeper.simulation.ascii_receiver import AsciiReceiver
from sweeper.simulation.bench import Bench
from sweeper.simulation.binary_receiver import BinaryReceiver
from sweeper.simulation.command_log import CommandLog
from sweeper.simulation.faults import WireFaults
from sweeper.simulation.modbus_board import ModbusBoard
from sweeper.simulation.network_receiver import NetworkReceiver
from sweeper.simulation.wire import MakeSession, PtyWire, TcpWire
from sweeper.simulation.world import World

RECEIVERS: tuple[str, ...] = ("rigctl-net", *ascii_receiver.MODELS, *binary_receiver.MODELS)
SWITCHES: tuple[str, ...] = ("modbus-tcp", "modbus-rtu")


@dataclass(frozen=True)
class Faults:
    """What can go wrong on either wire."""

    receiver: WireFaults
    switch: WireFaults


@dataclass(frozen=True)
class Served:
    """A simulated station on its wires. `receiver` and `board` are the bench: dial, meter and relays.

    `instrument` is the protocol behind the receiver's wire, for what only one family can do.
    """

    receiver_link: str
    switch_link: str
    receiver: Bench
    board: Bench
    faults: Faults
    receiver_log: CommandLog
    switch_log: CommandLog
    instrument: NetworkReceiver | AsciiReceiver | BinaryReceiver

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
    ours: bool = True,
) -> Iterator[Served]:
    """Serve a world until the block ends. Port 0 takes any free one.

    `receiver` is one of `RECEIVERS`, `switch` one of `SWITCHES`; ValueError for any other. `ours` False says that
    programs which are not ours talk here, so that what they send is not held against us.
    """
    if receiver not in RECEIVERS:
        raise ValueError(f"no simulated receiver is called {receiver!r}; there are {', '.join(RECEIVERS)}")
    if switch not in SWITCHES:
        raise ValueError(f"no simulated relay board is called {switch!r}; there are {', '.join(SWITCHES)}")
    bench = Bench(world, clock)
    faults = Faults(WireFaults(), WireFaults())
    with ExitStack() as cleanup:
        instrument, receiver_log, over_tcp = _receiver(bench, receiver, ours)
        receiver_link = _wire(instrument.session, faults.receiver, over_tcp, receiver_port, cleanup)
        framing = switch.removeprefix("modbus-")
        rtu = framing == "rtu"
        allowed = modbus_board.allowed_rtu if rtu else modbus_board.allowed_tcp
        kind_of = modbus_board.kind_rtu if rtu else modbus_board.kind_tcp
        switch_log = CommandLog("relay board", allowed, kind_of, ours=ours)
        board = ModbusBoard(bench, switch_log, framing)
        cleanup.callback(board.close)
        switch_link = _wire(board.session, faults.switch, framing == "tcp", switch_port, cleanup)
        yield Served(receiver_link, switch_link, bench, bench, faults, receiver_log, switch_log, instrument)


def _receiver(
    bench: Bench, name: str, ours: bool
) -> tuple[NetworkReceiver | AsciiReceiver | BinaryReceiver, CommandLog, bool]:
    if name in ascii_receiver.MODELS:
        ascii_one = AsciiReceiver(bench, name, ours=ours)
        return ascii_one, ascii_one.log, False
    if name in binary_receiver.MODELS:
        binary_one = BinaryReceiver(bench, name, ours=ours)
        return binary_one, binary_one.log, False
    log = CommandLog("network receiver", network_receiver.allowed, network_receiver.kind_of, ours=ours)
    return NetworkReceiver(bench, log), log, True


def _wire(
    make_session: MakeSession, faults: WireFaults, over_tcp: bool, port: int, cleanup: ExitStack
) -> str:
    wire = TcpWire(make_session, faults, port) if over_tcp else PtyWire(make_session, faults)
    cleanup.callback(wire.close)
    return wire.link
