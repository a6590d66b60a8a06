"""A receiver behind hamlib's network protocol: the lines that `rigctld` speaks, and that `rigctl -m 2` accepts.

Written from rigctld(1) of hamlib 4.5. Commands that key a transmitter are known, refused and written down.
"""

import math
from collections.abc import Callable
from functools import lru_cache

from sweeper.simulation.wires.command_log import CommandLog, Kind
from sweeper.simulation.wires.faults import Send
from sweeper.simulation.wires.wire import Feed
from sweeper.simulation.world.bench import Bench

_LONG = {
    "F": "set_freq", "f": "get_freq", "M": "set_mode", "m": "get_mode", "L": "set_level", "l": "get_level",
    "U": "set_func", "u": "get_func", "T": "set_ptt", "t": "get_ptt", "V": "set_vfo", "v": "get_vfo",
    "_": "get_info", "q": "quit", "Q": "quit", "1": "dump_caps", "s": "get_split_vfo", "2": "power2mW",
}  # fmt: skip
_ALLOWED = {
    "set_freq", "get_freq", "set_mode", "get_mode", "set_level", "get_level", "set_func", "get_func", "get_ptt",
    "get_info", "quit", "dump_state", "chk_vfo", "get_vfo", "get_powerstat", "dump_caps", "get_vfo_info",
    "get_cache", "set_cache",
}  # fmt: skip
_LEVELS_MAY_BE_SET = {"PREAMP", "ATT", "AGC", "RF", "SQL", "AF", "NB", "NR", "AGC_TIME", "NOTCHF", "?"}
_FUNCTIONS_MAY_BE_SET = {"NB", "NB2", "NR", "ANF", "ANL", "APF", "SQL", "?"}
_MODES = {"USB": 2400, "LSB": 2400, "CW": 500, "CWR": 500, "AM": 6000, "FM": 12000, "RTTY": 500, "RTTYR": 500}
_SLOW_AGC = 3
_OK, _INVALID, _REFUSED, _UNAVAILABLE = 0, -1, -9, -11
_KINDS: dict[str, Kind] = {
    "set_freq": "tune", "set_mode": "mode", "get_freq": "dial", "get_mode": "dial", "get_ptt": "transmit",
    "set_level": "setting", "get_func": "setting", "set_func": "setting",
}  # fmt: skip
_STATE = (
    "1", "2", "0",
    "30000.000000 30000000.000000 0x1ff -1 -1 0x3 0x1", "0 0 0 0 0 0 0", "0 0 0 0 0 0 0",
    "0x1ff 1", "0 0",
    "0xc 2400", "0x82 500", "0x110 500", "0x1 6000", "0x20 12000", "0 0",
    "0", "0", "0", "0", "10 ", "6 12 18 ",
    "0x400", "0x400", "0x40000a7b", "0xa7b", "0x0", "0x0",
    "vfo_ops=0x0", "ptt_type=0x1", "targetable_vfo=0x0", "has_set_vfo=0", "has_get_vfo=1", "has_set_freq=1",
    "has_get_freq=1", "has_set_conf=0", "has_get_conf=0", "has_power2mW=0", "has_mW2power=0", "timeout=0", "done",
)  # fmt: skip


def allowed(command: bytes) -> bool:
    """Whether a line is one that a program which only listens may send."""
    name, arguments, _ = parse(command.decode("latin-1"))
    if name == "set_level":
        return bool(arguments) and arguments[0] in _LEVELS_MAY_BE_SET
    if name == "set_func":
        return bool(arguments) and arguments[0] in _FUNCTIONS_MAY_BE_SET
    return name in _ALLOWED


def kind_of(command: bytes) -> Kind:
    """What a line is about."""
    name, arguments, _ = parse(command.decode("latin-1"))
    if name == "get_level":
        return "meter" if arguments[:1] in (["STRENGTH"], ["RAWSTR"]) else "setting"
    return _KINDS.get(name, "other")


@lru_cache(maxsize=1024)
def parse(line: str) -> tuple[str, list[str], str]:
    """(long name, arguments, separator of an extended reply or nothing)."""
    line = line.strip()
    separator = ""
    if line[:1] in ("+", ";", "|", ","):
        separator = "\n" if line[0] == "+" else line[0]
        line = line[1:].lstrip()
    if line.startswith("\\"):
        name, *arguments = line[1:].split() or [""]
        return name, arguments, separator
    return _LONG.get(line[:1], line[:1]), line[1:].split(), separator


