"""Network control of receivers through hamlib, without I/O: requests to bytes, bytes to replies.

Requests use the extended form (a leading ``+``), whose reply repeats the command and ends with ``RPRT`` and an
error number, so that a reply that belongs to another request is noticed. Reference: the manual page rigctld(1)
of hamlib 4.5, sections "Protocol" and "Commands"; error numbers from hamlib's ``enum rig_errcode_e``.

What may be written at all is on the list of `drivers.protocols.allowed`. None of it keys a transmitter.
"""

import re
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass
from typing import Any, Generic, TypeVar

from drivers.contracts import Reader
from drivers.errors import BadReply, LinkLost, LinkTimeout, Refused, RigError, Unsupported
from drivers.numbers import is_reading, strict
from drivers.protocols import allowed

PART = "receiver"
T = TypeVar("T")
U = TypeVar("U")

COMMANDS = {
    "get_freq": "f",
    "set_freq": "F",
    "get_mode": "m",
    "set_mode": "M",
    "get_level": "l",
    "set_level": "L",
    "get_func": "u",
    "set_func": "U",
    "get_ptt": "t",
    "get_info": "_",
    "dump_caps": "\\dump_caps",
    "get_cache": "\\get_cache",
    "set_cache": "\\set_cache",
    "dump_state": "\\dump_state",
}
"""Every command this program sends: long name, as replies repeat it, and what is sent for it."""

WITH_VFO = frozenset(
    {
        "get_freq",
        "set_freq",
        "get_mode",
        "set_mode",
        "get_level",
        "set_level",
        "get_func",
        "set_func",
        "get_ptt",
    }
)
"""Commands that name a VFO first where rigctld was started with ``--vfo``."""

AGC = {"off": 0, "superfast": 1, "fast": 2, "slow": 3, "medium": 5, "auto": 6}
"""hamlib's ``enum agc_level_e``."""

_ERRORS: dict[int, tuple[type[RigError], str]] = {
    1: (Refused, "invalid parameter"),
    2: (Refused, "its configuration is wrong"),
    4: (Unsupported, "not implemented for this receiver"),
    5: (LinkTimeout, "the receiver did not answer hamlib in time"),
    6: (LinkLost, "hamlib lost its own link to the receiver"),
    8: (BadReply, "the receiver sent hamlib what its protocol does not allow"),
    9: (Refused, "the receiver rejected it"),
    11: (Unsupported, "this receiver has no such thing"),
    12: (Refused, "the VFO cannot be addressed"),
    13: (BadReply, "error on the receiver's bus"),
    14: (BadReply, "collision on the receiver's bus"),
    16: (Refused, "invalid VFO"),
    17: (Refused, "out of the receiver's range"),
    20: (Refused, "the receiver is switched off"),
}


@dataclass(frozen=True, slots=True)
class Call(Generic[T]):
    """A request and how its reply is read, down to the value it carries."""

    request: bytes
    read: Reader[T]


Lines = Sequence[str]
"""What stands in a reply between the repeated command and the error number."""


def call(command: str, *words: str, parse: Callable[[Lines], T], vfo: str = "") -> Call[T]:
    """A call of one of `COMMANDS`, its reply turned into a value by `parse`, which may raise BadReply.

    Refused for whatever is not on the list in `allowed`: the program must not be able to say it.
    """
    addressed = (vfo, *words) if vfo and command in WITH_VFO else words
    line = " ".join((COMMANDS[command], *addressed))
    request = f"+{line}\n".encode("utf-8", "backslashreplace")
    allowed.GATES["hamlib"](request)
    return Call(request, _reader(command, " ".join((command, *words)), parse))


CHECK_VFO = b"\\chk_vfo\n"
_VFO_ANSWER = re.compile(
    rb"(?:(?:chk_?vfo):?)? ?([01])\r?\n(?:RPRT 0\r?\n)?|RPRT -?[0-9]{1,3}\r?\n", re.IGNORECASE
)


def read_check_vfo(received: bytes) -> bool | None:
    """Whether every command must name a VFO (rigctld was started with ``--vfo``).

    A bare digit, or one behind a name as older versions and other programs write it; a program that refuses the
    question has no VFO to name. BadReply for anything else: noise, or another program's way not to know it.
    """
    if not received.endswith(b"\n"):
        return None
    answer = _VFO_ANSWER.fullmatch(received)
    if answer is None:
        raise BadReply(PART, f"{received[:40]!r} is no answer of rigctld.", "Is the link's port right?")
    return answer[1] == b"1"


EXTENDED = (("dump_state", b"+\\dump_state\n"), ("get_freq", b"+f\n"))
"""Two questions in the extended form; a server that knows it answers one of them in it. The first costs hamlib no look
at the receiver."""


