"""Messages with holes, the alphabet of dialect files: text or bytes with named fields, in both directions. Pure.

Text:   ``FA{hz:11};``        eleven decimal digits; ``{hz/10:4}`` counts in tens of hertz
        ``IF{_:26}{on:1}``    a field called ``_`` may hold anything; one with a name of its own is a symbol
        ``FREQ {hz:number}``  a decimal number of any length (``word``: anything up to a blank, comma or semicolon)
        Where one that comes as long as it likes ends, a blank, a comma or a semicolon has to stand.
Binary: ``05 {hz:bcd-low-5}`` five bytes of packed decimal, lowest pair first (``bcd-high-2``: highest pair first)
        ``06 {mode:1}``       a symbol of one byte, written in hexadecimal
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from typing import Literal

Kind = Literal["digits", "symbol", "any", "number", "word", "bcd-low", "bcd-high"]
Value = int | float | str

ENDS = (b" ", b",", b";")
NUMERIC = frozenset({"hz", "raw"})
"""Fields with these names are numbers; all others are symbols."""

MOST_FIELDS = 16
LONGEST = 256
_HOLE = re.compile(r"\{([a-z_]{1,20})(?:/([0-9]{1,7}))?:([a-z0-9-]{1,20})\}")
_SAFE = re.compile(r"[A-Za-z0-9-]{1,64}")
_NUMBER = rb"[+-]?(?:\d{1,18}(?:\.\d{0,18})?|\.\d{1,18})(?:[Ee][+-]?\d{1,2})?"


@dataclass(frozen=True, slots=True)
class Field:
    """A hole: `size` in characters or bytes (0: as long as it comes); numbers are divided by `unit` on the wire."""

    name: str
    kind: Kind
    size: int
    unit: int = 1


@dataclass(frozen=True)
class Template:
    """A message with fields. `binary` symbols are written as hexadecimal digits."""

    parts: tuple[bytes | Field, ...]
    binary: bool

    @cached_property
    def fields(self) -> tuple[Field, ...]:
        return tuple(part for part in self.parts if isinstance(part, Field))

    @cached_property
    def head(self) -> bytes:
        """The literal bytes in front of the first field."""
        return self.parts[0] if self.parts and isinstance(self.parts[0], bytes) else b""

    @cached_property
    def _pattern(self) -> re.Pattern[bytes]:
        return re.compile(b"".join(_pattern_of(part) for part in self.parts), re.DOTALL)

    def encode(self, values: Mapping[str, Value]) -> bytes:
        """The message with its fields filled in. ValueError when a value does not fit its field."""
        return b"".join(
            part if isinstance(part, bytes) else self._fill(part, values[part.name]) for part in self.parts
        )

    def decode(self, message: bytes) -> dict[str, Value] | None:
        """The fields' values; None when the message is not of this shape."""
        match = self._pattern.fullmatch(message)
        if match is None:
            return None
        values: dict[str, Value] = {}
        for field, content in zip(self.fields, match.groups(), strict=True):
            if field.kind != "any":
                values[field.name] = self._extract(field, content)
        return values

    def _fill(self, field: Field, value: Value) -> bytes:
        if field.kind in ("symbol", "word"):
            return _symbol(field, str(value), self.binary)
        if field.kind == "any":
            raise ValueError("a field called _ cannot be sent: nobody knows what to put there")
        try:
            count = round(float(value) / field.unit)
        except (TypeError, OverflowError):
            raise ValueError(f"{str(value)[:40]!r} is no number for {field.name}") from None
        if field.kind == "number":
            return str(count).encode()
        digits = f"{count:0{_digits(field)}d}"
        if count < 0 or len(digits) > _digits(field):
            raise ValueError(f"{value} does not fit the {_digits(field)} digits of {field.name}")
        if field.kind == "digits":
            return digits.encode()
        packed = bytes.fromhex(digits)
        return packed[::-1] if field.kind == "bcd-low" else packed

    def _extract(self, field: Field, content: bytes) -> Value:
        match field.kind:
            case "symbol" | "word":
                return content.hex().upper() if self.binary else content.decode("latin-1")
            case "bcd-low":
                return int(content[::-1].hex()) * field.unit
            case "bcd-high":
                return int(content.hex()) * field.unit
            case "digits":
                return int(content) * field.unit
            case _:
                return float(content) * field.unit


