"""Relay boards that take a few bytes or a line of text: three makers' ways, on a bench's relays.

Written from the makers' published command tables: eight relays set by single bytes and read in one (USB-RLY08),
two relays set by FF, relay, state (KMTronic), lines of text that are confirmed (KinCony). Relay 1 is coil 0.
"""

from collections.abc import Callable
from typing import Protocol

from sweeper.simulation.wires.command_log import CommandLog, Kind
from sweeper.simulation.wires.faults import Send
from sweeper.simulation.wires.wire import Feed
from sweeper.simulation.world.bench import Bench


class _Split(Protocol):
    """Cut whole commands from what arrived: (commands, rest)."""

    def __call__(self, data: bytes, /) -> tuple[list[bytes], bytes]: ...


def _single(data: bytes) -> tuple[list[bytes], bytes]:
    return [data[n : n + 1] for n in range(len(data))], b""


def _triples(data: bytes) -> tuple[list[bytes], bytes]:
    commands: list[bytes] = []
    while (start := data.find(b"\xff")) >= 0 and len(data) >= start + 3:
        commands.append(data[start : start + 3])
        data = data[start + 3 :]
    return commands, data[-2:]


def _lines(data: bytes) -> tuple[list[bytes], bytes]:
    """Text boards take a command without a line end too, once it is whole: ``RELAY-SET-255,1,1``."""
    commands: list[bytes] = []
    while len(data) >= 17:
        start = data.find(b"RELAY-")
        if start < 0:
            return commands, data[-16:]
        if len(data) < start + 17:
            break
        commands.append(data[start : start + 17])
        data = data[start + 17 :]
    return commands, data.strip(b"\r\n")


class ByteBoard:
    """One of `BOARDS` on a bench."""

    def __init__(self, bench: Bench, name: str, *, ours: bool = True) -> None:
        self._bench = bench
        self._split, self._answer, self.relays = BOARDS[name]
        self.log = CommandLog(f"{name} board", self._is_allowed, self._kind, ours=ours)

    def _is_allowed(self, command: bytes) -> bool:
        return (self._split is _single and command in _ONE_BYTE) or (
            self._split is not _single and _is_whole(command)
        )

    def _kind(self, command: bytes) -> Kind:
        return (
            "read" if command == b"\x5b" or (command[:1] == b"\xff" and command[2:] == b"\x03") else "write"
        )

    def session(self, send: Send) -> Feed:
        """One line to the board."""
        kept = b""

        def feed(data: bytes) -> None:
            nonlocal kept
            commands, kept = self._split(kept + data)
            for command in commands:
                self.log.note(command)
                reply = self._answer(self._bench, command)
                if reply:
                    send(reply)

        return feed


_ONE_BYTE = {bytes((code,)) for code in (*range(0x65, 0x6D), *range(0x6F, 0x77), 0x5B)}


def _is_whole(command: bytes) -> bool:
    if command[:1] == b"\xff":
        return command[1] in (1, 2) and command[2] in (0, 1, 3)
    return command[:14] == b"RELAY-SET-255," and command[14:15].isdigit() and command[16:17] in (b"0", b"1")


def _one_byte(bench: Bench, command: bytes) -> bytes:
    code = command[0]
    if 0x65 <= code <= 0x6C:
        bench.set_coil(code - 0x65, True)
    elif 0x6F <= code <= 0x76:
        bench.set_coil(code - 0x6F, False)
    elif code == 0x5B:
        return bytes((sum(1 << number for number, on in enumerate(bench.coils[:8]) if on),))
    return b""


def _three_byte(bench: Bench, command: bytes) -> bytes:
    relay, state = command[1], command[2]
    if relay not in (1, 2):
        return b""
    if state in (0, 1):
        bench.set_coil(relay - 1, state == 1)
        return b""
    return bytes((0xFF, relay, int(bench.coils[relay - 1]))) if state == 3 else b""


def _text_line(bench: Bench, command: bytes) -> bytes:
    if not _is_whole(command):
        return b""
    relay = int(command[14:15])
    if not 1 <= relay <= len(bench.coils):
        return command + b",ERROR"
    bench.set_coil(relay - 1, command[16:17] == b"1")
    return command + b",OK"


BOARDS: dict[str, tuple[_Split, Callable[[Bench, bytes], bytes], int]] = {
    "one-byte": (_single, _one_byte, 8),
    "three-byte": (_triples, _three_byte, 2),
    "text-line": (_lines, _text_line, 8),
}
"""Name: how commands are cut, how they are answered, how many relays there are."""