class NetworkReceiver:
    """The commands on a bench's receiver. `levels` and `functions` are what may be set beside dial and mode."""

    def __init__(self, bench: Bench, *, ours: bool = True) -> None:
        self._bench = bench
        self.log = CommandLog("network receiver", allowed, kind_of, ours=ours)
        self.levels = {"PREAMP": 0.0, "ATT": 0.0, "AGC": 2.0, "RF": 1.0, "SQL": 0.0, "AF": 0.2, "NR": 0.0}
        self.functions = {"NB": 0, "NR": 0, "ANF": 0, "APF": 0}
        self.cache_ms = 500
        self._commands: dict[str, Callable[[list[str]], tuple[int, list[tuple[str, str]]]]] = {
            "get_freq": lambda _: (_OK, [("Frequency", str(bench.hz))]),
            "set_freq": self._set_freq,
            "get_mode": lambda _: (_OK, [("Mode", bench.mode), ("Passband", str(bench.bandwidth_hz))]),
            "set_mode": self._set_mode,
            "get_level": self._get_level,
            "set_level": self._set_level,
            "get_func": self._get_func,
            "set_func": self._set_func,
            "get_ptt": lambda _: (_OK, [("PTT", str(int(bench.transmitting)))]),
            "get_vfo": lambda _: (_OK, [("VFO", "VFOA")]),
            "set_vfo": lambda _: (_OK, []),
            "get_info": lambda _: (_OK, [("Info", "Saltmarsh receiver, listening only")]),
            "get_cache": lambda _: (_OK, [("Timeout (msecs)", str(self.cache_ms))]),
            "set_cache": self._set_cache,
            "get_powerstat": lambda _: (_OK, [("Power Status", "1")]),
            "get_split_vfo": lambda _: (_OK, [("Split", "0"), ("TX VFO", "VFOA")]),
            "get_lock_mode": lambda _: (_OK, [("Locked", "0")]),
            "set_ptt": lambda _: (_UNAVAILABLE, []),
        }

    def session(self, send: Send) -> Feed:
        """Answer one client, line by line."""
        kept = b""

        def feed(data: bytes) -> None:
            nonlocal kept
            *lines, kept = (kept + data).split(b"\n")
            for line in lines:
                if line.strip():
                    send(self.answer(line).encode())

        return feed

    def answer(self, line: bytes) -> str:
        """The reply to one line."""
        self.log.note(line)
        name, arguments, separator = parse(line.decode("latin-1"))
        if name == "chk_vfo":
            return "ChkVFO: 0\n" if separator else "0\n"
        if name == "dump_state":
            body = "\n".join(_STATE) + "\n"
            return f"dump_state:\n{body}RPRT 0\n" if separator else body
        if name == "quit":
            return "RPRT 0\n"
        command = self._commands.get(name)
        code, values = command(arguments) if command else (_UNAVAILABLE, [])
        if separator:
            head = f"{name}: {' '.join(arguments)}".rstrip() if arguments else f"{name}:"
            told = [f"{label}: {value}" if label else value for label, value in values]
            return separator.join([head, *told, f"RPRT {code}"]) + "\n"
        if code or not values:
            return f"RPRT {code}\n"
        return "".join(f"{value}\n" for _, value in values)

    def _set_cache(self, arguments: list[str]) -> tuple[int, list[tuple[str, str]]]:
        if not (arguments and arguments[0].isdigit()):
            return _INVALID, []
        self.cache_ms = int(arguments[0])
        return _OK, []

    def _set_freq(self, arguments: list[str]) -> tuple[int, list[tuple[str, str]]]:
        try:
            hz = round(float(arguments[-1]))
        except (IndexError, ValueError, OverflowError):
            return _INVALID, []
        return (_OK if self._bench.tune(hz) else _REFUSED), []

    def _set_mode(self, arguments: list[str]) -> tuple[int, list[tuple[str, str]]]:
        if len(arguments) < 1 or arguments[0] not in _MODES:
            return _INVALID, []
        try:
            width_hz = int(arguments[1]) if len(arguments) > 1 else 0
        except ValueError:
            return _INVALID, []
        self._bench.mode = arguments[0]
        if width_hz >= 0:  # -1 leaves the pass band alone, 0 is the mode's own
            self._bench.bandwidth_hz = width_hz or _MODES[arguments[0]]
        return _OK, []

    def _get_level(self, arguments: list[str]) -> tuple[int, list[tuple[str, str]]]:
        name = arguments[0] if arguments else ""
        if name == "STRENGTH":
            return _OK, [("", str(round(self._bench.strength_db())))]
        if name == "RAWSTR":
            return _OK, [("", str(round(self._bench.strength_db() + 60)))]
        if name == "?":
            return _OK, [("", " ".join(self.levels) + " RAWSTR STRENGTH ")]
        if name in self.levels:
            value = self.levels[name]
            whole = name in ("PREAMP", "ATT", "AGC")
            return _OK, [("", str(round(value)) if whole else f"{value:.6f}")]
        return _INVALID, []

    def _set_level(self, arguments: list[str]) -> tuple[int, list[tuple[str, str]]]:
        if arguments[:1] == ["?"]:
            return _OK, [("", " ".join(self.levels) + " ")]
        if len(arguments) < 2 or arguments[0] not in self.levels:
            return _INVALID, []
        name = arguments[0]
        try:
            value = float(arguments[1])
        except ValueError:
            return _INVALID, []
        if not math.isfinite(value):
            return _INVALID, []
        self.levels[name] = value
        if name == "ATT":
            self._bench.attenuator_db = round(value)
        elif name == "PREAMP":
            self._bench.preamplifier = value > 0
        elif name == "AGC":
            self._bench.slow_agc, self._bench.agc_off = value == _SLOW_AGC, value == 0
        elif name == "RF":
            self._bench.rf_gain = value
        return _OK, []

    def _get_func(self, arguments: list[str]) -> tuple[int, list[tuple[str, str]]]:
        if arguments[:1] == ["?"]:
            return _OK, [("", " ".join(self.functions) + " ")]
        if not arguments or arguments[0] not in self.functions:
            return _INVALID, []
        return _OK, [("", str(self.functions[arguments[0]]))]

    def _set_func(self, arguments: list[str]) -> tuple[int, list[tuple[str, str]]]:
        if arguments[:1] == ["?"]:
            return _OK, [("", " ".join(self.functions) + " ")]
        if len(arguments) < 2 or arguments[0] not in self.functions or arguments[1] not in ("0", "1"):
            return _INVALID, []
        self.functions[arguments[0]] = int(arguments[1])
        return _OK, []