def extended_reader(command: str) -> Reader[bool]:
    """Whether the reply to a question in the extended form is in that form, be it an error; BadReply for neither."""
    head = f"{command}:".encode("ascii")

    def read(received: bytes) -> bool | None:
        if not received.endswith(b"\n"):
            return None
        if received.startswith(head):
            return True if b"RPRT " in received.splitlines()[-1] else None
        if _PLAIN_ANSWER.match(received):
            return False
        raise BadReply(PART, f"asked for {command}, {received[:60]!r} came back.")

    return read


def unknown_word(received: bytes) -> str | None:
    """The first word with which a server that speaks the plain form only turns down a line in the extended one.

    Empty where it answers with an error number of hamlib's, or as if it had been asked in the plain form. Refused for a
    server that takes such a line letter by letter: it would read the letters of a level's name as commands, and one of
    them keys a transmitter.
    """
    if not received.endswith(b"\n"):
        return None
    if _LETTER_BY_LETTER.match(received):
        raise Refused(
            PART,
            "this server takes what it does not know letter by letter, and would read commands out of words.",
            "Nothing can be said to it safely; use hamlib's own rigctld.",
        )
    words = received.split(b"\n")[0].decode("latin-1").split()
    return "" if _PLAIN_ANSWER.match(received) or not words else words[0]


_LETTER_BY_LETTER = re.compile(rb"RPRT -?[0-9]{1,3}\r?\n[0-9.]{1,20}\r?\n")
_PLAIN_ANSWER = re.compile(rb"(?:RPRT -?[0-9]{1,3}|-?[0-9.]{1,20})\r?\n")


def _reader(command: str, said: str, parse: Callable[[Lines], T]) -> Reader[T]:
    head = f"{command}:".encode("ascii")

    def read(received: bytes) -> T | None:
        received = received.replace(b"\r\n", b"\n")  # as some programs end their lines
        if not (received.endswith(DONE) and received.startswith(head) and received.count(b"RPRT ") == 1):
            _unfinished(command, said, head, received)
            return None
        try:
            lines = received[: -len(DONE)].decode(encoding(command)).splitlines()[1:]
        except UnicodeDecodeError as fault:
            raise BadReply(PART, f"the reply to {command} holds bytes that are no text.") from fault
        return parsed(said, lines, parse)

    return read


def encoding(command: str) -> str:
    """Of a reply: only the names of receivers and their makers are more than figures and letters."""
    return "utf-8" if command in ("get_info", "dump_caps") else "ascii"


def parsed(said: str, lines: Lines, parse: Callable[[Lines], T]) -> T:
    """What `parse` makes of the lines; BadReply names the command that met with nonsense."""
    try:
        return parse(lines)
    except BadReply as fault:
        raise BadReply(PART, f"{said}: {fault.what}", fault.mend) from fault


DONE = b"RPRT 0\n"
"""How a reply ends when all went well. Some receivers' lists of levels have no line end of their own before it."""


def _unfinished(command: str, said: str, head: bytes, received: bytes) -> None:
    """Returns when more is to come; raises what the reply says or what is wrong with it."""
    if not received.startswith(head[: len(received)]):
        raise BadReply(PART, f"asked for {command}, {received[:60]!r} came back.")
    body, mark, code = received.rpartition(b"RPRT ")
    if mark and b"RPRT " in body:
        raise BadReply(PART, f"more than one reply to {command} came back.")
    if not mark or b"\n" not in code:
        return
    if code.count(b"\n") != 1 or not code.endswith(b"\n"):
        raise BadReply(PART, f"more than one reply to {command} came back.")
    raise error(said, code[:-1])


def both(first: Call[T], second: Call[U]) -> Call[tuple[T, U]]:
    """Two calls in one round trip: rigctld answers lines in the order in which they come."""

    def read(received: bytes) -> tuple[T, U] | None:
        received = received.replace(b"\r\n", b"\n")
        end = received.find(b"\n", max(received.find(b"RPRT "), 0)) + 1
        if end == len(received) and received.endswith(DONE):
            return None  # the first has come whole, the second is on its way
        one = first.read(received[:end] if end else received)
        if one is None:
            return None
        other = second.read(received[end:])
        return None if other is None else (one, other)

    return Call(first.request + second.request, read)


def error(said: str, code: bytes) -> RigError:
    """What an error number means. `said` is the command with its words, so that a person sees what was not taken.

    hamlib's own are negative. Programs that speak a part of its protocol answer 1 to whatever they do not take.
    """
    try:
        signed = int(strict(code.decode("latin-1")))
    except ValueError:
        return BadReply(PART, f"{code[:40]!r} ends the reply to {said}; that is no error number.")
    if signed > 0:
        return Refused(PART, f"{said}: not taken (answer {signed}).")
    number = abs(signed)
    kind, what = _ERRORS.get(number, (Refused, "refused"))
    return kind(PART, f"{said}: {what} (hamlib error {number}).")


def value(lines: Lines, name: str = "") -> str:
    """The one value of a reply: after ``name:`` where it has a name, else the bare line."""
    if not name and lines:
        return lines[0]
    for line in lines:
        if line.startswith(f"{name}:"):
            return line[len(name) + 1 :].strip()
    raise BadReply(PART, f"the reply {' / '.join(lines)!r} lacks {name or 'a value'}.")


