"""What the daemon is doing, as one word, and the one table that says which word it is."""

from collections.abc import Callable
from typing import Literal

Doing = Literal["starting", "waiting", "measuring", "paused", "yielding", "stopping"]

TABLE: tuple[tuple[Doing, bool, bool | None, bool | None, bool | None], ...] = (
    # state      stopping paused  due    in use
    ("stopping", True, None, None, None),
    ("paused", False, True, None, None),
    ("waiting", False, False, False, None),
    ("yielding", False, False, True, True),
    ("measuring", False, False, True, False),
)
"""After its start the daemon is in the state of the one row that fits; None fits either."""


def state_of(stopping: bool, paused: bool, due: bool, in_use: Callable[[], bool]) -> Doing:
    """The state: `stopping` when it is to end, `paused` by a person, `due` when a pass is due.

    `in_use`, whether somebody uses the receiver, is asked only where the answer matters: it opens the receiver.
    """
    facts = (stopping, paused, due)
    told: list[bool] = []  # asked once: a hand may come to the dial between two questions
    for doing, *wanted, used in TABLE:
        if not all(want in (None, fact) for want, fact in zip(wanted, facts, strict=True)):
            continue
        if used is not None and not told:
            told.append(in_use())
        if used is None or used == told[0]:
            return doing
    raise AssertionError(f"no state for {facts}")
