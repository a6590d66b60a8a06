"""A relay board that speaks Modbus TCP or Modbus RTU, by pymodbus's own server, on a bench's relays.

Faults sit between: what a client sees passes through a wire of ours to the server behind it.
"""

import asyncio
import contextlib
import os
import threading
import tty
from collections.abc import Callable
from typing import Any

from sweeper.simulation.boards.modbus_frames import Framing, allowed, cut, kind_of
from sweeper.simulation.wires.command_log import CommandLog
from sweeper.simulation.wires.faults import Send
from sweeper.simulation.wires.forwarding import pump, to_port
from sweeper.simulation.wires.wire import Feed
from sweeper.simulation.world.bench import Bench

_READ_COILS, _WRITE_COIL, _WRITE_COILS = 1, 5, 15


def framing_of(name: str) -> Framing:
    """The framing in a board's name."""
    return "rtu" if name.endswith("rtu") else "tcp"


class ModbusBoard:
    """pymodbus's server in a thread with its own event loop; `unit` is the board's address."""

    def __init__(self, bench: Bench, framing: Framing, *, unit: int = 1, ours: bool = True) -> None:
        self._bench = bench
        self.log = CommandLog("Modbus board", allowed(framing), kind_of(framing), ours=ours)
        self._framing = framing
        self._unit = unit
        self._loop = asyncio.new_event_loop()
        self._server: Any = None
        self._port = 0
        self._master = self._slave = -1
        self._pumping = False
        self._send_serial: Send = lambda _: None
        ready = threading.Event()
        self._thread = threading.Thread(target=self._run, args=(ready,), daemon=True)
        self._thread.start()
        if not ready.wait(10.0):
            raise RuntimeError("the simulated relay board's Modbus server did not start within 10 s")

    def _run(self, ready: threading.Event) -> None:
        asyncio.set_event_loop(self._loop)
        self._loop.run_until_complete(self._start())
        ready.set()
        self._loop.run_forever()
        self._loop.close()

    async def _start(self) -> None:
        from pymodbus import FramerType
        from pymodbus.server import ModbusSerialServer, ModbusTcpServer
        from pymodbus.simulator import DataType, SimData, SimDevice

        words = SimData(address=0, count=16, values=0, datatype=DataType.REGISTERS)
        bits = SimData(address=0, count=1, values=[False] * 16, datatype=DataType.BITS)
        board = SimDevice(id=self._unit, simdata=([bits], [bits], [words], [words]), action=self._act)
        if self._framing == "rtu":
            self._master, slave = os.openpty()
            tty.setraw(self._master)
            tty.setraw(slave)
            self._slave = slave
            self._server = ModbusSerialServer(board, framer=FramerType.RTU, port=os.ttyname(slave))
            await self._server.serve_forever(background=True)
        else:
            self._server = ModbusTcpServer(board, address=("127.0.0.1", 0))
            await self._server.serve_forever(background=True)
            self._port = self._server.transport.sockets[0].getsockname()[1]

    async def _act(
        self, function: int, start: int, address: int, count: int, registers: list[int], values: Any
    ) -> None:
        coils = self._bench.coils
        if function in (_WRITE_COIL, _WRITE_COILS) and values is not None:
            for offset, on in enumerate(values):
                if address + offset < len(coils):
                    self._bench.set_coil(address + offset, bool(on))
        elif function == _READ_COILS and registers:
            registers[0] = sum(1 << number for number, on in enumerate(coils) if on)

    def session(self, send: Send) -> Feed:
        """Carry one client's bytes to the server and its replies back."""
        if self._framing == "rtu":
            return self._serial_session(send)
        return to_port(self._port, self._noting(), send)

    def _noting(self) -> Callable[[bytes], None]:
        """Something that writes down whole requests, however their bytes arrive."""
        kept = b""

        def note(data: bytes) -> None:
            nonlocal kept
            frames, kept = cut(kept + data, self._framing)
            for frame in frames:
                self.log.note(frame)

        return note

    def _serial_session(self, send: Send) -> Feed:
        self._send_serial = send
        if not self._pumping:
            self._pumping = True
            pump(lambda: os.read(self._master, 4096), self._send_to_whoever_is_there)

        note = self._noting()

        def feed(data: bytes) -> None:
            if data:
                note(data)
                os.write(self._master, data)

        return feed

    def _send_to_whoever_is_there(self, reply: bytes) -> None:
        with contextlib.suppress(OSError):  # nobody: the adapter is out, and the board does not know
            self._send_serial(reply)

    async def _finish(self) -> None:
        talking = list(self._server.active_connections.values())
        await self._server.shutdown()
        await asyncio.sleep(0.02)  # who was just being accepted appears now
        for each in (*talking, *self._server.active_connections.values()):
            if each.transport is not None:
                each.transport.abort()
        await asyncio.sleep(0)  # the loop lets go of them

    def close(self) -> None:
        """Stop the server and its thread."""
        asyncio.run_coroutine_threadsafe(self._finish(), self._loop).result(5.0)
        self._loop.call_soon_threadsafe(self._loop.stop)
        self._thread.join(5.0)
        if self._master >= 0:
            for end in (self._slave, self._master):
                with contextlib.suppress(OSError):
                    os.close(end)
