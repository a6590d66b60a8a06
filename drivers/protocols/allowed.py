"""What may be said to a receiver, by family of protocols: the gates that every byte to one passes. Pure.

A gate looks at finished bytes, as they would go on the wire, and knows each command by name and each of its arguments
by its form: a number, one word, one digit. What is not on the lists cannot be said, whoever asks: a station file, a
dialect file, a state remembered from before a crash, or a mistake in the program. Of everything that has to do with
transmitting, only reading whether it is on may be said. `GATES` has one gate a family; a new family brings its own.

Dialect files pass through here when they are read as well (`check_ask`, `check_set`), so that a mistake is told with
its line.
"""

import re
from collections.abc import Callable, Iterable, Mapping

from drivers.errors import Refused
from drivers.protocols import frames
from drivers.protocols.template import Field, Template, Value

PART = "receiver"
LONGEST = 128
"""Bytes in one request: more than any of these protocols needs."""

WHOLE = r"[0-9]{1,11}"
NUMBER = r"-?[0-9]{1,9}(\.[0-9]{1,6})?"
WORD = r"[A-Za-z0-9-]{1,20}"

HAMLIB_LEVELS = ("PREAMP", "ATT", "AGC", "RF", "SQL")
HAMLIB_METERS = ("STRENGTH", "RAWSTR")
HAMLIB_FUNCTIONS = ("NB", "NB2", "NR", "ANF", "MN", "APF")
_VFO = r"( currVFO)?"
HAMLIB = (
    rf"[fmt]{_VFO}",
    rf"F{_VFO} {WHOLE}",
    rf"M{_VFO} {WORD} {WHOLE}",
    rf"[lLuU]{_VFO} \?",
    rf"l{_VFO} ({'|'.join((*HAMLIB_LEVELS, *HAMLIB_METERS))})",
    rf"L{_VFO} ({'|'.join(HAMLIB_LEVELS)}) {NUMBER}",
    rf"u{_VFO} ({'|'.join(HAMLIB_FUNCTIONS)})",
    rf"U{_VFO} ({'|'.join(HAMLIB_FUNCTIONS)}) [01]",
    r"_",
    r"\\(chk_vfo|dump_caps|dump_state|get_cache)",
    rf"\\set_cache {WHOLE}",
)
"""Lines of hamlib's network protocol, with or without the ``+`` of its extended form. No T, G, w, b, no \\send."""

ASCII_SET: Mapping[str, str] = {
    "AI": "0", "BC": "[0-9]{1,2}", "BW": "[0-9]{4}", "FA": "[0-9]{8,11}", "FW": "[0-9]{4}", "GC": "[0-9]",
    "GT": "[0-9]{2,4}", "MD": "[0-9A-F]{1,2}", "NB": "[0-9]{1,4}", "NR": "[0-9]{1,3}", "NT": "[0-9]{1,4}",
    "PA": "[0-9]{1,2}", "RA": "[0-9]{1,3}", "RG": "[0-9]{1,4}", "SH": "[0-9]{1,5}", "SL": "[0-9]{1,4}",
    "SQ": "[0-9]{1,4}",
}  # fmt: skip
_BARE = ("AI", "BW", "FA", "FB", "FR", "FW", "GC", "ID", "IF")
_WITH_A_DIGIT = ("BC", "GT", "MD", "NB", "NR", "NT", "PA", "RA", "RG", "SH", "SL", "SQ")
ASCII_ASK: Mapping[str, str] = (
    dict.fromkeys(_BARE, "") | dict.fromkeys(_WITH_A_DIGIT, "[0-9]?") | {"SM": "[0-9H]?"}
)
"""Two-letter commands of the semicolon family. TX, TQ, KY, AC, PC, VX, FT, SWT, SWH and the like are not here."""

BINARY: Mapping[bytes, frozenset[int]] = {
    b"\x03": frozenset({0}), b"\x04": frozenset({0}), b"\x05": frozenset({4, 5, 6}), b"\x06": frozenset({1, 2}),
    b"\x11": frozenset({0, 1}), b"\x14\x02": frozenset({0, 2}), b"\x14\x03": frozenset({0, 2}),
    b"\x15\x02": frozenset({0}), b"\x16\x02": frozenset({0, 1}), b"\x16\x12": frozenset({0, 1}),
    b"\x16\x22": frozenset({0, 1}), b"\x16\x40": frozenset({0, 1}), b"\x16\x41": frozenset({0, 1}),
    b"\x16\x48": frozenset({0, 1}), b"\x16\x65": frozenset({0, 1}), b"\x19\x00": frozenset({0}),
    b"\x1a\x03": frozenset({0, 1}), b"\x1a\x04": frozenset({0, 1}), b"\x1c\x00": frozenset({0}),
}  # fmt: skip
"""Commands of the addressed family, and how many bytes may follow each: packed decimal digits and nothing else.
None is a question. 1C 00 reads whether it transmits, and would key it with a byte behind."""