def decimal(value: Any) -> str:
    """A number as it goes on the wire: no more than six decimals, no exponent. Refused for what is no number."""
    try:
        return f"{float(value):.6f}".rstrip("0").rstrip(".")
    except (TypeError, ValueError, OverflowError):
        raise Refused(PART, f"{str(value)[:40]!r} is no number to set anything to.") from None


def level(lines: Lines) -> float:
    """A level's value; some servers put its name in front."""
    return number(_unlabelled(value(lines)))


def _unlabelled(said: str) -> str:
    label, colon, behind = said.partition(":")
    return behind if colon and label.replace(" ", "").isalnum() else said


def strength(lines: Lines) -> float:
    """A reading of the meter; BadReply for one that no meter shows."""
    reading = level(lines)
    if not is_reading(reading):
        raise BadReply(PART, f"the meter read {reading:g}, which no meter shows.")
    return reading


def hz(lines: Lines) -> int:
    """The dial frequency, in hertz."""
    return round(number(value(lines, "Frequency")))


def mode(lines: Lines) -> tuple[str, int | None]:
    """Mode and pass band in hertz; None where the receiver does not tell one: 0, or -1 or nothing at some programs."""
    name, width = value(lines, "Mode"), value(lines, "Passband")
    if not _MODE.fullmatch(name):
        raise BadReply(PART, f"{name[:40]!r} is no mode.")
    width_hz = int(number(width)) if width else 0
    return name, width_hz if width_hz > 0 else None


_MODE = re.compile(allowed.WORD)
"""As it could be set again: programs have modes that hamlib does not know."""


def flag(name: str = "") -> Callable[[Lines], bool]:
    """Whether something is on: 0 is off; hamlib numbers the ways of being on."""

    def parse(lines: Lines) -> bool:
        return number(_unlabelled(value(lines, name))) != 0

    return parse


def cache_ms(lines: Lines) -> float:
    """For how long hamlib answers from memory instead of asking the receiver, in milliseconds."""
    return number(value(lines, "Timeout (msecs)"))


def info(lines: Lines) -> str:
    """What the receiver says it is."""
    return value(lines, "Info")


def model(lines: Lines) -> str:
    """Maker and model as hamlib itself calls the receiver it was started for, from ``dump_caps``."""
    return f"{value(lines, 'Mfg name')} {value(lines, 'Model name')}"


def model_number(lines: Lines) -> int:
    """hamlib's number of the model that it was started for, from ``dump_caps``."""
    return int(number(value(lines, "Caps dump for model")))


def ptt_type(lines: Lines) -> int | None:
    """How hamlib asks whether a transmitter is keyed, from ``dump_state``: 0: not at all, None: untold."""
    for line in lines:
        if line.startswith("ptt_type=0x"):
            with suppress(ValueError):
                return int(line.removeprefix("ptt_type="), 16)
    return None


def nothing(lines: Lines) -> bool:
    """The reply to a setting holds no value; True says that it came."""
    return not lines


def number(text: str) -> float:
    """A finite number; BadReply otherwise."""
    try:
        result = strict(text)
    except ValueError as fault:
        raise BadReply(PART, f"{text[:40]!r} is no number.") from fault
    if not -1e15 < result < 1e15:
        raise BadReply(PART, f"{text[:40]!r} is no number a receiver has.")
    return result


def names(lines: Lines) -> frozenset[str]:
    """The names that a ``?`` request lists; BadReply for a number, with which some programs answer any such request."""
    words = frozenset(" ".join(lines).split())
    if words and not any(word[0].isalpha() for word in words):
        raise BadReply(PART, f"{' '.join(lines)[:40]!r} is no list of names.")
    return words


Range = tuple[int, int]


def span_hz(ranges_hz: list[Range]) -> Range | None:
    """Lowest and highest frequency of some ranges, in hertz; None when there are none."""
    if not ranges_hz:
        return None
    return min(start_hz for start_hz, _ in ranges_hz), max(end_hz for _, end_hz in ranges_hz)


def ranges_hz(lines: Lines) -> tuple[list[Range], list[Range]]:
    """Receive and transmit ranges (start, end) in hertz, from ``dump_state``.

    From the fourth line on, one range a line (start, end, modes, lowest and highest power, VFOs, antennas);
    zeros end the receive ranges, and zeros again the transmit ranges.
    """
    lists: tuple[list[Range], list[Range]] = ([], [])
    which = 0
    for line in lines[3:]:
        fields = line.split()
        if len(fields) != 7:
            break
        start_hz, end_hz = int(number(fields[0])), int(number(fields[1]))
        if start_hz == end_hz == 0:
            which += 1
            if which == 2:
                break
        elif start_hz < end_hz:
            lists[which].append((start_hz, end_hz))
    return lists
