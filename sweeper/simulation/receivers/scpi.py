"""A measuring receiver that takes SCPI: IEEE 488.2 messages, an error queue, a level in decibels over a microvolt.

Written from IEEE 488.2 (message exchange, status, common commands) and SCPI 1999.0 (headers, error numbers). The
header set is that of a monitoring receiver; there is no command that makes it send.
"""

import re
from collections import deque
from collections.abc import Callable

from sweeper.simulation.wires.command_log import CommandLog, Kind
from sweeper.simulation.wires.faults import Send
from sweeper.simulation.wires.wire import Feed
from sweeper.simulation.world.bench import Bench

IDENTITY = "SALTMARSH,EB200,0,1.0"
S9_DBUV = 33.98
"""50 microvolts in decibels over one microvolt."""
_NO_ERROR = '0,"No error"'
_ERRORS = {
    -102: "Syntax error",
    -104: "Data type error",
    -109: "Missing parameter",
    -113: "Undefined header",
    -222: "Data out of range",
    -224: "Illegal parameter value",
    -350: "Queue overflow",
}
_COMMAND_ERROR, _EXECUTION_ERROR, _QUERY_ERROR, _OPERATION_COMPLETE = 32, 16, 4, 1
_UNITS = {"": 1.0, "HZ": 1.0, "KHZ": 1e3, "MHZ": 1e6, "GHZ": 1e9}
_MODES = {"USB": "USB", "LSB": "LSB", "CW": "CW", "AM": "AM", "FM": "FM"}
_DEEPEST_QUEUE = 20
_LARGEST = 1e15
_LONGEST_LINE = 4096
_SETTINGS = {
    "[SENSe:]DETector[:FUNCtion]": "RMS",
    "[SENSe:]GCONtrol[:MODE]": "AUTO",
    "INPut:ATTenuation[:STATe]": "0",
    "INPut:ATTenuation:AUTO": "0",
    "OUTPut:SQUelch[:STATe]": "0",
    "OUTPut:SQUelch:THReshold": "-30",
    "MEASure:TIME": "DEF",
    "[SENSe:]FUNCtion[:ON]": '"VOLT:AC"',
}


def header(notation: str) -> re.Pattern[str]:
    """The pattern of a header in the standard's own notation: ``[SENSe:]FREQuency[:CW]``, short or long, any case."""

    def word(match: re.Match[str]) -> str:
        long = match.group(0)
        short = re.match(r"[A-Z]+", long)
        return f"(?:{long.upper()}|{short.group(0) if short else long})"

    pattern = re.sub(r"[A-Za-z]+", word, notation).replace("[", "(?:").replace("]", ")?")
    return re.compile(f":?{pattern}", re.IGNORECASE)


_FREQUENCY = header("[SENSe:]FREQuency[:CW]")
_BANDWIDTH = header("[SENSe:]BANDwidth[:RESolution]")
_DEMODULATION = header("[SENSe:]DEModulation")
_DATA = header("[SENSe:]DATA")
_ERROR = header("SYSTem:ERRor[:NEXT]")
_KEPT = {header(notation): notation for notation in _SETTINGS}


def allowed(line: bytes) -> bool:
    """Whether all units of a line are ones that a program which only listens may send."""
    return all(_unit_allowed(unit) for unit in line.decode("latin-1").split(";"))


def _unit_allowed(unit: str) -> bool:
    head = unit.strip().partition(" ")[0].rstrip("?")
    if head.startswith("*"):
        query = "?" in unit
        return head.upper() in (("*IDN", "*OPC", "*ESR", "*STB", "*OPT") if query else ("*CLS", "*OPC", ""))
    known = (_FREQUENCY, _BANDWIDTH, _DEMODULATION, _DATA, _ERROR, *_KEPT)
    return not head or any(pattern.fullmatch(head) for pattern in known)


def kind_of(line: bytes) -> Kind:
    """What the first unit of a line is about."""
    unit = line.decode("latin-1").split(";")[0].strip()
    head, query = unit.partition(" ")[0].rstrip("?"), "?" in unit
    if _FREQUENCY.fullmatch(head):
        return "dial" if query else "tune"
    if _DEMODULATION.fullmatch(head) or _BANDWIDTH.fullmatch(head):
        return "dial" if query else "mode"
    if _DATA.fullmatch(head):
        return "meter"
    return "setting" if any(pattern.fullmatch(head) for pattern in _KEPT) else "other"


