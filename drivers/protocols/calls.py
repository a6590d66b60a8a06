"""From a dialect to bytes and back: one request and the reader of its reply, for each family of protocols. Pure.

ascii   a setting is sent together with its question, so that one round trip sets, reads back and shows a refusal
binary  frames carry addresses; what comes from elsewhere (an echo, a hand at the dial) is passed over
scpi    a setting is followed by ``*OPC?`` and by the error queue, in one message (IEEE 488.2)
"""

from collections.abc import Mapping
from dataclasses import dataclass

from drivers.contracts import Reader
from drivers.errors import BadReply, Refused
from drivers.protocols import frames, scpi
from drivers.protocols.dialect import Control, Dialect, Query
from drivers.protocols.template import Template, Value

PART = "receiver"
Values = dict[str, Value]


@dataclass(frozen=True, slots=True)
class Call:
    """A request and how its reply is read."""

    request: bytes
    read: Reader[Values]


def asking(dialect: Dialect, query: Query, address: int) -> Call:
    """The call that asks `query`."""
    message = query.ask.encode({})
    if dialect.family == "ascii":
        return Call(message, _ascii_reader(dialect, query))
    if dialect.family == "binary":
        return Call(frames.frame(address, message), _binary_reader(address, query.reply))
    return Call(message + b"\n", _scpi_reader(query.reply))


def greeting(dialect: Dialect, message: Template, address: int) -> bytes:
    """One of the dialect's greetings as it goes on the wire; nobody answers it."""
    body = message.encode({})
    if dialect.family == "binary":
        return frames.frame(address, body)
    return body + b"\n" if dialect.family == "scpi" else body


def together(first: Call, second: Call) -> Call:
    """Two questions of the ascii family in one round trip: their answers tell themselves apart by their verbs."""

    def read(received: bytes) -> Values | None:
        one, other = first.read(received), second.read(received)
        return None if one is None or other is None else one | other

    return Call(first.request + second.request, read)


def identifying(dialect: Dialect, query: Query, address: int) -> Call:
    """The call that asks who is there; BadReply when it is not what `query` expects."""
    call = asking(dialect, query, address)

    def read(received: bytes) -> Values | None:
        values = call.read(received)
        for field, expected in query.expect.items():
            if values is not None and values.get(field) != expected:
                raise BadReply(
                    PART,
                    f"it calls itself {values.get(field)!r}, a {dialect.receiver} says {expected!r}.",
                    "Is the dialect the right one?",
                )
        return values

    return Call(call.request, read)


def setting(dialect: Dialect, control: Control, values: Mapping[str, Value], address: int) -> Call:
    """The call that sets `control`; ascii returns what it then reads back, the others an empty reply."""
    if control.set is None:
        raise Refused(PART, "this dialect has no command for that.")
    try:
        message = control.set.encode(values)
    except (ValueError, KeyError) as fault:
        raise Refused(PART, f"{fault}.") from fault
    if dialect.family == "ascii":
        return Call(message + control.ask.encode({}), _ascii_reader(dialect, control))
    if dialect.family == "binary":
        return Call(frames.frame(address, message), _binary_reader(address, None))
    return Call(message + scpi.AND_THEN_REPORT, scpi.read_report)


def _ascii_reader(dialect: Dialect, query: Query) -> Reader[Values]:
    refusals = frozenset(text.encode() for text in dialect.refusals)
    again = frozenset(text.encode() for text in dialect.again)
    verb, reply = query.ask.head[:2], query.reply

    def read(received: bytes) -> Values | None:
        start = 0
        while end := received.find(b";", start) + 1:
            message = received[start:end].lstrip(b"\r\n ")
            start = end
            if (values := reply.decode(message)) is not None:
                return values
            if message in refusals:
                raise Refused(PART, f"it answered {message.decode()} to {query.ask.head.decode()}.")
            if message in again or message[:2] == verb:
                raise BadReply(PART, f"{message[:40]!r} is no answer to {query.ask.head.decode()}.")
        return None

    return read


def _binary_reader(address: int, reply: Template | None) -> Reader[Values]:
    def read(received: bytes) -> Values | None:
        for body in frames.bodies(received, address):
            if reply is None and body == frames.OK:
                return {}
            if body == frames.NOT_GOOD:
                raise Refused(PART, "it answered that the command is no good (FA).")
            if reply is not None:
                if (values := reply.decode(body)) is not None:
                    return values
                if body.startswith(reply.head):
                    raise BadReply(PART, f"the frame {body.hex(' ').upper()} has the wrong shape.")
        return None

    return read


def _scpi_reader(reply: Template) -> Reader[Values]:
    def read(received: bytes) -> Values | None:
        if not received.endswith(b"\n"):
            return None
        line = received.strip()
        if b"\n" in line:
            raise BadReply(PART, f"more than one line came back: {line[:60]!r}.")
        values = reply.decode(line)
        if values is None:
            raise BadReply(PART, f"{line[:60]!r} is not what was asked for.")
        return values

    return read
