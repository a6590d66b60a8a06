"""When the chain stood where: as somebody states it, as a file of marks says, or as the steps seen tell."""

import csv
import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from drivers.numbers import strict
from drivers.ordinary_files import text_of, why_not
from sweeper.ab.moments import Moment, Turning
from sweeper.errors import WrongInput
from sweeper.words import ANTENNA_BYPASS, ANTENNA_STAGE, SignalPath

MOST_BYTES = 10_000_000
"""A mark every half second for a week takes less."""

STATED = re.compile(r"^\s*every\s+([\d.]+)\s*(s|min)?(?:\s+from\s+([\d.]+)\s*(s|min)?)?\s*$", re.IGNORECASE)

REACTION_S = 0.3
"""From what a person does to what a person notes (common practice)."""


@dataclass(frozen=True, slots=True)
class Mark:
    """From `at_s` of the recording on the chain stood at `path`. `before_s`, `after_s`: what is left out beside that
    moment because it is not known better, or because the antenna may have been off while a hand switched.
    """

    at_s: float
    path: SignalPath
    before_s: float = 0.0
    after_s: float = 0.0


def route_path(first: str, nth: int) -> SignalPath:
    """The path of the `nth` dwell of a chain that goes to and fro, `first` (``bypass`` or ``stage``) being
    the 0th.
    """
    return (
        (ANTENNA_BYPASS if first == "bypass" else ANTENNA_STAGE)
        if nth % 2 == 0
        else (ANTENNA_STAGE if first == "bypass" else ANTENNA_BYPASS)
    )


def stated(text: str, first: str, seconds: float) -> list[Mark]:
    """``every 30 s from 12 s``: the chain moved at 12 s, 42 s, …; `first` held before. `WrongInput` if it
    says else.
    """
    found = STATED.match(text)
    if not found:
        raise WrongInput(f'--switched: {text!r} is not understood; say it like "every 30 s from 12 s".')
    try:
        period_s = float(found[1]) * (60.0 if found[2] == "min" else 1.0)
        from_s = period_s if found[3] is None else float(found[3]) * (60.0 if found[4] == "min" else 1.0)
    except ValueError:
        raise WrongInput(
            f'--switched: {text!r} is not understood; say it like "every 30 s from 12 s".'
        ) from None
    if period_s < 0.5:
        raise WrongInput(
            f"--switched: every {period_s:g} s is faster than edges can be told apart; 0.5 s is the least."
        )
    if from_s >= seconds:
        raise WrongInput(
            f"--switched: the first switch at {from_s:g} s lies outside the recording, which is {seconds:.1f} "
            f"s long."
        )
    marks, nth = [Mark(0.0, route_path(first, 0))], 1
    while from_s + (nth - 1) * period_s < seconds:
        marks.append(Mark(from_s + (nth - 1) * period_s, route_path(first, nth)))
        nth += 1
    return marks if from_s > 0 else marks[1:]


def read_marks(file: Path, seconds: float) -> list[Mark]:
    """``at_s,path`` in CSV. `WrongInput` for a file that is none, marks outside the recording or not
    alternating.
    """
    try:
        text = text_of(file, MOST_BYTES, "utf-8-sig")
        rows = [row for row in csv.reader(text.splitlines()) if row and not row[0].lstrip().startswith("#")]
    except OSError as fault:
        raise WrongInput(f"{file}: the marks cannot be read ({why_not(fault)}).") from fault
    except (UnicodeDecodeError, csv.Error) as fault:
        raise WrongInput(f"{file}: this is no text; marks are CSV with the columns at_s,path.") from fault
    if not rows or [cell.strip() for cell in rows[0][:2]] != ["at_s", "path"]:
        raise WrongInput(f"{file}: its first line should be at_s,path.")
    marks: list[Mark] = []
    for number, row in enumerate(rows[1:], start=2):
        try:
            at_s, path = strict(row[0]), SignalPath.parse(row[1].strip())
        except (ValueError, IndexError) as fault:
            why = str(fault) if len(row) > 1 else "a row is a time in seconds and a path"
            raise WrongInput(f"{file}, line {number}: {why}.") from fault
        if not 0.0 <= at_s < seconds:
            raise WrongInput(
                f"{file}, line {number}: {at_s:g} s lies outside the recording, which is {seconds:.1f} s long."
            )
        if marks and at_s <= marks[-1].at_s:
            raise WrongInput(f"{file}, line {number}: {at_s:g} s is not after {marks[-1].at_s:g} s.")
        if marks and path == marks[-1].path:
            raise WrongInput(
                f"{file}, line {number}: {path} again, so marks and switch cannot both be right; a mark is "
                f"missing."
            )
        unsure_s = 0.0 if at_s == 0.0 else unsure_of(row[0])
        marks.append(Mark(at_s, path, unsure_s, unsure_s))
    if len(marks) < 2:
        raise WrongInput(
            f"{file}: {len(marks)} mark is no switching; name every moment at which the path changed."
        )
    return marks


def unsure_of(written: str) -> float:
    """Seconds that a time may be off by as it is written: half of its last digit, and a hand's reaction where that is
    a tenth of a second or more, since nobody reads a clock so coarsely by a relay's own log.
    """
    text = written.strip()
    digits = len(text.partition(".")[2]) if text.replace(".", "", 1).isdigit() else 9
    return 0.5 * 10.0**-digits + (REACTION_S if digits < 2 else 0.0)


def seen_mark(mark: Mark, moment: Moment, margin_s: float, turned: Turning) -> Mark:
    """The mark where the noise was seen to step, what the turning of the switch itself does left out beside it."""
    before_s, after_s = turned.beside(moment.step_db > 0.0)
    return Mark(moment.at_s, mark.path, margin_s + before_s, margin_s + after_s)


def agree(marks: Sequence[Mark], seen_s: Sequence[float], within_s: float = 1.0) -> tuple[float, list[float]]:
    """Share of the steps seen that have a mark near them, and those that have none."""
    strangers = [at for at in seen_s if min(abs(at - mark.at_s) for mark in marks) > within_s]
    return 1.0 - len(strangers) / max(len(seen_s), 1), strangers
