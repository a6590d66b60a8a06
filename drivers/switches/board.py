"""Relay boards that take bytes from a table, over a serial line or TCP. See `drivers.protocols.relay_bytes`."""

from collections.abc import Callable, Mapping

from pydantic import PrivateAttr, model_validator

from drivers.config_files import board_names, dialect_file
from drivers.contracts import Driver
from drivers.links import GatedLink, LinkOptions, open_link
from drivers.protocols.relay_bytes import BoardTable, bits, load, one_of
from drivers.switches.relays import RelayOptions, Relays, Setting, answering


class BoardOptions(LinkOptions, RelayOptions):
    """The switch section of a station file with ``driver: board``; `dialect` is a board's table, or a file."""

    dialect: str
    _table: BoardTable = PrivateAttr()

    @model_validator(mode="after")
    def _table_knows_the_relays(self) -> "BoardOptions":
        own_file = self.dialect.endswith((".yaml", ".yml"))
        file = dialect_file(self.dialect if own_file else f"boards/{self.dialect}")
        if not own_file and not file.is_file():
            raise ValueError(
                f"there is no board dialect {self.dialect!r}; there are {', '.join(board_names())}, or name a file"
            )
        self._table = load(file)
        unknown = sorted(
            {relay for setting in self.paths.values() for relay in setting} - set(self._table.relays)
        )
        if unknown:
            raise ValueError(f"{file} has no relay {unknown[0]!r}; it has {', '.join(self._table.relays)}")
        return self

    @property
    def table(self) -> BoardTable:
        return self._table

    def line(self) -> LinkOptions:
        """The link's own options: the table's line, where the station file says nothing else."""
        said = {key: getattr(self, key) for key in self.model_fields_set & set(LinkOptions.model_fields)}
        return LinkOptions.model_validate(self._table.line.model_dump() | said)


class TableBoard:
    """A board and its table. A board that cannot be asked is remembered as it was last set by this program."""

    def __init__(self, options: BoardOptions, link: GatedLink, part: str) -> None:
        self._options = options
        self._table = options.table
        self._link = link
        self._part = part
        self._relays = sorted({relay for setting in options.paths.values() for relay in setting})
        self._set: dict[str, bool] = {}
        link.on_connect(self._set.clear)  # a board that came back may have lost its supply meanwhile

    def identify(self) -> str:
        can_be_asked = self._table.states or all(self._table.relays[relay].ask for relay in self._relays)
        return f"board {self._options.dialect} at {self._options.link}{'' if can_be_asked else ' (no read-back)'}"

    def read(self) -> Setting:
        to_bytes = self._table.to_bytes
        if (states := self._table.states) is not None:
            answer = self._link.exchange(to_bytes(states.ask), bits(len(states.order), self._part))
            return dict(zip(map(str, states.order), answer, strict=True))
        stands = {}
        for relay in self._relays:
            row = self._table.relays[relay]
            if row.ask is not None and row.stands_on is not None and row.stands_off is not None:
                answers = {to_bytes(row.stands_on): True, to_bytes(row.stands_off): False}
                stands[relay] = self._link.exchange(to_bytes(row.ask), self._one_of(answers))
            elif relay in self._set:
                stands[relay] = self._set[relay]
        return stands

    def write(self, relay: str, on: bool) -> None:
        row, to_bytes = self._table.relays[relay], self._table.to_bytes
        self._set.pop(relay, None)
        request = to_bytes(row.on if on else row.off)
        if row.confirms_on is not None and row.confirms_off is not None:
            confirmed = to_bytes(row.confirms_on if on else row.confirms_off)
            self._link.exchange(request, self._one_of({confirmed: on}))
        else:
            self._link.send(request)
        self._set[relay] = on

    def close(self) -> None:
        self._link.forget(self._set.clear)
        self._link.close()

    def _one_of(self, answers: Mapping[bytes, bool]) -> Callable[[bytes], bool | None]:
        return one_of(answers, self._part, in_lines=self._table.notation == "text")


def open_switch(options: BoardOptions) -> Relays:
    """A board that has answered, where it can; `RigError` when it does not."""
    part = f"relay board at {options.link}"
    link = open_link(options.line(), part, options.table.gate())
    return answering(part, TableBoard(options, link, part), options)


DRIVER = Driver(kind="switch", name="board", options=BoardOptions, open=open_switch)
