"""Receivers that take addressed binary frames: FE FE to from command … FD, frequency in packed decimal digits.

Written from Icom's public command references for the IC-R75, the IC-7300 and the IC-R8600. The bus has one wire
for both directions, so that a receiver may echo what it hears, and two senders at once collide (FC).
"""

from collections.abc import Mapping
from dataclasses import dataclass

from sweeper.simulation.receivers.meter_tables import IC7300, ICR75, ICR8600, Table, dots
from sweeper.simulation.wires.command_log import CommandLog, Kind
from sweeper.simulation.wires.faults import Send
from sweeper.simulation.wires.wire import Feed
from sweeper.simulation.world.bench import Bench

PREAMBLE, END, OK, NOT_GOOD = b"\xfe\xfe", b"\xfd", b"\xfb", b"\xfa"
COLLISION = b"\xfc"
_MODES = {
    "LSB": 0x00,
    "USB": 0x01,
    "AM": 0x02,
    "CW": 0x03,
    "RTTY": 0x04,
    "FM": 0x05,
    "CWR": 0x07,
    "RTTYR": 0x08,
}
_MODE_NAMES = {code: name for name, code in _MODES.items()}


@dataclass(frozen=True)
class BinaryModel:
    """One model: its bus address, its meter's table, and the settings (command bytes to value) that it keeps.

    `filters` are the pass bands of its three filters in hertz, for single side band, AM, FM and the narrow modes.
    `transmits` says that it has a transmitter to ask after.
    """

    name: str
    address: int
    meter: Table
    filters: Mapping[str, tuple[int, int, int]]
    settings: Mapping[bytes, bytes]
    transmits: bool
    slow_agc: bytes = b"\x03"


_FILTERS = {
    "SSB": (3000, 2400, 1800),
    "AM": (9000, 6000, 3000),
    "FM": (15000, 10000, 7000),
    "CW": (1200, 500, 250),
}
_R75_FILTERS = {
    "SSB": (15000, 2400, 1900),
    "AM": (15000, 6000, 2400),
    "FM": (15000, 7000, 2400),
    "CW": (15000, 2400, 1900),
}
_COMMON = {
    b"\x14\x02": b"\x02\x55", b"\x14\x03": b"\x00\x00", b"\x16\x02": b"\x00", b"\x11": b"\x00", b"\x16\x12": b"\x01",
    b"\x16\x22": b"\x00", b"\x16\x40": b"\x00", b"\x14\x01": b"\x00\x80",
    b"\x14\x06": b"\x00\x00", b"\x16\x41": b"\x00",
}  # fmt: skip
MODELS: Mapping[str, BinaryModel] = {
    "icr75": BinaryModel(
        "IC-R75", 0x5A, ICR75, _R75_FILTERS, _COMMON, False, b"\x02"
    ),
    "ic7300": BinaryModel(
        "IC-7300", 0x94, IC7300, _FILTERS,
        {**_COMMON, b"\x0f": b"\x00", b"\x1a\x03": b"\x28", b"\x1a\x04": b"\x03",
         b"\x16\x65": b"\x00", b"\x16\x48": b"\x00"}, True,
    ),
    "icr8600": BinaryModel(
        "IC-R8600", 0x96, ICR8600, _FILTERS,
        {**_COMMON, b"\x16\x65": b"\x00"}, False,
    ),
}  # fmt: skip
_LISTENING: tuple[bytes, ...] = (
    b"\x03", b"\x04", b"\x05", b"\x06", b"\x11", b"\x14\x01", b"\x14\x02", b"\x14\x03", b"\x15\x02", b"\x16\x02",
    b"\x16\x12", b"\x16\x22", b"\x16\x40", b"\x16\x41", b"\x16\x65", b"\x19\x00", b"\x1a\x03", b"\x1a\x04",
)  # fmt: skip


_KINDS: dict[bytes, Kind] = {
    b"\x05": "tune", b"\x06": "mode", b"\x03": "dial", b"\x04": "dial", b"\x15\x02": "meter",
    b"\x1c\x00": "transmit", b"\x19\x00": "other",
}  # fmt: skip


def allowed(frame: bytes) -> bool:
    """Whether the command in a whole frame is one that a program which only listens may send."""
    command = frame[4:-1]
    if command == b"\x1c\x00":  # with a value behind it, it would key the transmitter
        return True
    return any(command.startswith(known) for known in _LISTENING)


def kind_of(frame: bytes) -> Kind:
    """What a whole frame is about."""
    return _KINDS.get(frame[4:6], _KINDS.get(frame[4:5], "setting"))


def digits(number: int, length: int) -> bytes:
    """Packed decimal, lowest pair of digits first."""
    text = f"{number:0{2 * length}d}"
    return bytes.fromhex(text)[::-1]


