"""Relay boards that are a table of bytes: what to send for on and off, what to ask, and what the answers mean.

The table is a file in ``configs/dialects/boards``. Nothing but its bytes is ever sent, and none of them may key a
receiver's transmitter, should the board's link lead to one. No I/O here but reading that file.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError, model_validator

from drivers.data_files import DataFileError, mapping_of, text_of
from drivers.errors import BadReply, Refused
from drivers.protocols import keying

Text = Annotated[str, Field(min_length=1, max_length=64)]
Note = Annotated[str, Field(min_length=1, max_length=500)]


class Frozen(BaseModel):
    """A part of a board file: unchangeable, and without keys that nobody knows."""

    model_config = ConfigDict(frozen=True, extra="forbid")


class RelayTable(Frozen):
    """One relay: bytes that set it, that confirm it (if the board does), that ask it and that answer."""

    on: Text
    off: Text
    confirms_on: Text | None = None
    confirms_off: Text | None = None
    ask: Text | None = None
    stands_on: Text | None = None
    stands_off: Text | None = None

    @model_validator(mode="after")
    def _whole(self) -> "RelayTable":
        if (self.confirms_on is None) != (self.confirms_off is None):
            raise ValueError("confirms_on and confirms_off come together")
        if len({self.ask is None, self.stands_on is None, self.stands_off is None}) != 1:
            raise ValueError("ask, stands_on and stands_off come together")
        if self.on == self.off or (self.ask is not None and self.stands_on == self.stands_off):
            raise ValueError("on and off are the same bytes")
        return self


class StatesTable(Frozen):
    """One question for all relays, answered by whole bytes: a bit for each relay in `order`, lowest first."""

    ask: Text
    order: tuple[int | str, ...] = Field(min_length=1, max_length=64)


@dataclass(frozen=True, slots=True)
class TableGate:
    """Lets the requests of one board's table through."""

    allowed: frozenset[bytes]

    def __call__(self, request: bytes) -> None:
        if request not in self.allowed:
            raise Refused("relay board", f"{request[:40]!r} is not in its table.", "Nothing was sent.")


class LineShape(Frozen):
    """How the board's serial line is set unless the station file says otherwise."""

    baud: Annotated[int, Field(ge=50, le=4_000_000)] = 9600
    parity: Literal["none", "even", "odd"] = "none"
    stop_bits: Literal[1, 2] = 1


class BoardTable(Frozen):
    """A board file."""

    source: Note
    notation: Literal["hex", "text"]
    line: LineShape = LineShape()
    relays: dict[str, RelayTable] = Field(min_length=1, max_length=64)
    states: StatesTable | None = None

    @model_validator(mode="before")
    @classmethod
    def _relays_by_name(cls, content: object) -> object:
        if isinstance(content, Mapping) and isinstance(content.get("relays"), Mapping):
            return {**content, "relays": {str(name): row for name, row in content["relays"].items()}}
        return content

    @model_validator(mode="after")
    def _bytes_are_bytes(self) -> "BoardTable":
        for row in self.relays.values():
            for text in row.model_dump(exclude_none=True).values():
                self.to_bytes(text)
        if self.states is not None:
            self.to_bytes(self.states.ask)
            unknown = {str(relay) for relay in self.states.order} - set(self.relays)
            if unknown:
                raise ValueError(f"states.order names relays that are not in the table: {sorted(unknown)}")
        if told := keying.in_table(sorted(self.allowed()), text=self.notation == "text"):
            raise ValueError(f"no board may be told what could key a transmitter: {told}")
        return self

    def to_bytes(self, text: str) -> bytes:
        """The bytes that stand in the table; ValueError when it has no such bytes."""
        return bytes.fromhex(text) if self.notation == "hex" else text.encode("latin-1")

    def gate(self) -> "TableGate":
        """What lets this table's requests through and nothing else."""
        return TableGate(self.allowed())

    def allowed(self) -> frozenset[bytes]:
        """Every request that this table can send."""
        texts = [
            text for row in self.relays.values() for text in (row.on, row.off, row.ask) if text is not None
        ]
        if self.states is not None:
            texts.append(self.states.ask)
        return frozenset(self.to_bytes(text) for text in texts)


def one_of(answers: Mapping[bytes, bool], part: str, *, in_lines: bool) -> Callable[[bytes], bool | None]:
    """A reader that waits until one of `answers` is whole. `in_lines`: line ends around it do not matter."""

    def bare(text: bytes) -> bytes:
        return text.strip(b"\r\n") if in_lines else text

    def read(received: bytes) -> bool | None:
        for answer, state in answers.items():
            if bare(received) == bare(answer):
                return state
        if any(
            bare(answer).startswith(received.lstrip(b"\r\n") if in_lines else received) for answer in answers
        ):
            return None
        raise BadReply(part, f"it answered {received[:40]!r}, which its table does not know.")

    return read


def bits(count: int, part: str) -> Callable[[bytes], tuple[bool, ...] | None]:
    """A reader for `count` states, lowest bit of the first byte first."""
    length = (count + 7) // 8

    def read(received: bytes) -> tuple[bool, ...] | None:
        if len(received) < length:
            return None
        if len(received) > length:
            raise BadReply(
                part, f"it answered {received[:40]!r}, {len(received)} bytes where {length} were due."
            )
        return tuple(bool(received[nth // 8] >> nth % 8 & 1) for nth in range(count))

    return read


def load(file: Path) -> BoardTable:
    """Read a board file; ValueError that names the file, the line, the key and what is wrong."""
    try:
        content = mapping_of(text_of(file))
    except FileNotFoundError:
        raise ValueError(f"there is no board file {file}") from None
    except DataFileError as fault:
        raise ValueError(f"{file}{f', line {fault.line}' if fault.line else ''}: {fault}") from None
    try:
        return BoardTable.model_validate(content)
    except ValidationError as faults:
        told = [
            f"{file}, line {_line(content, fault['loc'])}: {'.'.join(map(str, fault['loc']))}: {fault['msg']}"
            for fault in faults.errors()
        ]
        raise ValueError("\n".join(told)) from None


def _line(content: Any, place: tuple[int | str, ...]) -> int:
    line = 0
    for key in place:
        at = getattr(content, "lc", None)
        try:
            key = next(own for own in content if str(own) == str(key))
            line = at.key(key)[0] if at is not None else line
            content = content[key]
        except (StopIteration, KeyError, TypeError, AttributeError):
            break
    return line + 1