_HERTZ = r"(FREQ(uency)?(:CW|:FIX(ed)?|:CENT(er)?)?|BAND(width)?(:RES(olution)?)?)"
_SENSE = r"(DEM(odulation)?|DET(ector)?(:FUNC(tion)?)?|GCON(trol)?(:MODE)?|POW(er)?:ATT(enuation)?(:AUTO)?)"
_INPUT = r":?INP(ut)?:(ATT(enuation)?(:STAT(e)?|:AUTO)?|GAIN(:STAT(e)?)?|PRE(amp)?)"
_SQUELCH = r":?OUTP(ut)?:SQU(elch)?(:STAT(e)?|:THR(eshold)?)?"
SCPI_ASK = (
    r"\*(IDN|OPC|ESR|STB|OPT)\?|:?SYST(em)?:ERR(or)?(:NEXT)?\?"
    rf"|:?(SENS(e)?:)?({_HERTZ}|{_SENSE}|DATA)\?( \"[A-Z:]{{1,32}}\")?|{_INPUT}\?|{_SQUELCH}\?"
    r"|:?(FETC(h)?|READ|MEAS(ure)?)(:[A-Z]{1,16}){0,4}\?"
)
SCPI_SET = (
    rf"\*CLS|:?(SENS(e)?:)?{_HERTZ} {NUMBER}"
    rf"|(:?(SENS(e)?:)?{_SENSE}|{_INPUT}|{_SQUELCH}) ({NUMBER}|{WORD})"
    r"|:?(SENS(e)?:)?FUNC(tion)?(:ON)? \"[A-Z:]{1,32}\""
)
"""Units of the IEEE 488.2 family, in short and long form. No SOURce, no OUTPut but the squelch, no *RST."""

SAMPLES: Mapping[int, tuple[int, int]] = {
    0x01: (1, 3_000_000_000), 0x02: (8_000, 20_000_000), 0x03: (0, 1), 0x04: (-500, 2_000), 0x05: (-1_000, 1_000),
    0x08: (0, 1), 0x09: (0, 2),
}  # fmt: skip
"""Commands to a server of 8-bit samples over TCP, and their limits: frequency, rate, gain by hand, gain, ppm, digital
gain control, direct sampling. No test mode, no crystal's frequency, no stage of a tuner by itself."""
BIAS_TEE = 0x0E

GREETINGS: Mapping[str, frozenset[bytes]] = {
    "ascii": frozenset({b"AI0;"}),
    "binary": frozenset(),
    "scpi": frozenset({b"*CLS"}),
}
"""What may be sent before anybody has answered, when it is not yet known who listens."""


def _any_of(patterns: Iterable[str], flags: int = 0) -> re.Pattern[bytes]:
    return re.compile("|".join(f"(?:{each})" for each in patterns).encode("ascii"), flags)


_HAMLIB = _any_of(HAMLIB)
_ASCII_ASK = _any_of(f"{verb}{argument};" for verb, argument in ASCII_ASK.items())
_ASCII_SET = _any_of(f"{verb}{argument};" for verb, argument in ASCII_SET.items())
_SCPI_ASK = _any_of((SCPI_ASK,), re.IGNORECASE)
_SCPI_SET = _any_of((SCPI_SET,), re.IGNORECASE)
_SCPI_REPORT = b";*OPC?;:SYST:ERR?"


def hamlib(message: bytes) -> None:
    """One line or two of hamlib's network protocol."""
    *lines, rest = message.split(b"\n")
    if rest or not 1 <= len(lines) <= 2:
        raise _refused(message, "one line or two")
    for line in lines:
        if not _HAMLIB.fullmatch(line.removeprefix(b"+")):
            raise _refused(line, "a line of hamlib's on the list")


def ascii(message: bytes) -> None:
    """One command of the semicolon family, or a setting with its question, or two questions."""
    *commands, rest = message.split(b";")
    if rest or not 1 <= len(commands) <= 2:
        raise _refused(message, "one command or two, each with its semicolon")
    for command in commands:
        whole = command + b";"
        if not (_ASCII_ASK.fullmatch(whole) or _ASCII_SET.fullmatch(whole)):
            raise _refused(whole, "on the list of commands that a dialect may send")


def binary(message: bytes) -> None:
    """One frame of the addressed family, from the controller to one receiver."""
    address = message[2:3]
    body = message[4:-1]
    if not b"\x01" <= address <= b"\xdf" or message != frames.frame(address[0], body):
        raise _refused(message, "one frame from the controller to one receiver")
    _binary_body(body)


