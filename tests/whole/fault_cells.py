"""The cells of the fault matrix: every fault that a wire can have, at every moment of every instrument.

The receiver's own stage is an instrument of its own: stage and meter share one wire.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from sweeper.simulation.wires.faults import WireFaults
from tests.whole.faulty_station import BOARDS, CHANNELS_HZ, OWN_STAGES, READINGS, RECEIVERS, TUNINGS

RECEIVER_MOMENTS: dict[str, Any] = {
    "greeting": ("dial", 1),
    "tuning": ("tune", 3),
    "settling": (("tune", 1), ("dial", 1)),
    "reading": ("meter", 3),
    "switching": ("transmit", 2),
    "switching while tuned": (("meter", len(CHANNELS_HZ) * READINGS), ("transmit", 1)),
    "restoring": ("tune", TUNINGS + 1),
    "between passes": None,
}
"""The nth command of a kind, counted in a pass, or from another such command on. Before each change of path the
transmitter is asked about; the second path begins where the first one ended, so the dial stays. After the tunings of
the visits comes one for the way back. Between passes: the first reply of the next one is hit."""

SWITCH_MOMENTS = {
    "pulling in": ("write", 1),
    "letting go": ("write", 2),
    "reading back": ("read", 4),
    "between passes": None,
}
"""The relay pulls in while the receiver stays on a channel. Letting go is the way back to rest."""

OWN_STAGE_MOMENTS = {
    "pulling in": (("meter", 2 * READINGS), ("setting", 4)),
    "letting go": (("meter", 6 * READINGS), ("setting", 4)),
    "reading back": (("meter", 2 * READINGS), ("setting", 5)),
    "between passes": None,
}
"""After the readings through one path the setting is asked for three times, set, and asked for again."""

TELL_THEMSELVES = ("text-line", "mqtt")
"""Boards that are not asked: their answers come with the orders, or by themselves."""

SHORT_S = 0.2
"""The deadline of the instrument whose reply gets lost. `late` is later than this, `delay` is not."""

PASSING: dict[str, Callable[[WireFaults], None]] = {
    "drop": lambda wire: wire.drop(),
    "delay": lambda wire: wire.delay(SHORT_S / 2),
    "late": lambda wire: wire.delay(SHORT_S * 1.3),
    "garble": lambda wire: wire.garble(),
    "split": lambda wire: wire.split(),
    "merge": lambda wire: wire.merge(),
    "noise": lambda wire: wire.noise(),
    "truncate": lambda wire: wire.truncate(),
    "close": lambda wire: wire.close(),
}
"""Faults of one reply, over by themselves: the pass is to be done all the same."""

LASTING: dict[str, tuple[Callable[[WireFaults], None], Callable[[WireFaults], None]]] = {
    "hang": (lambda wire: wire.hang(), lambda wire: wire.mend()),
    "unplug": (lambda wire: wire.unplug(), lambda wire: wire.plug()),
}
"""Faults that stay until somebody mends them."""

# Long where a second reply must come in time on a busy machine; short where none comes, or the first comes too late.
DEADLINES_S = dict.fromkeys(("drop", "merge", "truncate", "garble", "noise"), 6 * SHORT_S)
DEADLINES_S |= dict.fromkeys(("late", *LASTING), SHORT_S)
"""Faults that show as silence are waited out, so those deadlines are short; the others hold the usual one."""

_BARE = "its answers are bare bytes: one too many, or a bent one, is another answer"
_TOLD = "its states are told and not asked for: what is lost or bent does not come again within the deadline"
GIVES_UP = (
    dict.fromkeys([("one-byte", "late"), ("one-byte", "garble"), ("one-byte", "merge")], _BARE)
    | dict.fromkeys([("three-byte", "late"), ("three-byte", "merge")], _BARE)
    | dict.fromkeys(
        [("mqtt", fault) for fault in ("drop", "late", "garble", "merge", "noise", "truncate")], _TOLD
    )
)
"""Where one bent reply may cost the pass. Even then nothing of it is stored."""


@dataclass(frozen=True)
class Cell:
    """One fault at one moment; `part` says whose wire: ``receiver``, ``switch``, or ``own stage``, which are both."""

    part: str
    instrument: str
    fault: str
    moment: str

    def __str__(self) -> str:
        return f"{self.name}-{self.fault}-{self.moment}".replace(" ", "-")

    @property
    def name(self) -> str:
        """The instrument, in words."""
        return f"own stage of {self.instrument}" if self.part == "own stage" else self.instrument


def asks_about_transmitter(receiver: str) -> bool:
    return receiver not in (
        "scpi",
        "net-plain",
    )  # a measuring receiver has none; the other's program cannot tell


def wire_cells(faults: dict) -> list[Cell]:
    receivers = [
        Cell("receiver", receiver, fault, moment)
        for receiver in RECEIVERS
        for fault in faults
        for moment in RECEIVER_MOMENTS
        if not moment.startswith("switching") or asks_about_transmitter(receiver)
    ]
    boards = [
        Cell("switch", board, fault, moment)
        for board in BOARDS
        for fault in faults
        for moment in SWITCH_MOMENTS
        if moment != "reading back" or board not in TELL_THEMSELVES
    ]
    own = [
        Cell("own stage", receiver, fault, moment)
        for receiver in OWN_STAGES
        for fault in faults
        for moment in OWN_STAGE_MOMENTS
    ]
    return receivers + boards + own


STREAM_FAULTS = ("gone", "stalled", "garbled", "another rate", "all zero", "stands still", "clipped", "gap")
STREAM_MOMENTS = ("greeting", "tuning", "switching", "mid-visit", "last visit", "restoring", "between passes")
"""Moments of a server that sends samples all the time: its first command, the first tuning, a relay that moves, the
middle of the first stay with the stage in, the middle of the last stay, the way back to rest."""


def stream_cells() -> list[Cell]:
    return [Cell("samples", "iq-tcp", fault, moment) for fault in STREAM_FAULTS for moment in STREAM_MOMENTS]
