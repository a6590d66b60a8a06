"""Modbus as bytes: requests to read coils and to set one, and what comes back. No link, no time, no retries.

Frames and data units are pymodbus's; this module asks it for the two requests that a relay board needs,
Read Coils (function 1) and Write Single Coil (function 5), and holds the reply against the request.
Sources: Modbus Application Protocol V1.1b3, sections 6.1, 6.5 and 7; Modbus over Serial Line V1.02, section 2.5.
"""

import logging
import struct
from collections.abc import Callable, Iterable
from typing import TYPE_CHECKING, Literal, TypeVar

from drivers.errors import BadReply, Refused
from drivers.protocols import keying

if TYPE_CHECKING:
    from pymodbus.pdu import ModbusPDU

T = TypeVar("T")
Framing = Literal["tcp", "rtu"]

LONGEST_FRAME = {"tcp": 260, "rtu": 256}
"""Bytes: Modbus Application Protocol V1.1b3, section 4.1; nothing longer can ever become a reply."""

SHOWN = 40
"""Bytes of a wrong answer that a person is shown."""

MOST_COILS = 2000
"""In one request: Modbus Application Protocol V1.1b3, section 6.1."""

LONGEST = 12
"""Bytes of a request for coils: over TCP, a header of seven and a data unit of five."""

EXCEPTIONS = {
    1: "it does not know this function",
    2: "it has no such coil",
    3: "it does not allow this value",
    4: "it failed while doing it",
    5: "it is still at it",
    6: "it is busy",
    10: "the gateway has no way to it",
    11: "the gateway got no answer from it",
}
"""Exception codes: Modbus Application Protocol V1.1b3, section 7."""


def coils_only(frame: bytes) -> None:
    """The gate before every board that speaks Modbus: `Refused` for a frame that a receiver could be keyed by."""
    if len(frame) > LONGEST:
        raise Refused("relay board", f"a request of {len(frame)} bytes is none for its coils.")
    if told := keying.in_frame(frame):
        raise Refused(
            "relay board",
            f"the request for these coils holds {told}, which could key a transmitter if a receiver listened there.",
            "Take other coils or another unit number.",
        )


class Modbus:
    """Requests to one unit. `part` names the board in errors; the only state is the transaction number of TCP."""

    def __init__(self, framing: Framing, unit: int, part: str) -> None:
        from pymodbus.framer import FramerRTU, FramerSocket
        from pymodbus.pdu import DecodePDU

        # whatever pymodbus would print about a broken reply is told in the error that the person gets
        logging.getLogger("pymodbus.logging").setLevel(logging.CRITICAL)
        decoder = DecodePDU(is_server=False)
        self._framer = FramerSocket(decoder) if framing == "tcp" else FramerRTU(decoder)
        self._framing = framing
        self._unit = unit
        self._part = part
        self._transaction = 0

    def read_coils(self, first: int, count: int) -> tuple[bytes, Callable[[bytes], tuple[bool, ...] | None]]:
        """The request, and a reader for its reply: the coils' states in order, None while more must come.

        The reader raises BadReply and Refused. ValueError when `first` or `count` is out of the protocol's range.
        """
        from pymodbus.pdu.bit_message import ReadCoilsRequest

        def states(reply: "ModbusPDU") -> tuple[bool, ...] | None:
            # the reply carries whole bytes: up to seven coils that nobody asked for
            if reply.function_code == 1 and len(reply.bits) == (count + 7) // 8 * 8:
                return tuple(bool(bit) for bit in reply.bits[:count])
            return None

        return self._request(ReadCoilsRequest(address=first, count=count, dev_id=self._unit), states)

    def write_coil(self, coil: int, on: bool) -> tuple[bytes, Callable[[bytes], bool | None]]:
        """The request, and a reader for its reply: the state that the board confirms, None while more must come.

        The standard wants the request echoed; some boards answer with how the coil stands instead, so a state
        other than `on` is an answer too, and reading back decides.
        """
        from pymodbus.pdu.bit_message import WriteSingleCoilRequest

        def state(reply: "ModbusPDU") -> bool | None:
            return bool(reply.bits[0]) if (reply.function_code, reply.address) == (5, coil) else None

        return self._request(WriteSingleCoilRequest(address=coil, bits=[on], dev_id=self._unit), state)

    def _request(
        self, pdu: "ModbusPDU", meaning: "Callable[[ModbusPDU], T | None]"
    ) -> tuple[bytes, Callable[[bytes], T | None]]:
        if self._framing == "tcp":
            self._transaction = self._transaction % 0xFFFF + 1
            pdu.transaction_id = self._transaction

        def read(received: bytes) -> T | None:
            reply = self._reply(received, pdu.transaction_id)
            if reply is None:
                return None
            if reply.isError() and reply.function_code == pdu.function_code | 0x80:
                why = EXCEPTIONS.get(
                    reply.exception_code, "it gives a reason that the standard does not know"
                )
                raise Refused(self._part, f"it refused: {why} (Modbus exception {reply.exception_code}).")
            meant = meaning(reply)
            if meant is None:
                raise BadReply(
                    self._part, f"its answer {received[:SHOWN].hex(' ')} belongs to another request."
                )
            return meant

        return self._framer.buildFrame(pdu), read

    def _reply(self, received: bytes, transaction: int) -> "ModbusPDU | None":
        from pymodbus.exceptions import ModbusException

        wrong_head = self._framing == "tcp" and len(received) >= 4 and received[2:4] != b"\0\0"
        if wrong_head or len(received) > LONGEST_FRAME[self._framing]:
            raise BadReply(self._part, f"it answered with {received[:SHOWN].hex(' ')}, which is no Modbus.")
        try:
            used, reply = self._framer.handleFrame(received, self._unit, transaction)
        except (ModbusException, IndexError, struct.error) as fault:
            raise BadReply(
                self._part, f"it answered with {received[:SHOWN].hex(' ')}, which is no reply."
            ) from fault
        if reply is None and used and self._framing == "rtu":
            raise BadReply(
                self._part,
                f"it answered with {received[:SHOWN].hex(' ')}, which is garbled or another unit's.",
                "Look at speed, parity, termination and the unit numbers on the line.",
            )
        return reply


def silence_s(baud: int) -> float:
    """Seconds of silence between RTU frames: 3.5 characters of 11 bits, and 1.75 ms above 19200 baud.

    Source: Modbus over Serial Line V1.02, section 2.5.1.1.
    """
    return 3.5 * 11 / baud if baud <= 19200 else 0.00175


def runs(coils: Iterable[int]) -> tuple[tuple[int, int], ...]:
    """Coils as runs of neighbours, (first, count), each to be read with one request.

    Only coils that are used are read: boards refuse a request that touches a coil they do not have.
    """
    found: list[tuple[int, int]] = []
    for coil in sorted(set(coils)):
        if found and coil == sum(found[-1]) and found[-1][1] < MOST_COILS:
            found[-1] = (found[-1][0], found[-1][1] + 1)
        else:
            found.append((coil, 1))
    return tuple(found)
