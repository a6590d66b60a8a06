"""Relays that are set one by one and read back: what every board has in common, whatever it speaks.

No protocol and no link may come in here; a board is whatever reads and writes single relays.

Order of moves. Between two paths the relays pass through states that are neither. Three things could meet
that must not: two sources (an antenna and a calibrated noise source would radiate the noise and spoil the
calibration), a source and the output of an amplifying stage (it may oscillate), and anything with a relay
that refuses to let go. So relays first let go, are read back, and only then others pull in: every state on
the way is a subset of the relays that are energised in the old path or in the new one, never a mixture of
both. A relay that has not let go stops the move before anything else pulls in. A relay that lets go needs
some milliseconds, longer than one pulls in when a diode sits across its coil (common practice), so `break_s`
lies between. With everything let go a well wired box stands at antenna-bypass; see docs/relay-wiring.md.
"""

from collections.abc import Mapping
from typing import Annotated, Protocol

from pydantic import BaseModel, ConfigDict, Field, model_validator

from drivers.errors import RelaySticks, RigError, Unsupported
from drivers.waiting import pause

Setting = Mapping[str, bool]


class RelayOptions(BaseModel):
    """What the station file says of any board: the relays of each path, and the pause between break and make.

    The keys of a path's mapping name the relays as the board does; True pulls in. YAML 1.2 reads ``on`` and
    ``off`` as words, so both words and booleans are taken.
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    paths: dict[str, dict[str, bool]] = Field(min_length=1)
    break_s: Annotated[float, Field(ge=0, le=10, allow_inf_nan=False)] = 0.02

    @model_validator(mode="before")
    @classmethod
    def _relays_named_by_number(cls, values: object) -> object:
        if isinstance(values, Mapping) and isinstance(values.get("paths"), Mapping):
            named = {
                path: {str(relay): state for relay, state in setting.items()}
                if isinstance(setting, Mapping)
                else setting
                for path, setting in values["paths"].items()
            }
            return {**values, "paths": named}
        return values

    @model_validator(mode="after")
    def _every_path_sets_every_relay(self) -> "RelayOptions":
        relays = {relay for setting in self.paths.values() for relay in setting}
        if not relays:
            raise ValueError("no path names a relay; give each path its relays, such as {0: on, 1: off}")
        for path, setting in self.paths.items():
            missing = sorted(relays - set(setting))
            if missing:
                raise ValueError(
                    f"path {path} does not say how {_relays(missing)} stand(s); other paths do, "
                    f"and a relay nobody sets stays where it was: add {missing[0]}: on or {missing[0]}: off"
                )
        return self

    def relays_of(self, path: str) -> frozenset[tuple[str, str]]:
        """The relays of a path with their states: (relay, ``on`` or ``off``)."""
        return frozenset((relay, _state(on)) for relay, on in self.paths[path].items())


class Board(Protocol):
    """One board's relays, by the names that the paths use. Every call may raise `RigError`."""

    def identify(self) -> str:
        """Who answers, in words."""
        ...

    def read(self) -> Setting:
        """How the relays stand, as the board tells it; without those that it cannot know."""
        ...

    def write(self, relay: str, on: bool) -> None:
        """Make one relay pull in or let go."""
        ...

    def close(self) -> None:
        """Let go of the link; never raises and moves no relay."""
        ...


class Relays:
    """A board seen as a switch: the `drivers.contracts.Switch` of every relay board."""

    def __init__(self, part: str, board: Board, options: RelayOptions) -> None:
        self._part = part
        self._board = board
        self._paths = options.paths
        self._break_s = options.break_s

    def identify(self) -> str:
        return self._board.identify()

    def select(self, path: str) -> int:
        """Let go, look, pull in, look. Relays that stand right are not written, so they do not wear."""
        wanted = self._wanted(path)
        breaks, makes = self._moves(wanted)
        self._let_go(breaks)
        if breaks and makes and self._break_s:
            pause(self._break_s, self._part)
        for relay in makes:
            self._board.write(relay, True)
        if makes:
            self._confirm(wanted)
        return len(breaks) + len(makes)

    def release(self, path: str) -> int:
        """The first half of `select` alone: what has to let go, read back. How many relays that were."""
        breaks, _ = self._moves(self._wanted(path))
        self._let_go(breaks)
        return len(breaks)

    def selected(self) -> str | None:
        stands = self._board.read()
        for path, setting in self._paths.items():
            if all(stands.get(relay) is on for relay, on in setting.items()):
                return path
        return None

    def close(self) -> None:
        self._board.close()

    def _wanted(self, path: str) -> Setting:
        wanted = self._paths.get(path)
        if wanted is None:
            raise Unsupported(
                self._part,
                f"it has no path {path}.",
                f"It has {', '.join(self._paths)}; add {path} to the switch section's paths.",
            )
        return wanted

    def _moves(self, wanted: Setting) -> tuple[list[str], list[str]]:
        """The relays that have to let go, and those that have to pull in; one of unknown state counts as moving."""
        stands = self._board.read()
        moves = self._differing(wanted, stands)
        return [relay for relay in moves if not wanted[relay]], [relay for relay in moves if wanted[relay]]

    @staticmethod
    def _differing(wanted: Setting, stands: Setting) -> list[str]:
        return [relay for relay, on in wanted.items() if stands.get(relay) is not on]

    def _let_go(self, relays: list[str]) -> None:
        for relay in relays:
            self._board.write(relay, False)
        if relays:
            self._confirm(dict.fromkeys(relays, False))

    def _confirm(self, wanted: Setting) -> None:
        """Looks twice: relays with sense contacts need their time, and one bent answer welds no contact."""
        stands = self._board.read()
        if self._differing(wanted, stands):
            pause(self._break_s, self._part)
            stands = self._board.read()
        stuck = self._differing(wanted, stands)
        if stuck:
            relay = stuck[0]
            reads = _state(stands[relay]) if relay in stands else "as nothing at all"
            raise RelaySticks(
                self._part,
                f"{_relays(stuck)} was told to be {_state(wanted[relay])} and reads {reads}.",
                "Nothing is measured through a path that is not there. Look whether the contacts are welded, "
                "the coil has its supply and nothing else drives this board.",
            )


def _state(on: bool) -> str:
    return "on" if on else "off"


def _relays(names: list[str]) -> str:
    return ("relay " if len(names) == 1 else "relays ") + ", ".join(names)


def answering(part: str, board: Board, options: RelayOptions) -> Relays:
    """The board as a switch, after it has answered; when it does not, its link is closed and `RigError` raised."""
    try:
        board.read()
    except RigError:
        board.close()
        raise
    return Relays(part, board, options)
