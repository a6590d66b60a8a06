"""Receivers behind programs that speak a part of hamlib's network protocol: the plain form, and few commands of it.

Many programs for software-defined receivers do. The kinds differ in what they know, in how they say that they do not,
and in whether their strength is in whole decibels over S9 or in tenths below full scale. Written from rigctld(1) of
hamlib 4.5 and from what such programs answer.
"""

from collections.abc import Mapping
from dataclasses import dataclass

from sweeper.simulation.receivers.network import NetworkReceiver, parse
from sweeper.simulation.wires.faults import Send
from sweeper.simulation.wires.wire import Feed
from sweeper.simulation.world.bench import Bench

_STATE = (
    "0", "2", "2",
    "30000 30000000 0x1ff -1 -1 0x10000003 0x1", "0 0 0 0 0 0 0", "0 0 0 0 0 0 0",
    "0x1ff 1", "0 0",
    "0xc 2400", "0 0",
    "0", "0", "0", "0", "", "",
    "0x0", "0x0", "0x0", "0x0", "0x0", "0x0",
)  # fmt: skip
"""The older list of capabilities, without a word at its end."""

_FULL_SCALE_DB = 60.0
"""S9 below full scale, for kinds whose strength is in decibels of full scale."""

_BASICS = frozenset({"get_freq", "set_freq", "get_mode", "set_mode", "get_vfo", "set_vfo", "get_split_vfo"})


@dataclass(frozen=True, slots=True)
class Part:
    """What a kind of program knows. `unknown` is its answer to anything else, nothing where it stays silent."""

    known: frozenset[str]
    levels: frozenset[str]
    chk_vfo: str
    unknown: str
    dump_state: bool = True
    full_scale: bool = False
    closed: bool = False


KINDS: Mapping[str, Part] = {
    "net-plain": Part(
        _BASICS | {"get_level", "set_level", "get_func", "set_func", "get_powerstat", "get_info"},
        frozenset({"STRENGTH", "SQL", "AF"}),
        "0",
        "RPRT 1",
        full_scale=True,
    ),
    "net-no-level": Part(_BASICS | {"get_powerstat"}, frozenset(), "CHKVFO 0", "RPRT 1"),
    "net-no-state": Part(
        _BASICS | {"get_level", "set_level", "get_ptt"},
        frozenset({"STRENGTH", "AGC", "RF"}),
        "RPRT -4",
        "RPRT -4",
        dump_state=False,
    ),
    "net-silent": Part(
        _BASICS | {"get_level", "get_ptt"},
        frozenset({"STRENGTH"}),
        "CHKVFO 0",
        "",
        dump_state=False,
        closed=True,
    ),
}
"""Kinds of programs, by the name under which they are served."""


class PartialReceiver:
    """A bench's receiver behind a program of one kind."""

    def __init__(self, bench: Bench, kind: str, *, ours: bool = True) -> None:
        self._bench = bench
        self._part = KINDS[kind]
        self._whole = NetworkReceiver(bench, ours=ours)
        self.log = self._whole.log
        self.levels = self._whole.levels
        self.functions = self._whole.functions

    def session(self, send: Send) -> Feed:
        """Answer one client, line by line."""
        kept = b""

        def feed(data: bytes) -> None:
            nonlocal kept
            *lines, kept = (kept + data).split(b"\n")
            for line in lines:
                if line.strip() and (answer := self.answer(line)):
                    send(answer.encode())

        return feed

    def answer(self, line: bytes) -> str:
        """The reply to one line; nothing where this kind stays silent."""
        part = self._part
        name, arguments, separator = parse(line.decode("latin-1"))
        if separator or not self._knows(name, arguments):
            self.log.note(line)
            return f"{part.unknown}\n" if part.unknown else ""
        if name == "chk_vfo":
            self.log.note(line)
            return f"{part.chk_vfo}\n"
        if name == "dump_state":
            self.log.note(line)
            return "\n".join(_STATE) + "\n"
        reply = self._whole.answer(line)
        if name == "get_level" and part.full_scale and arguments == ["STRENGTH"]:
            reply = f"{self._bench.level_db() - _FULL_SCALE_DB:.1f}\n"
        if reply.startswith("RPRT -"):
            return f"{part.unknown}\n" if part.unknown else "RPRT 1\n"
        return reply + "RPRT 0\n" if part.closed and not reply.startswith("RPRT") else reply

    def _knows(self, name: str, arguments: list[str]) -> bool:
        if name in ("chk_vfo", "dump_state"):
            return name == "chk_vfo" or self._part.dump_state
        if name not in self._part.known:
            return False
        if name in ("get_level", "set_level"):
            return bool(arguments) and arguments[0] in self._part.levels
        return not (name in ("get_func", "set_func") and arguments[:1] == ["?"])