class BinaryReceiver:
    """One of `MODELS` on a bench. `echo` repeats on the bus what was sent to it."""

    def __init__(self, bench: Bench, model: str, *, echo: bool = False, ours: bool = True) -> None:
        self._bench = bench
        self.model = MODELS[model]
        self.echo = echo
        self.collide = 0
        self.settings = dict(self.model.settings)
        self._filter = 2
        self.log = CommandLog(self.model.name, allowed, kind_of, ours=ours)

    def session(self, send: Send) -> Feed:
        """Answer what comes on one bus, frame by frame."""
        kept = b""

        def feed(data: bytes) -> None:
            nonlocal kept
            kept += data
            while (end := kept.find(END)) >= 0:
                frame, kept = kept[: end + 1], kept[end + 1 :]
                start = frame.rfind(PREAMBLE)
                if start >= 0 and len(frame) - start >= 6:
                    self._take(frame[start:], send)
            kept = kept[-256:]

        return feed

    def _take(self, frame: bytes, send: Send) -> None:
        to, sender = frame[2], frame[3]
        if self.collide:
            self.collide -= 1
            send(COLLISION * 5)
            return
        echoed = frame if self.echo else b""
        if to not in (self.model.address, 0x00):
            if echoed:
                send(echoed)
            return
        self.log.note(frame)
        reply = self.answer(frame[4:-1])
        send(echoed + PREAMBLE + bytes((sender, self.model.address)) + reply + END)

    def answer(self, command: bytes) -> bytes:
        """The reply's body to a command's body."""
        bench = self._bench
        head = command[:1]
        if head == b"\x03":
            return head + digits(bench.hz, 5)
        if head in (b"\x05", b"\x00"):
            text = command[1:][::-1].hex()
            return OK if text.isdigit() and bench.tune(int(text)) else NOT_GOOD
        if head == b"\x04":
            return head + bytes((_MODES[bench.mode], self._filter))
        if head in (b"\x06", b"\x01"):
            return self._set_mode(command[1:])
        if self.model.transmits and command[:2] in (b"\x25\x00", b"\x26\x00"):
            return self._selected_vfo(command)
        if head == b"\x07":
            return OK  # one dial or the other: this receiver has them stand together
        if command[:2] == b"\x15\x02":
            return command[:2] + _two_bytes(dots(self.model.meter, bench.level_db()))
        if command[:2] == b"\x19\x00":
            return command[:2] + bytes((self.model.address,))
        if command == b"\x1c\x00" and self.model.transmits:
            return command + bytes((int(bench.transmitting),))
        return self._setting(command)

    def _selected_vfo(self, command: bytes) -> bytes:
        """Frequency (25) and mode with filter (26) of the dial in use, as the IC-7300 also offers them."""
        head, value = command[:2], command[2:]
        if head == b"\x25\x00":
            return self.answer(b"\x05" + value) if value else head + digits(self._bench.hz, 5)
        if value:
            return self._set_mode(value[:1] + value[2:3])
        return head + bytes((_MODES[self._bench.mode], 0, self._filter))

    def _set_mode(self, parameter: bytes) -> bytes:
        if not parameter or parameter[0] not in _MODE_NAMES:
            return NOT_GOOD
        if len(parameter) > 1 and parameter[1] not in (1, 2, 3):
            return NOT_GOOD
        self._bench.mode = _MODE_NAMES[parameter[0]]
        self._filter = parameter[1] if len(parameter) > 1 else 1
        mode = self._bench.mode
        group = mode if mode in ("AM", "FM") else "SSB" if mode in ("LSB", "USB") else "CW"
        self._bench.bandwidth_hz = self.model.filters[group][self._filter - 1]
        return OK

    def _setting(self, command: bytes) -> bytes:
        for length in (2, 1):
            name, value = command[:length], command[length:]
            stands = self.settings.get(name)
            if stands is None:
                continue
            if not value:
                return name + stands
            if len(value) == len(stands) and value.hex().isdecimal():
                self.settings[name] = value
                self._act_on(name, value)
                return OK
        return NOT_GOOD

    def _act_on(self, name: bytes, value: bytes) -> None:
        """What a setting does to the meter."""
        bench = self._bench
        if name == b"\x11":
            bench.attenuator_db = int(value.hex())
        elif name == b"\x16\x02":
            bench.preamplifier = value != b"\x00"
        elif name == b"\x14\x02":
            bench.rf_gain = int(value.hex()) / 255
        elif name == b"\x16\x12":
            bench.slow_agc = value == self.model.slow_agc


def _two_bytes(number: int) -> bytes:
    return bytes.fromhex(f"{number:04d}")
