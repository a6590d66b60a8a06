"""What is still open, and how many nights it needs, from what is stored. A forecast: half of all take longer."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import polars as pl

from sweeper.analysis.band.cells import Cell
from sweeper.analysis.facts import StationFacts
from sweeper.analysis.statistics.group_sequential import FIRST_LOOK
from sweeper.analysis.thresholds import LITTLE_DB
from sweeper.analysis.verdict.judge import Judged
from sweeper.analysis.verdict.nights_needed import GAIN_SE_BY_LOAD_DB, aim, nights_needed
from sweeper.analysis.verdict.table import table_of

A_LONG_TIME = 30
"""Nights that somebody may be asked to wait."""
FEW_PASSES = 2
"""In an hour of a night; so few leave most of the uncertainty to chance within the hour."""


@dataclass(frozen=True, slots=True)
class Outlook:
    """What is still open on a band. `more_nights` None: not within a season; 0 when nothing is open.

    `with_load`: the nights that a load position would need instead, None where there is one or it would not help.
    `hours_withheld` have no verdict because something is wrong; waiting does not mend that, so they are not open.
    `early`: some hours have too few nights to say anything of others. `sentence`, a clause, is about the hours without
    a verdict; where there are none, about those whose verdict holds for the nights measured only.
    """

    band: str
    hours_open: tuple[int, ...]
    more_nights: int | None
    with_load: int | None
    sentence: str
    hours_withheld: tuple[int, ...] = ()
    early: bool = False
    can_be_settled: bool = True
    """Some hour without a verdict can have one within a season, or is visited too seldom for that to be told."""

    @property
    def decided(self) -> bool:
        """Every hour has its verdict, and not only about the nights measured."""
        return not self.hours_open and not self.early


def outlook(summaries: pl.DataFrame, facts: StationFacts) -> tuple[Outlook, ...]:
    """From what is stored: what is still open on each band, and the nights that it needs."""
    table = table_of(summaries, facts)
    return outlooks(table.cells, table.judged, table.gain_errors, facts)


def outlooks(
    cells: Sequence[Cell], judged: Sequence[Judged], gain_errors: Mapping[str, float], facts: StationFacts
) -> tuple[Outlook, ...]:
    """From what is stored: for each band the hours still open and the nights that the widest of them needs.

    `gain_errors`: standard error of the gain by band, dB.
    """
    found = []
    for band in dict.fromkeys(cell.band for cell in cells):
        here = [(cell, each) for cell, each in zip(cells, judged, strict=True) if cell.band == band]
        found.append(_outlook(band, here, gain_errors.get(band, 0.0), facts))
    return tuple(found)


def waits(cell: Cell, judged: Judged) -> bool:
    """Whether more nights are what the hour lacks: a verdict at all, or one that holds for other nights too."""
    return not judged.withheld and (judged.verdict == "undecided" or cell.about_these_nights_only)


def _outlook(
    band: str, here: Sequence[tuple[Cell, Judged]], gain_se_db: float, facts: StationFacts
) -> Outlook:
    waiting = [(cell, each) for cell, each in here if waits(cell, each)]
    hours = tuple(cell.hour_utc for cell, _ in waiting)
    withheld = tuple(cell.hour_utc for cell, each in here if each.withheld)
    early = any(cell.about_these_nights_only for cell, _ in here)
    if not waiting:
        mend = "more nights will not help before what is wrong is mended" if withheld else ""
        return Outlook(band, (), 0, None, mend, withheld, early)
    more = [more_nights(cell, gain_se_db, False, facts) for cell, _ in waiting]
    undecided = [place for place, (_, each) in enumerate(waiting) if each.verdict == "undecided"]
    spoken_of = [waiting[place] for place in undecided or range(len(waiting))]
    spoken_more = [more[place] for place in undecided or range(len(waiting))]
    with_load = None
    if all("no-load" in cell.flags for cell, _ in spoken_of):
        with_load = _most([more_nights(cell, gain_se_db, True, facts) for cell, _ in spoken_of])
        without = _most(spoken_more)
        if with_load is not None and without is not None and with_load > 0.6 * without:
            with_load = None
    sentence = _next_step(spoken_of, spoken_more, with_load, gain_se_db, facts)
    if not undecided:
        sentence += ", for other nights too"
    can_be_settled = any(
        each is not None or _seldom_visited(cell) for (cell, _), each in zip(waiting, more, strict=True)
    )
    return Outlook(band, hours, _most(more), with_load, sentence, withheld, early, can_be_settled)


def _most(nights: Sequence[int | None]) -> int | None:
    known = [each for each in nights if each is not None]
    return max(known) if len(known) == len(nights) and known else None


def more_nights(cell: Cell, gain_se_db: float, with_load: bool, facts: StationFacts) -> int | None:
    """More nights until the cell's verdict, if its value stays; None beyond `MOST_NIGHTS`.

    `with_load`: as if the gain were known from a load position.
    """
    change = cell.snr_change
    if change is None:
        return max(FIRST_LOOK - cell.nights, 1) if with_load or "no-gain-known" not in cell.flags else None
    nights = max(cell.nights, 1)
    of_night = cell.night_sd_db**2
    of_gain = GAIN_SE_BY_LOAD_DB**2 if with_load else gain_se_db**2 * nights

    def error(count: int) -> float:
        return float(
            np.sqrt(
                (of_night + (of_gain if not with_load else 0.0)) / count + (of_gain if with_load else 0.0)
            )
        )

    _, distance = aim(change.value, facts.worthwhile_db)
    needed = nights_needed(distance, error, 1.0 - facts.confidence, nights + 1)
    return None if needed is None else needed - nights


def _next_step(
    waiting: Sequence[tuple[Cell, Judged]],
    more: Sequence[int | None],
    with_load: int | None,
    gain_se_db: float,
    facts: StationFacts,
) -> str:
    """A clause: what would settle what is open, and what is not worth waiting for or cannot be waited for."""
    if with_load is not None:
        return f"a load position of the relay would settle it in about {_count(with_load)}"
    soon = [each for each in more if each is not None and each <= A_LONG_TIME]
    late = [pair for pair, each in zip(waiting, more, strict=True) if each is None or each > A_LONG_TIME]
    if not late:
        return f"about {_count(max(soon), 'more ')} should settle it"
    far = [cell for cell, each in late if not _hardly_matters(each, facts.worthwhile_db)]
    parts = [f"about {_count(max(soon), 'more ')} should settle part of it"] if soon else []
    if len(far) < len(late):
        what = "the rest is" if soon and not far else "part of it is" if soon or far else "it is"
        parts.append(f"{what} about {facts.worthwhile_db:g} dB: use either")
    if far:
        parts.append(
            f"{A_LONG_TIME} more nights will not settle {'the rest' if parts else 'it'}{_why(far, gain_se_db)}"
        )
    return "; ".join(parts)


def _hardly_matters(judged: Judged, worthwhile_db: float) -> bool:
    """Whether all that the change could be lies so near to an edge that a wrong choice costs little."""
    span = judged.snr_change_db
    return span is not None and any(
        edge - LITTLE_DB <= span.low and span.high <= edge + LITTLE_DB
        for edge in (worthwhile_db, -worthwhile_db)
    )


def _why(cells: Sequence[Cell], gain_se_db: float) -> str:
    """What keeps these hours from a verdict, and what to do about it where there is something."""
    because: list[str] = []
    few = [_seldom_visited(cell) for cell in cells]
    for cell, too_few in zip(cells, few, strict=True):
        if cell.snr_change is None:
            because.append("nothing tells the stage's gain there")
        elif not too_few and gain_se_db**2 * cell.nights > cell.night_sd_db**2:
            because.append("the stage's gain is not known well enough")
        elif not too_few:
            because.append("noise varies too much between nights")
    why = f", because {' and '.join(dict.fromkeys(because))}" if because else ""
    return why + (", but more passes at that time may" if any(few) else "")


def _seldom_visited(cell: Cell) -> bool:
    return cell.passes <= FEW_PASSES * cell.nights


def _count(nights: int, more: str = "") -> str:
    return f"{nights} {more}night" if nights == 1 else f"{nights} {more}nights"
