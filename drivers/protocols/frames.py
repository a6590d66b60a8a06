"""Addressed binary frames: FE FE to from command … FD, several instruments on one wire. Pure.

Layout, OK (FB), no good (FA) and the jamming code (FC) as in the makers' published descriptions of the bus: a
sender hears its own frames, and one that hears others talk at the same time sends FC five times.
"""

from collections.abc import Iterator

from drivers.errors import BadReply

PREAMBLE, END = b"\xfe\xfe", b"\xfd"
OK, NOT_GOOD = b"\xfb", b"\xfa"
JAMMED = b"\xfc"
CONTROLLER = 0xE0
"""The address that controllers use unless told otherwise."""


def frame(to: int, body: bytes) -> bytes:
    """A whole frame from the controller to the instrument with address `to`."""
    return PREAMBLE + bytes((to, CONTROLLER)) + body + END


def bodies(received: bytes, address: int) -> Iterator[bytes]:
    """What the instrument with `address` said to the controller, in order; the rest of the bus is passed over.

    BadReply when the bus was jammed by a collision.
    """
    start = 0
    while end := received.find(END, start) + 1:
        whole = received[start:end]
        start = end
        if JAMMED in whole:
            raise _collision()
        head = whole.rfind(PREAMBLE)
        if head >= 0 and whole[head + 2 : head + 4] == bytes((CONTROLLER, address)):
            yield whole[head + 4 : -1]
    if JAMMED in received[start:]:
        raise _collision()


def _collision() -> BadReply:
    return BadReply("receiver", "two spoke at once on its bus.", "Is another program or a second set on it?")
