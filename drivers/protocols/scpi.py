"""IEEE 488.2 messages as SCPI instruments use them: response data, the error queue, waiting for completion. Pure.

A program message that sets something is followed by ``*OPC?``, which answers 1 when it is done, and by
``:SYST:ERR?``, which takes the oldest entry out of the error queue: ``0,"No error"`` when it is empty (SCPI-99,
volume 2, chapter 21.8).
"""

from typing import Any

from drivers.errors import BadReply, Refused
from drivers.numbers import strict

PART = "receiver"
AND_THEN_REPORT = b";*OPC?;:SYST:ERR?\n"


def read_report(received: bytes) -> dict[str, Any] | None:
    """The answer to `AND_THEN_REPORT`: an empty reply when all is well, Refused with the instrument's words."""
    if not received.endswith(b"\n"):
        return None
    units = response_units(received)
    if len(units) == 1 and len(units[0]) == 2:
        raise _refusal(units[0])  # a command error throws the rest of the message away, *OPC? with it
    if len(units) != 2 or units[0] != ("1",) or len(units[1]) < 1:
        raise BadReply(PART, f"{received[:60]!r} is no answer to *OPC? and SYST:ERR?.")
    if _number(units[1][0]) != 0:
        raise _refusal(units[1])
    return {}


def _refusal(entry: tuple[str, ...]) -> Refused:
    return Refused(PART, f"it reports error {entry[0]}: {', '.join(entry[1:]) or 'no words'}.")


def _number(text: str) -> int:
    try:
        return int(strict(text))
    except ValueError as fault:
        raise BadReply(PART, f"{text[:40]!r} is no error number.") from fault


def response_units(received: bytes) -> tuple[tuple[str, ...], ...]:
    """A response message into units (between semicolons) of data elements (between commas), IEEE 488.2 §8.

    Strings lose their quotes, and a doubled quote within becomes one. A definite-length block (``#`` , the
    number of digits, the length, the bytes) becomes its bytes as latin-1 text. BadReply for anything unfinished.
    """
    text = received.decode("latin-1")
    if not text.endswith("\n"):
        raise BadReply(PART, "the message has no end.")
    units: list[tuple[str, ...]] = []
    elements: list[str] = []
    at, end = 0, len(text) - 1
    while True:
        element, at = _element(text, at, end)
        elements.append(element)
        if at >= end or text[at] == ";":
            units.append(tuple(elements))
            elements = []
        elif text[at] != ",":
            raise BadReply(PART, f"{text[at : at + 20]!r} follows where a comma or semicolon should be.")
        if at >= end:
            return tuple(units)
        at += 1


def _element(text: str, at: int, end: int) -> tuple[str, int]:
    while at < end and text[at] in " \t\r":
        at += 1
    if at < end and text[at] in "\"'":
        element, at = _string(text, at, end)
    elif at < end and text[at] == "#" and text[at + 1 : at + 2].isdecimal() and text[at + 1] != "0":
        element, at = _block(text, at, end)
    else:
        start = at
        while at < end and text[at] not in ",;\n":
            at += 1
        element = text[start:at].strip()
    while at < end and text[at] in " \t\r":
        at += 1
    return element, at


def _string(text: str, at: int, end: int) -> tuple[str, int]:
    quote, content = text[at], ""
    at += 1
    while True:
        close = text.find(quote, at, end)
        if close < 0:
            raise BadReply(PART, "a string in the reply has no end.")
        content += text[at:close]
        at = close + 1
        if at < end and text[at] == quote:
            content += quote
            at += 1
            continue
        return content, at


def _block(text: str, at: int, end: int) -> tuple[str, int]:
    digits = int(text[at + 1])
    length = text[at + 2 : at + 2 + digits]
    start = at + 2 + digits
    if not (length.isascii() and length.isdecimal()) or len(length) != digits or start + int(length) > end:
        raise BadReply(PART, "a block in the reply is shorter than it says.")
    return text[start : start + int(length)], start + int(length)