def scpi(message: bytes) -> None:
    """One unit of IEEE 488.2; a setting may be followed by the question whether it was taken."""
    if not message.endswith(b"\n"):
        raise _refused(message, "a whole line")
    unit = message[:-1].removesuffix(_SCPI_REPORT)
    if not (_SCPI_SET.fullmatch(unit) or (_SCPI_ASK.fullmatch(unit) and unit == message[:-1])):
        raise _refused(message, "on the list of commands that a dialect may send")


def samples(message: bytes) -> None:
    """One command to a server of 8-bit samples over TCP; never a voltage on the antenna's feed line."""
    limits = SAMPLES.get(message[0]) if len(message) == 5 else None
    number = int.from_bytes(message[1:], "big", signed=message[:1] in (b"\x04", b"\x05"))
    if limits is None or not limits[0] <= number <= limits[1]:
        raise _refused(message, "on the list of commands to a server of samples")


def samples_and_bias_tee(message: bytes) -> None:
    """The same, for a station whose file says ``bias_tee: true``."""
    if len(message) == 5 and message[0] == BIAS_TEE and message[1:] in (bytes(4), b"\0\0\0\1"):
        return
    samples(message)


def bounded(gate: Callable[[bytes], None]) -> Callable[[bytes], None]:
    """The same gate, which refuses what is longer than `LONGEST` without looking further."""

    def check(message: bytes) -> None:
        if len(message) > LONGEST:
            raise _refused(message[:40], f"{LONGEST} bytes or fewer")
        gate(message)

    return check


GATES: Mapping[str, Callable[[bytes], None]] = {
    "hamlib": bounded(hamlib),
    "ascii": bounded(ascii),
    "binary": bounded(binary),
    "scpi": bounded(scpi),
    "samples": bounded(samples),
    "samples and bias tee": bounded(samples_and_bias_tee),
}
"""By family: what looks at finished bytes and raises `Refused` for whatever is not on the family's lists."""


def check_ask(family: str, template: Template) -> None:
    """ValueError when `template` is not a question on the family's list."""
    if template.fields:
        raise ValueError("a question has no fields")
    message = template.encode({})
    known: object
    match family:
        case "ascii":
            known = _ASCII_ASK.fullmatch(message)
        case "binary":
            known = 0 in BINARY.get(message, frozenset())
        case _:
            known = _SCPI_ASK.fullmatch(message)
    if not known:
        raise ValueError(f"{_shown(message)} is no question that a dialect may ask")


def check_set(family: str, template: Template, values: Mapping[str, Value] | None = None) -> None:
    """ValueError when `template`, filled with `values` (with anything that fits, where they lack a field), is not a
    setting on the family's list."""
    if family != "binary":
        _verb_stands_first(family, template)
    filled = {field.name: sample(field, template.binary) for field in template.fields} | dict(values or {})
    message = template.encode(filled)
    try:
        match family:
            case "ascii":
                if not _ASCII_SET.fullmatch(message):
                    raise _refused(message, "on the list of commands that a dialect may send")
            case "binary":
                _binary_body(message)
                if message in BINARY and 0 in BINARY[message]:
                    raise _refused(message, "a setting; it only asks")
            case _:
                if not _SCPI_SET.fullmatch(message):
                    raise _refused(message, "on the list of commands that a dialect may send")
    except Refused as refused:
        raise ValueError(refused.what.removesuffix(".")) from None


def check_greeting(family: str, template: Template) -> None:
    """ValueError when `template` is not one of the few messages that may be sent to whoever is there."""
    known = GREETINGS[family]
    if template.fields or template.encode({}) not in known:
        raise ValueError(
            "a greeting goes out before it is known who listens; it can only be "
            + (" or ".join(_shown(each) for each in sorted(known)) or "left out in this family")
        )


def sample(field: Field, in_binary: bool) -> Value:
    """A value that fits a field."""
    if field.kind in ("symbol", "word"):
        return "00" * field.size if in_binary else "0" * max(field.size, 1)
    return 0


def _verb_stands_first(family: str, template: Template) -> None:
    """A field may be an argument, never the command or a part of it."""
    end = 2 if family == "ascii" else template.head.find(b" ") + 1 or len(template.head)
    if template.fields and len(template.head) < max(end, 1):
        raise ValueError("a message begins with its command, not with a field")
    if family == "scpi" and template.fields and b" " not in template.head:
        raise ValueError("a command and its value have a blank between them")


def _binary_body(body: bytes) -> None:
    for length in (2, 1):
        command, digits = body[:length], body[length:]
        if command in BINARY and len(digits) in BINARY[command] and digits.hex().strip("0123456789") == "":
            return
    raise _refused(body, "on the list of commands that a dialect may send, with packed decimal digits behind")


def _shown(message: bytes) -> str:
    text = message.decode("latin-1")
    return repr(text) if text.isascii() and text.isprintable() else message.hex(" ").upper()


def _refused(message: bytes, what: str) -> Refused:
    return Refused(PART, f"{_shown(message)} is not {what}.", "Nothing was sent.")
