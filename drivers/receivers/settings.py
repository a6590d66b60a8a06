"""Setting what moves a meter by itself to a known state, reading it back, and restoring it. Knows no protocol."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from drivers.errors import BadReply, LinkLost, LinkTimeout, Refused, RigError, Stuck, Unsupported

STEP = 0.02
"""Gains from 0 to 1 come back rounded to the receiver's own steps, 1 in 100 or finer (common practice)."""


@dataclass(frozen=True, slots=True)
class Setting:
    """One control of a receiver: its name for people, and how it is read and set (None: it cannot be)."""

    name: str
    read: Callable[[], Any] | None
    set: Callable[[Any], None] | None

    def value(self) -> Any:
        """What it stands at; None where the receiver does not tell."""
        if self.read is None:
            return None
        try:
            return self.read()
        except (Unsupported, Refused, BadReply):
            return None

    def bring_to(self, wanted: Any) -> bool:
        """Set it and read it back. False where it cannot be known to stand as wanted."""
        if _same(self.value(), wanted):
            return True
        if self.set is None:
            return False
        try:
            self.set(wanted)
        except (Unsupported, Refused, BadReply):
            return False
        return _same(self.value(), wanted)


def _same(standing: Any, wanted: Any) -> bool:
    if isinstance(standing, float) and isinstance(wanted, float | int):
        return abs(standing - wanted) <= STEP
    return bool(standing == wanted)


Step = tuple[str, Callable[[], bool | None]]
"""A name for people, and what restores it: False or a `RigError` where it could not."""


def dial_steps(
    remembered: Mapping[str, Any], set_mode: Callable[[Mapping[str, Any]], None], tune: Callable[[int], None]
) -> list[Step]:
    """Mode and dial, as far as `remembered` has a ``tuning``: first of all, for the listener's sake."""
    tuning = remembered.get("tuning")
    if not isinstance(tuning, Mapping):
        return []
    steps: list[Step] = [("mode", lambda: set_mode(tuning))]
    if "hz" in tuning:
        steps.append(("dial", lambda: tune(tuning["hz"])))
    return steps


DEAF_AFTER = 2
"""Steps that a receiver may leave unanswered before the rest is given up: each costs its whole deadline."""


def restore_all(part: str, steps: Sequence[Step]) -> None:
    """Every step in order, whatever became of those before it. `Stuck` names all that could not be restored."""
    left: list[str] = []
    faults: list[RigError] = []
    unanswered = 0
    for name, step in steps:
        if unanswered >= DEAF_AFTER:
            left.append(name)
            continue
        try:
            done = step() is not False
            unanswered = 0
        except RigError as fault:
            done = False
            faults.append(fault)
            unanswered = unanswered + 1 if isinstance(fault, LinkLost | LinkTimeout) else 0
        if not done:
            left.append(name)
    if left:
        because = f" {faults[0].what}" if faults else ""
        raise Stuck(part, f"could not restore: {', '.join(left)}.{because}", "Set it by hand.") from (
            faults[0] if faults else None
        )
