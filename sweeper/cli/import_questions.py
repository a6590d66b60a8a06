"""What a table leaves open, asked of whoever brings it in: one question each, in the words of the options."""

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import TypeVar
from zoneinfo import ZoneInfo

from sweeper.cli.asking import ask
from sweeper.store import Unclear
from sweeper.store.csv_in import Asked, FrequencyUnit, LevelUnit

W = TypeVar("W", bound=str)

FREQUENCIES: tuple[FrequencyUnit, ...] = ("Hz", "kHz", "MHz")
LEVELS: tuple[LevelUnit, ...] = ("S", "dB")
ENDED = "Nothing of the file was taken."


def answered(asked: Asked, unclear: Unclear) -> Asked:
    """What was said before, and the answer to what is unclear."""
    example = f" (it has {unclear.example})" if unclear.example else ""
    match unclear.field:
        case "timezone":
            question = f"Of which time zone are the times{example}? A place such as Europe/Copenhagen, or UTC"
            return replace(asked, timezone=ask(question, asked.station_zone, zone, ENDED))
        case "dates":
            question = f"What stands first in a date{example}: day or month?"
            order = ask(question, "", among(("day", "month")), ENDED)
            return replace(asked, dates="day-first" if order == "day" else "month-first")
        case "frequency":
            question = f"In which unit are the frequencies{example}? Hz, kHz or MHz"
            return replace(asked, frequency=ask(question, "", among(FREQUENCIES), ENDED))
        case "level":
            question = f"Are the readings S-units or decibels over S9{example}? S or dB"
            return replace(asked, level=ask(question, "", among(LEVELS), ENDED))
        case "columns":
            headers = ", ".join(unclear.headers)
            question = f"Which column is the {unclear.meaning}? One of {headers}"
            header = ask(question, "", among(unclear.headers), ENDED)
            return replace(asked, columns={**asked.columns, unclear.meaning: header})


def can_be_asked(asked: Asked, unclear: Unclear | None) -> bool:
    """Whether a question would help: not where it was answered before, or no column is left to be it."""
    if unclear is None:
        return False
    if unclear.field == "columns":
        return bool(unclear.headers) and unclear.meaning not in asked.columns
    return getattr(asked, unclear.field) is None


def zone(answer: str) -> ZoneInfo:
    """A zone of the IANA list."""
    try:
        return ZoneInfo(answer)
    except (KeyError, ValueError, OSError):
        raise ValueError(
            f"there is no time zone {answer!r}; write a place of the IANA list, such as Europe/Copenhagen, or UTC"
        ) from None


def among(words: Sequence[W]) -> Callable[[str], W]:
    """One of these, large or small letters alike."""

    def understood(answer: str) -> W:
        for word in words:
            if answer.casefold() == word.casefold():
                return word
        raise ValueError(f"{answer!r} is none of {', '.join(words)}")

    return understood
