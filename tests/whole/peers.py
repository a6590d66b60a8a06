"""Other people's programs, started for a test: hamlib's rigctld, a pymodbus server, and a wire tap between."""

import asyncio
import contextlib
import shutil
import socket
import subprocess
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest

DEADLINE_S = 60.0


def until(condition: Callable[[], object], what: str, deadline_s: float = DEADLINE_S) -> None:
    """Wait for a condition, at most `deadline_s`; then fail and say what did not come."""
    end = time.monotonic() + deadline_s
    while not condition():
        if time.monotonic() > end:
            pytest.fail(f"waited {deadline_s} s in vain for {what}")
        time.sleep(0.01)


def free_port() -> int:
    """A TCP port of the loopback address that was free a moment ago, for programs that must be told one."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
        return port


def ends_with_us(*command: str) -> list[str]:
    """The command line under which a program is killed by the kernel when this process is gone, however it went.

    prctl(2), PR_SET_PDEATHSIG, by util-linux's setpriv. For programs that would serve on for ever.
    """
    return ["setpriv", "--pdeathsig", "KILL", *command]


def answers(port: int) -> bool:
    with contextlib.suppress(OSError), socket.create_connection(("127.0.0.1", port), timeout=1.0):
        return True
    return False


def listens(pid: int, port: int) -> bool:
    """Whether that process itself listens there (proc(5)): a probe that connects and leaves has rigctld close the rig
    under whoever comes next, and another program may have been quicker to take the port.
    """
    mine = set()
    for each in Path(f"/proc/{pid}/fd").iterdir():
        with contextlib.suppress(FileNotFoundError):
            mine.add(str(each.readlink()))
    rows = [row.split() for row in Path("/proc/net/tcp").read_text(encoding="ascii").splitlines()[1:]]
    return any(
        row[3] == "0A" and int(row[1].split(":")[1], 16) == port and f"socket:[{row[9]}]" in mine
        for row in rows
    )


@contextlib.contextmanager
def rigctld(
    model: int, device: str | None = None, baud: int | None = None, arguments: tuple[str, ...] = ()
) -> Iterator[int]:
    """hamlib's rigctld for a receiver model, 1 being its own dummy; yields its TCP port."""
    program = shutil.which("rigctld")
    if program is None:
        pytest.skip("rigctld is not installed (Debian: libhamlib-utils)")
    port = free_port()
    command = [program, "-m", str(model), "-T", "127.0.0.1", "-t", str(port)]
    command += ["-r", device] if device else []
    command += ["-s", str(baud)] if baud else []
    command += arguments
    with subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL) as process:
        try:
            until(
                lambda: process.poll() is not None or listens(process.pid, port),
                f"rigctld -m {model} to listen",
            )
            assert process.poll() is None, f"rigctld -m {model} ended with {process.returncode}"
            yield port
        finally:
            process.terminate()
            process.wait(DEADLINE_S)


@dataclass
class WireTap:
    """A TCP relay that keeps what passed; `sent` by the client, `came` from the server."""

    port: int
    sent: bytearray = field(default_factory=bytearray)
    came: bytearray = field(default_factory=bytearray)


@contextlib.contextmanager
def wire_tap(target_port: int) -> Iterator[WireTap]:
    """Stand between a client and the server on `target_port`."""
    listener = socket.create_server(("127.0.0.1", 0))
    tap = WireTap(listener.getsockname()[1])
    open_sockets: list[socket.socket] = []

    def copy(source: socket.socket, sink: socket.socket, book: bytearray) -> None:
        with contextlib.suppress(OSError):
            while data := source.recv(4096):
                book += data
                sink.sendall(data)
        for end in (source, sink):
            with contextlib.suppress(OSError):
                end.shutdown(socket.SHUT_RDWR)

    def accept() -> None:
        with contextlib.suppress(OSError):
            while True:
                client, _ = listener.accept()
                server = socket.create_connection(("127.0.0.1", target_port))
                for end in (client, server):
                    end.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
                open_sockets.extend((client, server))
                threading.Thread(target=copy, args=(client, server, tap.sent), daemon=True).start()
                threading.Thread(target=copy, args=(server, client, tap.came), daemon=True).start()

    accepting = threading.Thread(target=accept, daemon=True)
    accepting.start()
    try:
        yield tap
    finally:
        with contextlib.suppress(OSError):
            listener.shutdown(socket.SHUT_RDWR)
        listener.close()
        for end in open_sockets:
            end.close()
        accepting.join(DEADLINE_S)


@dataclass
class RelayBoard:
    """A pymodbus server seen from outside: its port, its coils as last written, and every write in order."""

    port: int = 0
    coils: list[bool] = field(default_factory=lambda: [False] * 8)
    writes: list[tuple[int, bool]] = field(default_factory=list)


@contextlib.contextmanager
def relay_board() -> Iterator[RelayBoard]:
    """A Modbus TCP server made with pymodbus alone; nothing of ours answers."""
    from pymodbus.pdu.bit_message import WriteMultipleCoilsRequest, WriteSingleCoilRequest
    from pymodbus.server import ModbusTcpServer
    from pymodbus.simulator import DataType, SimData, SimDevice

    board = RelayBoard(free_port())
    loop = asyncio.new_event_loop()
    servers: list[ModbusTcpServer] = []

    def note(sending: bool, pdu: Any) -> Any:
        if not sending and isinstance(pdu, WriteSingleCoilRequest | WriteMultipleCoilsRequest):
            for offset, bit in enumerate(pdu.bits[: getattr(pdu, "count", 1) or 1]):
                board.coils[pdu.address + offset] = bool(bit)
                board.writes.append((pdu.address + offset, bool(bit)))
        return pdu

    async def serve() -> None:
        bits = SimData(0, count=16, values=False, datatype=DataType.BITS)
        words = SimData(0, count=16, values=0, datatype=DataType.REGISTERS)
        server = ModbusTcpServer(
            SimDevice(1, simdata=([bits], [bits], [words], [words])),
            address=("127.0.0.1", board.port),
            trace_pdu=note,
        )
        servers.append(server)
        await server.serve_forever(background=True)

    loop.run_until_complete(serve())
    thread = threading.Thread(target=loop.run_forever, daemon=True)
    thread.start()
    try:
        until(lambda: answers(board.port), "the pymodbus server to listen")
        yield board
    finally:
        asyncio.run_coroutine_threadsafe(servers[0].shutdown(), loop).result(DEADLINE_S)
        loop.call_soon_threadsafe(loop.stop)
        thread.join(DEADLINE_S)
        loop.close()
