"""What a dialect may say, by family: the allow-lists that keep it from keying a transmitter. Pure.

Every message of a dialect file passes through here when the file is read; one that is not on the list makes the
file invalid. A message is one command: a second one cannot hide behind the first. Of everything that has to do
with transmitting, only reading whether it is on may be said.
"""

import re

from drivers.protocols.template import Field, Template

ASCII_SET = frozenset(
    {"AI", "BC", "BW", "FA", "FW", "GC", "GT", "MD", "NB", "NR", "NT", "PA", "RA", "RG", "SH", "SL", "SQ"}
)
ASCII_ASK = ASCII_SET | {"FB", "FR", "ID", "IF", "SM"}
"""Two-letter commands of the semicolon family. TX, TQ, KY, AC, PC, VX, FT, SWT, SWH and the like are not here."""

BINARY_ASK = (
    b"\x03", b"\x04", b"\x11", b"\x14\x02", b"\x14\x03", b"\x15\x02", b"\x16\x02", b"\x16\x12",
    b"\x16\x22", b"\x16\x40", b"\x16\x41", b"\x16\x48", b"\x16\x65", b"\x19\x00", b"\x1a\x03",
    b"\x1a\x04", b"\x1c\x00",
)  # fmt: skip
BINARY_SET = (
    b"\x05", b"\x06", b"\x11", b"\x14\x02", b"\x14\x03", b"\x16\x02", b"\x16\x12", b"\x16\x22",
    b"\x16\x40", b"\x16\x41", b"\x16\x48", b"\x16\x65", b"\x1a\x03", b"\x1a\x04",
)  # fmt: skip
"""Commands of the addressed family. 1C 00 reads whether it transmits, and would key it with a byte behind."""

SCPI_ASK = re.compile(
    r"\*(IDN|OPC|ESR|STB|OPT)\?"
    r"|:?SYST(em)?:ERR(or)?(:NEXT)?\?"
    r"|:?(SENS(e)?:)?(FREQ(uency)?(:CW|:FIX(ed)?|:CENT(er)?)?|BAND(width)?(:RES(olution)?)?|DEM(odulation)?"
    r"|DET(ector)?(:FUNC(tion)?)?|DATA|GCON(trol)?(:MODE)?|POW(er)?:ATT(enuation)?(:AUTO)?)\?( \"[A-Z:]+\")?"
    r"|:?INP(ut)?:(ATT(enuation)?(:STAT(e)?|:AUTO)?|GAIN(:STAT(e)?)?|PRE(amp)?)\?"
    r"|:?OUTP(ut)?:SQU(elch)?(:STAT(e)?|:THR(eshold)?)?\?"
    r"|:?(FETC(h)?|READ|MEAS(ure)?)(:[A-Z]+)*\?",
    re.IGNORECASE,
)
SCPI_SET = re.compile(
    r"\*CLS"
    r"|:?(SENS(e)?:)?(FREQ(uency)?(:CW|:FIX(ed)?|:CENT(er)?)?|BAND(width)?(:RES(olution)?)?|DEM(odulation)?"
    r"|DET(ector)?(:FUNC(tion)?)?|GCON(trol)?(:MODE)?|POW(er)?:ATT(enuation)?(:AUTO)?|FUNC(tion)?(:ON)?) .+"
    r"|:?INP(ut)?:(ATT(enuation)?(:STAT(e)?|:AUTO)?|GAIN(:STAT(e)?)?|PRE(amp)?) .+"
    r"|:?OUTP(ut)?:SQU(elch)?(:STAT(e)?|:THR(eshold)?)? .+",
    re.IGNORECASE,
)
"""Headers of the IEEE 488.2 family, in short and long form. No SOURce, no OUTPut but the squelch, no *RST."""


def check_ask(family: str, template: Template) -> None:
    """ValueError when `template` is not a question on the family's list."""
    if template.fields:
        raise ValueError("a question has no fields")
    message = template.encode({})
    match family:
        case "ascii":
            _one_ascii_command(template, ASCII_ASK)
            if len(message) > 4 or not (message[2:-1].isdigit() or message[2:-1] in (b"", b"H")):
                raise ValueError(f"{message.decode()!r} is longer than a question; that may set something")
        case "binary":
            if message not in BINARY_ASK:
                raise ValueError(f"{message.hex(' ').upper()} is no question that a dialect may ask")
        case _:
            _one_scpi_unit(template, SCPI_ASK)


def check_set(family: str, template: Template) -> None:
    """ValueError when `template` is not a setting on the family's list."""
    match family:
        case "ascii":
            _one_ascii_command(template, ASCII_SET)
        case "binary":
            if not any(template.head.startswith(command) for command in BINARY_SET):
                raise ValueError(f"{template.head.hex(' ').upper()} is no command that a dialect may send")
            if any(byte >= 0xFA for part in template.parts if isinstance(part, bytes) for byte in part):
                raise ValueError("bytes from FA up belong to the frame, not to a command")
        case _:
            _one_scpi_unit(template, SCPI_SET)


def _one_ascii_command(template: Template, allowed: frozenset[str]) -> None:
    text = b"".join(b"" if isinstance(part, Field) else part for part in template.parts)
    if text.count(b";") != 1 or not text.endswith(b";") or isinstance(template.parts[-1], Field):
        raise ValueError("a message is one command with one semicolon, at its end")
    verb = template.head[:2].decode("ascii")
    if verb not in allowed:
        raise ValueError(f"{verb!r} is not on the list of commands that a dialect may send")


def _one_scpi_unit(template: Template, allowed: re.Pattern[str]) -> None:
    text = b"".join(b"0" if isinstance(part, Field) else part for part in template.parts).decode("ascii")
    if ";" in text or "\n" in text:
        raise ValueError("a message is one command; no semicolon")
    if not allowed.fullmatch(text):
        raise ValueError(f"{text!r} is not on the list of commands that a dialect may send")
