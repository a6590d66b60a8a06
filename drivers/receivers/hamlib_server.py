"""What one server of hamlib's network protocol knows: found out when it is greeted, since many speak only a part.

rigctld is silent at a command that it does not know; other programs answer with an error. Either way the command is not
asked again. A server that answers nothing at all is told from that at once.
"""

from collections.abc import Callable
from contextlib import suppress
from typing import TypeVar

from drivers.errors import BadReply, LinkTimeout, Refused, RigError, Unsupported
from drivers.links import GatedLink
from drivers.protocols import hamlib as wire
from drivers.protocols import hamlib_plain
from drivers.waiting import pause

T = TypeVar("T")

MEMORY_S = 0.6
"""hamlib answers from memory for half a second unless told otherwise (``set_cache`` in rigctld(1))."""

NOT_KNOWN = (Unsupported, Refused, BadReply)
"""How a server answers what it does not know."""


class HamlibServer:
    """A server behind a link, spoken to in the form that it knows. RigError when it answers nothing."""

    def __init__(self, link: GatedLink) -> None:
        self._link = link
        self._silent = False
        self._vfo = ""
        self._closed = False
        self._unknown = ""
        if self._looked(lambda: link.exchange(wire.CHECK_VFO, wire.read_check_vfo), BadReply):
            self._vfo = "currVFO"
        self.extended = any(self._answers_extended(*question) for question in wire.EXTENDED)
        if not self.extended:
            self._learn_plain()

    def call(self, command: str, *words: str, parse: Callable[[wire.Lines], T]) -> wire.Call[T]:
        """A call in the form that this server knows."""
        if self.extended:
            return wire.call(command, *words, parse=parse, vfo=self._vfo)
        return hamlib_plain.call(
            command, *words, parse=parse, vfo=self._vfo, closed=self._closed, unknown=self._unknown
        )

    def ask(self, call: wire.Call[T]) -> T:
        """What the server answers."""
        return self._link.exchange(call.request, call.read)

    def put(self, command: str, *words: str) -> None:
        """Set something."""
        self.ask(self.call(command, *words, parse=wire.nothing))

    def try_to_ask(self, call: wire.Call[T]) -> T | None:
        """What it answers; None where it does not know the question. For what the rest can do without.

        Once a question has met with silence, no other of this kind is asked: each would cost its whole deadline.
        """
        if self._silent:
            return None
        return self._looked(lambda: self.ask(call), *NOT_KNOWN)

    def tells_transmit(self) -> bool:
        """Whether it can tell that a transmitter is keyed.

        A rigctld that has no line to ask refuses get_ptt, and then answers it from an empty memory for a while. So
        where it describes itself as having none, only an answer that is older than its memory counts.
        """
        ptt = self.call("get_ptt", parse=wire.flag("PTT"))
        if not self.extended:
            return self._looked(lambda: self.ask(ptt), *NOT_KNOWN) is not None
        try:
            keyed_by = None
            with suppress(Unsupported, Refused):  # not all that speak so can describe themselves
                keyed_by = self.ask(self.call("dump_state", parse=wire.ptt_type))
            self.ask(ptt)
            if keyed_by == 0:
                pause(MEMORY_S, wire.PART)
                self.ask(ptt)
        except Unsupported:
            return False
        return True

    def has_meter(self, level: str) -> bool:
        """Whether it reads a level such as ``STRENGTH``."""
        call = self.call("get_level", level, parse=wire.strength)
        try:
            return self._looked(lambda: self.ask(call), Unsupported, Refused) is not None
        except BadReply:
            return True  # it is there, and what it reads is told when it counts

    def ranges_hz(self) -> tuple[list[wire.Range], list[wire.Range]] | None:
        """Receive and transmit ranges in hertz; None where it describes none."""
        call = self.call("dump_state", parse=wire.ranges_hz)
        return self.ask(call) if self.extended else self.try_to_ask(call)

    def _answers_extended(self, command: str, question: bytes) -> bool:
        question, read = self._with_vfo(command, question), wire.extended_reader(command)
        return bool(self._looked(lambda: self._link.exchange(question, read), BadReply))

    def _with_vfo(self, command: str, question: bytes) -> bytes:
        if self._vfo and command in wire.WITH_VFO:
            return question.replace(b"\n", f" {self._vfo}\n".encode("ascii"))
        return question

    def _learn_plain(self) -> None:
        """Whether it closes its replies, and how it turns down what it does not know.

        Whoever does not answer the plainest of questions is no such server.
        """
        call = hamlib_plain.call("get_freq", parse=wire.hz, vfo=self._vfo)

        def read(received: bytes) -> bool | None:
            return None if call.read(received) is None else hamlib_plain.is_closed(received)

        try:
            self._closed = self._link.exchange(call.request, read)
        except BadReply as fault:
            raise BadReply(wire.PART, fault.what, "Is the link's port that of a rigctld?") from fault
        if not self._silent:
            question = self._with_vfo(*wire.EXTENDED[1])
            self._unknown = self._looked(lambda: self._link.exchange(question, wire.unknown_word)) or ""

    def _looked(self, look: Callable[[], T], *not_known: type[RigError]) -> T | None:
        """What `look` finds; None for silence to this question from a server that does answer the plainest."""
        try:
            return look()
        except LinkTimeout:
            self._silent = True
            call = hamlib_plain.call("get_freq", parse=wire.hz, vfo=self._vfo)
            with suppress(Unsupported, Refused):
                self._link.exchange(call.request, call.read)
            return None
        except not_known:
            return None
