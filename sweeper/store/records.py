"""What is stored beside readings and passes."""

from dataclasses import dataclass
from datetime import datetime

LONGEST_VALUE = 1_000_000
"""Bytes: no text in the database is longer than a note, a sentence or what a receiver remembers."""


@dataclass(frozen=True, slots=True)
class Note:
    """A person's remark at a time, such as the date of a fix."""

    time: datetime
    text: str