def parse(text: str, *, binary: bool) -> Template:
    """The template written as in this module's opening lines; ValueError says what is wrong with it."""
    if len(text) > LONGEST:
        raise ValueError(f"a message of more than {LONGEST} characters is none")
    parts: list[bytes | Field] = []
    at = 0
    for hole in _HOLE.finditer(text):
        _add_literal(parts, text[at : hole.start()], binary)
        parts.append(_field(hole[1], int(hole[2] or 1), hole[3], binary))
        at = hole.end()
    _add_literal(parts, text[at:], binary)
    template = Template(tuple(parts), binary)
    names = [field.name for field in template.fields if field.kind != "any"]
    if len(names) != len(set(names)):
        raise ValueError(f"{text!r} names a field twice")
    if not parts:
        raise ValueError("an empty message says nothing")
    if len(template.fields) > MOST_FIELDS:
        raise ValueError(f"a message has no more than {MOST_FIELDS} fields")
    for part, behind in pairwise(parts):
        # two that share a border would be tried at every border, and three at every pair of them
        if (
            isinstance(part, Field)
            and not part.size
            and not (isinstance(behind, bytes) and behind[:1] in ENDS)
        ):
            raise ValueError(
                f"{part.name}: behind a field of any length comes a blank, a comma or a semicolon"
            )
    return template


def _add_literal(parts: list[bytes | Field], text: str, binary: bool) -> None:
    if "{" in text or "}" in text:
        raise ValueError(f"{text!r} is no field; a field is {{name:size}}, such as {{hz:11}}")
    if binary:
        try:
            literal = bytes.fromhex(text)
        except ValueError as fault:
            raise ValueError(f"{text!r} is not hexadecimal; write bytes as 15 02") from fault
    elif text.isascii() and text.isprintable():
        literal = text.encode()
    else:
        raise ValueError(f"{text!r} holds characters that are not printable ASCII")
    if literal:
        parts.append(literal)


def _field(name: str, unit: int, spec: str, binary: bool) -> Field:
    if unit < 1:
        raise ValueError(f"{name}/{unit}: a unit is one or more hertz")
    if spec.isascii() and spec.isdigit():
        size = int(spec)
        if not 1 <= size <= 64:
            raise ValueError(f"a field of {size} cannot be; between 1 and 64")
        kind: Kind = "any" if name == "_" else "symbol" if binary or name not in NUMERIC else "digits"
        if binary and name in NUMERIC:
            raise ValueError(f"{name} in a binary message needs bcd-low-N or bcd-high-N")
        return Field(name, kind, size, unit)
    if not binary and spec in ("number", "word"):
        return Field(name, "number" if spec == "number" else "word", 0, unit)
    packed = re.fullmatch(r"bcd-(low|high)-([1-8])", spec)
    if binary and packed:
        return Field(name, "bcd-low" if packed[1] == "low" else "bcd-high", int(packed[2]), unit)
    raise ValueError(f"{spec!r} is no kind of field in a {'binary' if binary else 'text'} message")


def _pattern_of(part: bytes | Field) -> bytes:
    if isinstance(part, bytes):
        return re.escape(part)
    match part.kind:
        case "digits":
            return rb"(\d{%d})" % part.size
        case "bcd-low" | "bcd-high":
            decimal = "".join(f"\\x{tens:x}0-\\x{tens:x}9" for tens in range(10))
            return rb"([%s]{%d})" % (decimal.encode(), part.size)
        case "number":
            return rb"\s*(%s)\s*" % _NUMBER
        case "word":
            return rb"([!-+\--:<-~]{1,64})"  # printable, but no comma and no semicolon
        case _:
            return rb"(.{%d})" % part.size


def _digits(field: Field) -> int:
    return field.size if field.kind == "digits" else 2 * field.size


def _symbol(field: Field, text: str, binary: bool) -> bytes:
    if binary:
        content = bytes.fromhex(text)
        if any(byte >= 0xFA for byte in content):
            raise ValueError(f"{text!r} would break the frame")
    else:
        if not _SAFE.fullmatch(text):
            raise ValueError(f"{text[:40]!r} holds more than letters, digits and hyphens")
        content = text.encode()
    if field.size and len(content) != field.size:
        raise ValueError(f"{text!r} does not fill {field.name}, which takes {field.size}")
    return content
