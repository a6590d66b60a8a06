"""Setting what moves a meter by itself to a known state, and reading it back. Knows no protocol."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from drivers.errors import BadReply, Refused, Unsupported

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
