"""What a dialect file says: the commands of one receiver as data, checked when read. Pure; no file is opened here.

`parse` takes the text of a file in YAML and names line, key and mend for everything that is wrong with it. A
dialect cannot say anything that is not on the lists in `allowed`.
"""

from bisect import bisect_right
from collections.abc import Mapping
from itertools import pairwise
from statistics import median
from typing import Annotated, Any, Literal, Self

from pydantic import (
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    ValidationError,
    ValidationInfo,
    field_validator,
    model_validator,
)

from drivers.data_files import DataFileError, mapping_of
from drivers.errors import RigError
from drivers.protocols import allowed
from drivers.protocols.template import Template
from drivers.protocols.template import parse as parse_template

Family = Literal["ascii", "binary", "scpi"]


class DialectError(RigError):
    """A dialect file that cannot be used: every mistake with its line."""


def _template(text: Any, info: ValidationInfo) -> Any:
    if not isinstance(text, str):
        raise ValueError("a message is text; put it in quotes")
    return parse_template(text, binary=_family(info) == "binary")


def _ask(text: Any, info: ValidationInfo) -> Any:
    template = _template(text, info)
    allowed.check_ask(_family(info), template)
    return template


def _set(text: Any, info: ValidationInfo) -> Any:
    template = _template(text, info)
    allowed.check_set(_family(info), template)
    return template


def _greeting(text: Any, info: ValidationInfo) -> Any:
    template = _template(text, info)
    allowed.check_greeting(_family(info), template)
    return template


def _family(info: ValidationInfo) -> Family:
    family: Family = (info.context or {})["family"]
    return family


def _word(value: Any) -> Any:
    """YAML reads on, off and 020 as it likes; here they are words."""
    if isinstance(value, bool):
        return "on" if value else "off"
    return str(value) if isinstance(value, int) else value


Word = Annotated[str, BeforeValidator(_word)]
Ask = Annotated[Template, BeforeValidator(_ask)]
Reply = Annotated[Template, BeforeValidator(_template)]
Set = Annotated[Template, BeforeValidator(_set)]
Greeting = Annotated[Template, BeforeValidator(_greeting)]
Level = Annotated[float, Field(ge=-100_000, le=100_000)]
Plain = Annotated[str, Field(max_length=64, pattern=r"^[ -~]+$")]
Hertz = Annotated[int, Field(ge=0, le=1_000_000_000_000)]


def _filled(info: ValidationInfo, template: Template | None, values: Mapping[str, str]) -> None:
    """ValueError when a symbol of a table, put where it belongs, makes what must not be sent."""
    if template is not None:
        allowed.check_set(_family(info), template, values)


class _Frozen(BaseModel):
    model_config = ConfigDict(
        frozen=True, extra="forbid", arbitrary_types_allowed=True, allow_inf_nan=False, str_max_length=500
    )


class Query(_Frozen):
    """A question and the shape of its answer. `expect` is what a symbol of the answer has to be."""

    ask: Ask
    reply: Reply
    expect: Mapping[str, Word] = {}


class Control(Query):
    """Something that can be asked and set. `values` give the symbols on the wire their names for people."""

    set: Set | None = None
    values: Mapping[Word, Word] = {}

    @model_validator(mode="after")
    def _symbols_may_be_sent(self, info: ValidationInfo) -> Self:
        for field in self.set.fields if self.set else ():
            if field.name in ("mode", "value"):
                for symbol in self.values.values():
                    _filled(info, self.set, {field.name: symbol})
        return self

    def symbol(self, name: str) -> str:
        """What stands on the wire for a name; a name that is not in the table stands for itself."""
        return self.values.get(name, name)

    def name(self, symbol: str) -> str:
        """The name of what stands on the wire."""
        return next((name for name, other in self.values.items() if other == symbol), symbol)


class Setting(Control):
    """A setting that may move the meter. `measure`: what it is set to while measuring; without it, it stays."""

    label: str
    measure: Word | None = None

    @model_validator(mode="after")
    def _has_a_value(self) -> Self:
        if "value" not in {field.name for field in self.reply.fields}:
            raise ValueError("the reply of a setting needs a field {value:...}")
        if self.measure is not None and self.values and self.measure not in self.values:
            raise ValueError(f"measure: {self.measure} is not among its values ({', '.join(self.values)})")
        return self


class Bandwidth(_Frozen):
    """How the pass band is set: a number on the wire, or by mode a table of hertz to symbols.

    Without a `command` of its own, the symbol travels as ``{width:...}`` in the messages of the mode.
    """

    command: Control | None = None
    widths: Mapping[str, Mapping[int, Word]] = {}

    def symbol(self, mode: str, bandwidth_hz: int) -> str | None:
        """The symbol of the nearest pass band that the mode has; None where it has none to choose from."""
        table = self.widths.get(mode)
        return table[min(table, key=lambda hz: abs(hz - bandwidth_hz))] if table else None

    def hz(self, mode: str, symbol: str) -> int | None:
        """The pass band in hertz that a symbol stands for in a mode."""
        table = self.widths.get(mode, {})
        return next((hz for hz, other in table.items() if other == symbol), None)


