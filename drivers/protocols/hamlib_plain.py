"""The plain form of hamlib's network protocol, without I/O: for servers that know the extended one not at all.

A reply names neither its request nor its end: a value a line, in an order and a number that the request fixes, and
``RPRT`` with an error number where there is no value. So one request is under way at a time, and a reply with a line
too many is garbage. Reference: rigctld(1) of hamlib 4.5, "Protocol"; a list of capabilities, which has no fixed number
of lines, ends as hamlib's own client for such servers (model 2) reads it.
"""

import re
from collections.abc import Callable
from typing import TypeVar

from drivers.errors import BadReply, Unsupported
from drivers.protocols import allowed
from drivers.protocols.hamlib import COMMANDS, PART, WITH_VFO, Call, Lines, encoding, error, parsed

T = TypeVar("T")

VALUES: dict[str, tuple[str, ...]] = {
    "get_freq": ("Frequency",),
    "get_mode": ("Mode", "Passband"),
    "get_level": ("",),
    "get_func": ("",),
    "get_ptt": ("PTT",),
    "get_info": ("Info",),
    "get_cache": ("Timeout (msecs)",),
    "set_freq": (),
    "set_mode": (),
    "set_level": (),
    "set_func": (),
    "set_cache": (),
}
"""What each line of a reply is, as the extended form calls it; settings have none."""

_ON_ONE_LINE = re.compile(r"([A-Za-z0-9-]{1,20}) (-?[0-9]{1,6})")
"""Mode and pass band, as some programs write them."""
_CLOSING = re.compile(r"RPRT -?[0-9]{1,3}")
_PAIR_LISTS = 2
_LINES_BEHIND_LISTS = 12
"""Of a list of capabilities: offsets (3), announcements, preamplifiers, attenuators, and six masks of what it knows."""


def call(
    command: str,
    *words: str,
    parse: Callable[[Lines], T],
    vfo: str = "",
    closed: bool = False,
    unknown: str = "",
) -> Call[T]:
    """A call of one of `hamlib.COMMANDS`, its reply turned into a value by `parse` as that of the extended form is.

    `closed`: this server puts ``RPRT 0`` behind values as well. `unknown`: the first word of its answer to what it does
    not know, where that is no error number. Refused for whatever is not on the list in `allowed`.
    """
    addressed = (vfo, *words) if vfo and command in WITH_VFO else words
    line = " ".join((COMMANDS[command], *addressed))
    request = f"{line}\n".encode("utf-8", "backslashreplace")
    allowed.GATES["hamlib"](request)
    said = " ".join((command, *words))

    def read(received: bytes) -> T | None:
        lines = _whole_lines(said, received, unknown, encoding(command))
        if lines is None:
            return None
        if command == "dump_state":
            return parsed(said, lines, parse) if _state_is_whole(lines) else None
        return _value(command, said, lines, parse, closed)

    return Call(request, read)


def _whole_lines(said: str, received: bytes, unknown: str, text: str) -> list[str] | None:
    """The lines of a reply that ends with one; raises what an error number in place of a value says."""
    if not received.endswith(b"\n"):
        return None
    try:
        lines = [line.strip() for line in received.decode(text).split("\n")[:-1]]
    except UnicodeDecodeError as fault:
        raise BadReply(PART, f"the reply to {said} holds bytes that are no text.") from fault
    if _CLOSING.fullmatch(lines[0]) and lines[0] != "RPRT 0":
        if len(lines) > 1:
            raise BadReply(PART, f"more than one reply to {said} came back.")
        raise error(said, lines[0].removeprefix("RPRT ").encode("ascii"))
    if unknown and lines[0] != "RPRT 0" and lines[0].split()[:1] == [unknown]:
        raise Unsupported(PART, f"{said}: this server does not know it (it says {lines[0][:40]!r}).")
    return lines


def _value(command: str, said: str, lines: list[str], parse: Callable[[Lines], T], closed: bool) -> T | None:
    names = VALUES[command]
    if command == "get_mode" and (both := _ON_ONE_LINE.fullmatch(lines[0])):
        lines = [both[1], both[2], *lines[1:]]
    wanted = len(names) + (closed or not names)
    if len(lines) < wanted:
        if "RPRT 0" in lines:
            raise BadReply(PART, f"the reply to {said} ends before its value.")
        return None
    values, closing = lines[: len(names)], lines[len(names) :]
    if closing not in ([], ["RPRT 0"]):
        raise BadReply(PART, f"asked for {said}, {' / '.join(lines)[:60]!r} came back.")
    if "RPRT 0" in values:
        raise BadReply(PART, f"the reply to {said} ends before its value.")
    return parsed(said, [_named(name, value) for name, value in zip(names, values, strict=True)], parse)


def _named(name: str, value: str) -> str:
    return value if not name or value.startswith(f"{name}:") else f"{name}: {value}"


def is_closed(received: bytes) -> bool:
    """Whether a whole reply with a value has ``RPRT 0`` behind it."""
    return received.endswith((b"\nRPRT 0\n", b"\nRPRT 0\r\n"))


def _state_is_whole(lines: list[str]) -> bool:
    """Whether a list of capabilities has come to its end.

    Version, model and region; receive and transmit ranges, tuning steps and filters, each with zeros behind; twelve
    lines; from version 1 on more, until ``done``.
    """
    if lines[0] != "0":
        return lines[-1] == "done"
    at = 3
    for fields in (7, 7, *(2,) * _PAIR_LISTS):
        while at < len(lines) and set(lines[at].split()) != {"0"}:
            if len(lines[at].split()) != fields:
                raise BadReply(PART, "its list of capabilities is none of hamlib's.")
            at += 1
        at += 1
    return len(lines) >= at + _LINES_BEHIND_LISTS