class ScpiReceiver:
    """A measuring receiver on a bench."""

    def __init__(self, bench: Bench, *, ours: bool = True) -> None:
        self._bench = bench
        self.settings = dict(_SETTINGS)
        self._errors: deque[str] = deque()
        self._events = 0
        self.log = CommandLog("SCPI receiver", allowed, kind_of, ours=ours)
        self._queries: list[tuple[re.Pattern[str], Callable[[], str]]] = [
            (_FREQUENCY, lambda: str(bench.hz)),
            (_BANDWIDTH, lambda: str(bench.bandwidth_hz)),
            (_DEMODULATION, lambda: bench.mode),
            (_DATA, lambda: f"{bench.level_db() + S9_DBUV:.1f}"),
            (_ERROR, lambda: self._errors.popleft() if self._errors else _NO_ERROR),
        ]

    def session(self, send: Send) -> Feed:
        """One message buffer, ended by new lines."""
        kept = b""

        def feed(data: bytes) -> None:
            nonlocal kept
            *lines, kept = (kept + data).split(b"\n")
            kept = kept[-_LONGEST_LINE:]
            for line in lines:
                line = line.strip()
                if not line:
                    continue
                self.log.note(line)
                replies = [
                    reply for unit in line.split(b";") if (reply := self.answer(unit.decode("latin-1")))
                ]
                if replies:
                    send(";".join(replies).encode("latin-1") + b"\n")

        return feed

    def answer(self, unit: str) -> str:
        """The reply to one message unit; empty for a command, and for a question that it does not know."""
        head, _, parameter = unit.strip().partition(" ")
        if head.endswith("?"):
            return self._ask(head[:-1])
        if head:
            self._do(head, parameter.strip())
        return ""

    def _ask(self, head: str) -> str:
        answers: dict[str, Callable[[], str]] = {
            "*IDN": lambda: IDENTITY,
            "*OPC": lambda: "1",
            "*ESR": self._event_status,
            "*STB": lambda: str((4 if self._errors else 0) | (32 if self._events else 0)),
            "*OPT": lambda: "0",
        }
        common = answers.get(head.upper())
        if common is not None:
            return common()
        for pattern, reply in self._queries:
            if pattern.fullmatch(head):
                return reply()
        for pattern, notation in _KEPT.items():
            if pattern.fullmatch(head):
                return self.settings[notation]
        self._fail(-113, _COMMAND_ERROR)
        return ""

    def _event_status(self) -> str:
        events, self._events = self._events, 0
        return str(events)

    def _do(self, head: str, parameter: str) -> None:
        if head.upper() == "*CLS":
            self._errors.clear()
            self._events = 0
        elif head.upper() == "*OPC":
            self._events |= _OPERATION_COMPLETE
        elif _FREQUENCY.fullmatch(head):
            hz = self._number(parameter)
            if hz is not None and not self._bench.tune(round(hz)):
                self._fail(-222, _EXECUTION_ERROR)
        elif _BANDWIDTH.fullmatch(head):
            hz = self._number(parameter)
            if hz is not None and 100 <= hz <= 100_000:
                self._bench.bandwidth_hz = round(hz)
            elif hz is not None:
                self._fail(-222, _EXECUTION_ERROR)
        elif _DEMODULATION.fullmatch(head):
            if parameter.upper() in _MODES:
                self._bench.mode = _MODES[parameter.upper()]
            else:
                self._fail(-224 if parameter else -109, _EXECUTION_ERROR if parameter else _COMMAND_ERROR)
        else:
            self._keep(head, parameter)

    def _keep(self, head: str, parameter: str) -> None:
        for pattern, notation in _KEPT.items():
            if pattern.fullmatch(head):
                if parameter:
                    value = {"ON": "1", "OFF": "0"}.get(parameter.upper(), parameter)
                    self.settings[notation] = value
                    if notation == "INPut:ATTenuation[:STATe]":
                        self._bench.attenuator_db = 20 if value == "1" else 0
                else:
                    self._fail(-109, _COMMAND_ERROR)
                return
        self._fail(-113, _COMMAND_ERROR)

    def _number(self, text: str) -> float | None:
        match = re.fullmatch(r"([+-]?[0-9.]+(?:[eE][+-]?[0-9]+)?) *([A-Za-z]*)", text)
        if match is None or match.group(2).upper() not in _UNITS:
            self._fail(-104 if text else -109, _COMMAND_ERROR)
            return None
        try:
            number = float(match.group(1)) * _UNITS[match.group(2).upper()]
        except ValueError:
            self._fail(-104, _COMMAND_ERROR)
            return None
        if abs(number) > _LARGEST:
            self._fail(-222, _EXECUTION_ERROR)
            return None
        return number

    def _fail(self, number: int, event: int) -> None:
        self._events |= event
        if len(self._errors) >= _DEEPEST_QUEUE:
            self._errors[-1] = f'-350,"{_ERRORS[-350]}"'
        else:
            self._errors.append(f'{number},"{_ERRORS[number]}"')
