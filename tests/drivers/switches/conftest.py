"""Real servers for the switch drivers: pymodbus's own on TCP and on a pair of pseudo-terminals."""

import asyncio
import os
import select
import socket
import threading
import tty
from collections.abc import Callable, Iterator
from contextlib import suppress
from dataclasses import dataclass, field

import pytest
from pymodbus import FramerType
from pymodbus.constants import ExcCodes
from pymodbus.server import ModbusSerialServer, ModbusTcpServer
from pymodbus.simulator import DataType, SimData, SimDevice

DEADLINE_S = 10


@dataclass
class Bench:
    """A Modbus server of another make with eight coils, and everything that went over its wire."""

    link: str = ""
    more: dict = field(default_factory=dict)
    welded: dict[int, bool] = field(default_factory=dict)
    refuse: ExcCodes | None = None
    writes: list[tuple[int, bool]] = field(default_factory=list)
    requests: list[bytes] = field(default_factory=list)
    replies: list[bytes] = field(default_factory=list)

    async def action(self, function, start, address, count, current, values):
        if self.refuse is not None:
            return self.refuse
        if values is not None:
            self.writes.append((address, bool(values[0])))
            if address in self.welded:
                values[0] = self.welded[address]
        return None

    def trace(self, sending: bool, packet: bytes) -> bytes:
        (self.replies if sending else self.requests).append(packet)
        return packet

    def device(self, unit: int) -> SimDevice:
        coils = [SimData(0, count=8, values=False, datatype=DataType.BITS)]
        other = [SimData(0, count=1, values=0, datatype=DataType.REGISTERS)]
        bits = [SimData(0, count=8, values=False, datatype=DataType.BITS)]
        return SimDevice(id=unit, simdata=(coils, bits, other, other), action=self.action)


class InThread:
    """An asyncio server in a thread of its own, until stopped."""

    def __init__(self, make: Callable[[], object]) -> None:
        self._loop = asyncio.new_event_loop()
        self._thread = threading.Thread(target=self._loop.run_forever, daemon=True)
        self._thread.start()
        self.server = self._in_loop(self._start(make))

    async def _start(self, make):
        server = make()
        await server.serve_forever(background=True)
        return server

    def _in_loop(self, coroutine):
        return asyncio.run_coroutine_threadsafe(coroutine, self._loop).result(DEADLINE_S)

    def stop(self) -> None:
        self._in_loop(self.server.shutdown())
        self._loop.call_soon_threadsafe(self._loop.stop)
        self._thread.join(DEADLINE_S)
        self._loop.close()


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


@dataclass
class Cable:
    """Two pseudo-terminals joined back to back: what is written to one end is read at the other."""

    near: str
    far: str
    _masters: tuple[int, int]
    _slaves: tuple[int, int]
    _stop: threading.Event
    _thread: threading.Thread

    def close(self) -> None:
        self._stop.set()
        self._thread.join(DEADLINE_S)
        for fd in (*self._masters, *self._slaves):
            os.close(fd)


def cable() -> Cable:
    pairs = [os.openpty() for _ in range(2)]
    for _, slave in pairs:
        tty.setraw(slave)
    masters = (pairs[0][0], pairs[1][0])
    stop = threading.Event()

    def carry() -> None:
        while not stop.is_set():
            ready, _, _ = select.select(masters, [], [], 0.05)
            for fd in ready:
                with suppress(OSError):
                    os.write(masters[1 - masters.index(fd)], os.read(fd, 4096))

    thread = threading.Thread(target=carry, daemon=True)
    thread.start()
    near, far = (os.ttyname(slave) for _, slave in pairs)
    return Cable(near, far, masters, (pairs[0][1], pairs[1][1]), stop, thread)


@pytest.fixture
def tcp_bench() -> Iterator[Bench]:
    bench = Bench()
    port = free_port()
    bench.link = f"tcp://127.0.0.1:{port}"
    serving = InThread(
        lambda: ModbusTcpServer(bench.device(1), address=("127.0.0.1", port), trace_packet=bench.trace)
    )
    yield bench
    serving.stop()


@pytest.fixture
def rtu_bench() -> Iterator[Bench]:
    bench = Bench()
    line = cable()
    bench.link = line.near
    serving = InThread(
        lambda: ModbusSerialServer(
            bench.device(1), framer=FramerType.RTU, port=line.far, baudrate=9600, trace_packet=bench.trace
        )
    )
    yield bench
    serving.stop()
    line.close()


@pytest.fixture
def gateway_bench() -> Iterator[Bench]:
    """A gateway that passes serial frames on over TCP as they are."""
    bench = Bench(more={"framing": "rtu", "baud": 115200})
    port = free_port()
    bench.link = f"tcp://127.0.0.1:{port}"
    serving = InThread(
        lambda: ModbusTcpServer(
            bench.device(1), framer=FramerType.RTU, address=("127.0.0.1", port), trace_packet=bench.trace
        )
    )
    yield bench
    serving.stop()


@pytest.fixture(params=["tcp", "rtu", "gateway"])
def bench(request: pytest.FixtureRequest) -> Bench:
    return request.getfixturevalue(f"{request.param}_bench")
