"""Numbers as instruments and files write them: one strict form, and one bound for readings. Pure."""

import re

MOST_READING = 1000.0
"""Decibels beyond which no meter reads, whatever its zero; powers of them would be no numbers any more."""

_NUMBER = re.compile(r"[+-]?(?:[0-9]{1,18}(?:\.[0-9]{0,30})?|\.[0-9]{1,30})(?:[Ee][+-]?[0-9]{1,3})?")


def strict(text: str) -> float:
    """A decimal number, blanks around it allowed; ValueError for anything else that `float` would take.

    No ``nan`` or ``inf``, no underscores, no digits of other scripts, nothing above 18 digits.
    """
    bare = text.strip(" \t\r\n")
    if not _NUMBER.fullmatch(bare):
        raise ValueError(f"{text[:40]!r} is no number")
    return float(bare)


def is_reading(value: float) -> bool:
    """Whether a meter can read `value`: finite, and within `MOST_READING` either way."""
    return -MOST_READING <= value <= MOST_READING
