"""What can go wrong at the rig. Every driver, link and protocol raises these and nothing else."""

from typing import Literal


class RigError(Exception):
    """A fault at the rig, told to the person at the station: which part, what happened, what to do.

    `hand`: what does not come right by itself and needs somebody's hand, in a word; mostly empty.
    """

    hand: Literal["", "relay"] = ""

    def __init__(self, part: str, what: str, mend: str = "") -> None:
        super().__init__(f"{part}: {what}" + (f" {mend}" if mend else ""))
        self.part = part
        self.what = what
        self.mend = mend


class LinkLost(RigError):
    """The cable is out, the port is gone, the other end hung up or refuses the connection."""


class InUse(LinkLost):
    """Another program holds the port. No fault: the pass gives way to it."""


class LinkTimeout(RigError):
    """The other end did not answer within the deadline."""


class CalledOff(RigError):
    """Somebody ordered to stop while a driver waited. No fault, and never tried again."""


class BadReply(RigError):
    """The other end answered, but with something that the protocol does not allow."""


class Refused(RigError):
    """The other end understood and said no."""


class Stuck(RigError):
    """What was set does not read back: a relay that sticks, a dial that does not move."""


class RelaySticks(Stuck):
    """A relay that does not stand as it was told to."""

    hand = "relay"


class Transmitting(RigError):
    """The receiver says that its transmitter is on: nothing may be switched or measured."""


class Unsupported(RigError):
    """This receiver or board cannot do that at all."""
