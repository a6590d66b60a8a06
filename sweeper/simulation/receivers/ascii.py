"""Receivers that take semicolon-terminated ASCII commands, one table a model.

Written from the makers' public command references: Kenwood's for the TS-480 and the TS-590S, Elecraft's for the K3.
Names and parameter lengths are theirs.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

from sweeper.simulation.receivers.meter_tables import K3, K3_FINE, TS480, TS590S, Table, dots
from sweeper.simulation.wires.command_log import CommandLog, Kind
from sweeper.simulation.wires.faults import Send
from sweeper.simulation.wires.wire import Feed
from sweeper.simulation.world.bench import Bench

MODES = {"LSB": "1", "USB": "2", "CW": "3", "FM": "4", "AM": "5", "RTTY": "6", "CWR": "7", "RTTYR": "9"}
_NAMES = {digit: name for name, digit in MODES.items()}
_KINDS: dict[bytes, Kind] = {b"SM": "meter", b"IF": "transmit", b"TQ": "transmit", b"ID": "other"}
NEVER = ("TX", "KY", "PB1", "TQ", "AC111", "VX1", "SWT", "SWH", "CN1", "AN", "FT", "PC")
"""Commands that key a transmitter or set one up. They are refused here, and nobody may send them."""


@dataclass(frozen=True)
class AsciiModel:
    """One model. `registers` maps a command to what it answers; a setting replaces the answer's beginning.

    `allowed` are the commands that a program which only listens may send.
    """

    name: str
    identity: str
    meter: Table
    meter_reply: str
    interface_reply: Callable[[Bench], str]
    registers: Mapping[str, str]
    fine_meter: Table = ()
    attenuator_db: int = 12
    slow_agc: str = "002"
    allowed: frozenset[str] = field(default_factory=frozenset)


def _kenwood_interface(bench: Bench) -> str:
    return f"IF{bench.hz:011d}     +000000000{int(bench.transmitting)}{MODES[bench.mode]}0000000"


def _k3_interface(bench: Bench) -> str:
    return f"IF{bench.hz:011d}     +000000 00{int(bench.transmitting)}{MODES[bench.mode]}000001 "


_LISTENING = frozenset(
    {
        "ID",
        "IF",
        "FA",
        "FB",
        "MD",
        "SM",
        "AI",
        "PA",
        "RA",
        "GT",
        "NB",
        "NR",
        "SQ",
        "RG",
        "FW",
        "BW",
        "FR",
        "PS",
    }
)
_KENWOOD = {
    "AG0": "060", "AI": "0", "PA": "00", "RA": "0000", "GT": "001", "NB": "0", "NR": "0", "SQ0": "000", "RG": "255",
    "FW": "0000", "PS": "1", "FR": "0", "FT": "0", "RT": "0", "XT": "0", "MF": "0", "FB": "00007000000", "NL": "001",
    "SH": "07", "SL": "03", "IS": " 0000", "NT": "0", "BC": "0", "LK": "00", "TS": "0", "MC": "000", "VX": "0",
    "PC": "100", "MG": "050", "CN": "08", "TN": "08", "TO": "0", "CT": "0", "AN": "1", "VD": "0500", "KS": "020",
    "SD": "0500", "BY": "0", "AC": "000", "PR": "0", "VG": "005", "ML": "000", "TY": " 00", "DA": "0", "UL": "0",
    "FV": "1.04",
}  # fmt: skip
_K3 = {
    "AG": "100", "AI": "0", "PA": "0", "RA": "00", "GT": "002", "NB": "0", "SQ": "000", "RG": "250",
    "BW": "0240", "FW": "0240", "PS": "1", "FR": "0", "FT": "0", "RT": "0", "XT": "0", "FB": "00007000000", "K2": "0",
    "K3": "1", "OM": " A----F------", "RVM": "05.14", "RVD": "02.81", "IS": " 9999", "CW": "60", "LK": "0", "PC": "010",
    "AN": "1", "NL": "0000", "MG": "030", "KS": "020", "VX": "0", "DV": "0", "SB": "0", "TQ": "0", "FI": "5000",
    "XF": "2", "AP": "0", "BN": "03", "LN": "0", "RO": "+0000", "LN$": "0", "ES": "0", "DT": "0", "TM": "0",
}  # fmt: skip

MODELS: Mapping[str, AsciiModel] = {
    "ts480": AsciiModel(
        "TS-480", "020", TS480, "SM0{:04d}", _kenwood_interface, {**_KENWOOD, "RG": "100"},
        allowed=_LISTENING,
    ),
    "ts590s": AsciiModel(
        "TS-590S", "021", TS590S, "SM0{:04d}", _kenwood_interface, {**_KENWOOD, "GC": "2"}, slow_agc="1",
        allowed=_LISTENING | {"GC"},
    ),
    "k3": AsciiModel(
        "K3", "017", K3, "SM{:04d}", _k3_interface, _K3,
        fine_meter=K3_FINE, attenuator_db=10, slow_agc="004", allowed=_LISTENING | {"K2", "K3", "OM", "RV", "SMH"},
    ),
}  # fmt: skip


def kind_of(command: bytes) -> Kind:
    """What a command is about."""
    verb, setting = command[:2], len(command) > 2
    if verb == b"FA":
        return "tune" if setting else "dial"
    if verb == b"MD":
        return "mode" if setting else "dial"
    return _KINDS.get(verb, "setting")


class AsciiReceiver:
    """One of `MODELS` on a bench."""

    def __init__(self, bench: Bench, model: str, *, ours: bool = True) -> None:
        self._bench = bench
        self.model = MODELS[model]
        self.registers = dict(self.model.registers)
        self.log = CommandLog(self.model.name, self.is_allowed, kind_of, ours=ours)

    def is_allowed(self, command: bytes) -> bool:
        """Whether it is on the model's list, and sets no transmitter up."""
        text = command.decode("latin-1").rstrip(";").strip()
        if any(text.startswith(name) for name in NEVER) and text not in ("AN", "PC", "FT"):
            return False
        return text == "" or text[:2] in self.model.allowed

    def session(self, send: Send) -> Feed:
        """One line's buffer; a real receiver's is short, and so is this one's."""
        kept = b""

        def feed(data: bytes) -> None:
            nonlocal kept
            *commands, kept = (kept + data).split(b";")
            kept = kept[-64:]
            for command in commands:
                self.log.note(command)
                reply = self.answer(command.decode("latin-1").strip("\r\n "))
                if reply:
                    send(reply.encode("latin-1") + b";")

        return feed

    def answer(self, command: str) -> str:
        """The reply to one command without its semicolon; empty where a setting is simply taken."""
        bench, model = self._bench, self.model
        verb, parameter = command[:2], command[2:]
        if verb == "ID":
            return f"ID{model.identity}"
        if verb == "IF":
            return model.interface_reply(bench)
        if verb == "FA":
            if not parameter:
                return f"FA{bench.hz:011d}"
            return "" if len(parameter) == 11 and parameter.isdigit() and bench.tune(int(parameter)) else "?"
        if verb == "MD" and not parameter.startswith("$"):
            if not parameter:
                return f"MD{MODES[bench.mode]}"
            if parameter not in _NAMES:
                return "?"
            bench.mode = _NAMES[parameter]
            return ""
        if verb == "SM":
            if parameter == "H" and model.fine_meter:
                return f"SMH{dots(model.fine_meter, bench.level_db()):03d}"
            return model.meter_reply.format(dots(model.meter, bench.level_db()))
        if verb == "TX":
            return "?"
        if verb == "RX":
            return "RX0" if command == "RX" and model.name.startswith("TS") else ""
        if verb in ("BW", "FW") and verb in self.registers and model.name == "K3":
            return self._k3_width(verb, parameter)
        return self._register(command)

    def _k3_width(self, verb: str, parameter: str) -> str:
        if not parameter:
            return f"{verb}{self._bench.bandwidth_hz // 10:04d}"
        if not (len(parameter) == 4 and parameter.isdigit()):
            return "?"
        self._bench.bandwidth_hz = int(parameter) * 10
        return ""

    def _register(self, command: str) -> str:
        for length in (3, 2):
            name, parameter = command[:length], command[length:]
            if name not in self.registers:
                continue
            stands = self.registers[name]
            if not parameter:
                return f"{name}{stands}"
            if any(command.startswith(never) for never in NEVER):
                return "?"
            if len(parameter) <= max(len(stands), 4) and (name != "RG" or parameter.isdecimal()):
                self.registers[name] = parameter + stands[len(parameter) :]
                self._act_on(name, parameter)
                return ""
        return "?"

    def _act_on(self, name: str, parameter: str) -> None:
        """What a setting does to the meter."""
        bench = self._bench
        if name == "RA":
            bench.attenuator_db = self.model.attenuator_db if parameter[:2] != "00" else 0
        elif name == "PA":
            bench.preamplifier = parameter[:1] != "0"
        elif name == "RG":
            bench.rf_gain = int(parameter) / int(self.model.registers["RG"])
        elif name in ("GT", "GC"):
            bench.slow_agc = parameter == self.model.slow_agc
