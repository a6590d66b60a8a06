"""What can go wrong with stored data."""

from dataclasses import dataclass
from typing import Literal

from sweeper.errors import UserFacingError, WrongInput


class StoreError(UserFacingError):
    """Data cannot be written or read: what happened to which file, what it means, what to do."""


@dataclass(frozen=True, slots=True)
class Unclear:
    """What a table leaves open and one word of a person would settle: the field of `Asked` that is missing.

    `example`: what stands in the table; `meaning` and `headers`: which column is sought, and among which.
    """

    field: Literal["timezone", "dates", "frequency", "level", "columns"]
    example: str = ""
    meaning: str = ""
    headers: tuple[str, ...] = ()


class DiskError(StoreError):
    """The disk, its permissions or the folder stand in the way: nothing can be stored until somebody sees to it."""

    hand = "disk"


class BadRows(WrongInput):
    """A file of readings that is refused whole, with every bad line named; `unclear`: what might be asked about it."""

    def __init__(self, sentence: str, unclear: Unclear | None = None) -> None:
        super().__init__(sentence)
        self.unclear = unclear