class Meter(Query):
    """The meter's question, and its table from the number on the wire to decibels: straight between points."""

    unit: Literal["dB-over-S9", "dBm", "raw"]
    table: tuple[tuple[Level, Level], ...] = ()
    offset: Level = 0.0

    @field_validator("table")
    @classmethod
    def _rising(cls, table: tuple[tuple[Level, Level], ...]) -> tuple[tuple[Level, Level], ...]:
        if len(table) == 1 or any(b[0] <= a[0] or b[1] <= a[1] for a, b in pairwise(table)):
            raise ValueError("the table needs two points or more, both columns rising")
        return table

    @property
    def step_db(self) -> float | None:
        """What one number on the wire is worth below S9 (the median), dB; None where there is no table."""
        steps = [
            (y1 - y0) / (x1 - x0)
            for (x0, y0), (x1, y1) in pairwise(self.table)
            if self.unit != "dB-over-S9" or y0 < 0
            for _ in range(round(x1 - x0))
        ]
        return median(steps) if steps else None

    def level(self, raw: float) -> float:
        """The reading in `unit` for the number on the wire; beyond the table's ends, its ends."""
        if not self.table:
            return raw + self.offset
        right = min(max(bisect_right(self.table, (raw, float("inf"))), 1), len(self.table) - 1)
        (x0, y0), (x1, y1) = self.table[right - 1], self.table[right]
        return y0 + (y1 - y0) * (min(max(raw, self.table[0][0]), self.table[-1][0]) - x0) / (x1 - x0)


class Line(_Frozen):
    """The shape of the receiver's serial line as it leaves the works."""

    baud: Annotated[int, Field(ge=50, le=4_000_000)] = 9600
    data_bits: Literal[7, 8] = 8
    parity: Literal["none", "even", "odd"] = "none"
    stop_bits: Literal[1, 2] = 1
    flow_control: Literal["none", "rts-cts", "xon-xoff"] = "none"


class Dialect(_Frozen):
    """One receiver's commands. `receive_only` says that there is no transmit state because nothing transmits."""

    receiver: str
    reference: str
    family: Family
    serial: Line = Line()
    range_hz: tuple[Hertz, Hertz]
    address: int | None = Field(default=None, ge=1, le=0xDF)
    refusals: tuple[Plain, ...] = ()
    again: tuple[Plain, ...] = ()
    greeting: tuple[Greeting, ...] = ()
    identify: Query | None = None
    frequency: Control
    mode: Control
    bandwidth: Bandwidth | None = None
    meter: Meter
    transmit: Query | None = None
    receive_only: bool = False
    settings: Mapping[str, Setting] = {}

    @model_validator(mode="after")
    def _whole(self, info: ValidationInfo) -> Self:
        for key, query, field in (
            ("frequency", self.frequency, "hz"),
            ("mode", self.mode, "mode"),
            ("meter", self.meter, "raw"),
            ("transmit", self.transmit, "on"),
        ):
            if query is not None and field not in {hole.name for hole in query.reply.fields}:
                raise ValueError(f"{key}: its reply needs a field {{{field}:...}}")
        if self.frequency.set is None or self.mode.set is None:
            raise ValueError(
                "frequency and mode need a set: a receiver that cannot be tuned measures nothing"
            )
        if self.transmit is not None and "on" not in self.transmit.expect:
            raise ValueError('transmit: needs expect: {on: "0"}, what the field is while it receives')
        if (
            self.bandwidth
            and not self.bandwidth.command
            and "width" not in {hole.name for hole in self.mode.set.fields}
        ):
            raise ValueError("bandwidth: needs a command, or a field {width:...} in the messages of the mode")
        if self.bandwidth:
            holder = self.bandwidth.command.set if self.bandwidth.command else self.mode.set
            for symbol in {width for table in self.bandwidth.widths.values() for width in table.values()}:
                _filled(info, holder, {"width": symbol})
        if self.family == "binary" and self.address is None:
            raise ValueError("a receiver on an addressed bus needs its address")
        return self


def parse(text: str, file: str) -> Dialect:
    """The dialect in `text`; DialectError with every mistake, its line and its key."""
    try:
        content = mapping_of(text)
    except DataFileError as fault:
        place = f"line {fault.line}: " if fault.line else ""
        raise DialectError(
            f"dialect {file}", f"{place}{fault}.", "Mend that first, or copy one that comes with the program."
        ) from fault
    family = content.get("family")
    if family not in ("ascii", "binary", "scpi"):
        raise DialectError(f"dialect {file}", "family must be ascii, binary or scpi.", "Say which it is.")
    try:
        return Dialect.model_validate(content, context={"family": family})
    except ValidationError as fault:
        mistakes = [
            f"line {_line(content, error['loc'])}: {'.'.join(map(str, error['loc'])) or 'the file'}: "
            f"{error['msg'].removeprefix('Value error, ')}"
            for error in fault.errors(include_url=False)
        ]
        raise DialectError(f"dialect {file}", "; ".join(mistakes) + ".") from fault


def _line(content: Any, place: tuple[int | str, ...]) -> int:
    """The line, from 1, of the deepest key on the way to `place` that the file has."""
    line = 1
    for key in place:
        places: Any = getattr(content, "lc", None)  # where ruamel.yaml keeps the lines of what it read
        try:
            line = (places.key if isinstance(content, dict) else places.item)(key)[0] + 1
            content = content[key]
        except (AttributeError, KeyError, IndexError, TypeError):
            break  # the rest of the way is not in the file
    return line
