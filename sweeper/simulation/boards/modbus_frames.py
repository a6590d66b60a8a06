"""Requests on a Modbus wire as a bystander sees them: where one ends, what it is about, whether it may be sent. Pure.

Written from the Modbus Application Protocol V1.1b3 (lengths and function codes), its messaging guide for TCP (the
header's length field) and the serial-line guide V1.02.
"""

from collections.abc import Callable
from typing import Literal

from sweeper.simulation.wires.command_log import Kind

Framing = Literal["tcp", "rtu"]
ALLOWED_FUNCTIONS = frozenset({1, 2, 3, 4, 5, 15, 43})
"""Read and write coils, read inputs and registers, say who you are. Others a switch driver has no use for."""
_WRITES = frozenset({5, 15})
_FIXED = frozenset(range(1, 7))
"""Functions whose RTU request is eight bytes: address, function, two words, CRC."""
_COUNTED = frozenset({15, 16})
"""Functions whose seventh byte counts the bytes of values that follow."""


def function_of(frame: bytes, framing: Framing) -> int:
    """A whole request's function code; 0 where there is none."""
    place = 7 if framing == "tcp" else 1
    return frame[place] if len(frame) > place else 0


def allowed(framing: Framing) -> Callable[[bytes], bool]:
    """Whether a whole request is one that a switch driver may send."""
    return lambda frame: function_of(frame, framing) in ALLOWED_FUNCTIONS


def kind_of(framing: Framing) -> Callable[[bytes], Kind]:
    """What a whole request is about."""

    def kind(frame: bytes) -> Kind:
        function = function_of(frame, framing)
        return "write" if function in _WRITES else "read" if 1 <= function <= 4 else "other"

    return kind


def cut(data: bytes, framing: Framing) -> tuple[list[bytes], bytes]:
    """The whole requests at the beginning of `data`, and the rest."""
    length_of = _tcp_length if framing == "tcp" else _rtu_length
    frames = []
    while (length := length_of(data)) is not None and len(data) >= length:
        frames.append(data[:length])
        data = data[length:]
    return frames, data


def _tcp_length(data: bytes) -> int | None:
    return 6 + int.from_bytes(data[4:6], "big") if len(data) >= 6 else None


def _rtu_length(data: bytes) -> int | None:
    if len(data) < 2:
        return None
    if data[1] in _FIXED:
        return 8
    if data[1] in _COUNTED:
        return 9 + data[6] if len(data) > 6 else None
    return len(data)  # of a request that nobody should send, all that came
