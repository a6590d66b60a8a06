"""One piece of advice for each band: its hours joined, what is still open, and what was left out. Words only.

What is said of a stage's worth comes from `claims`.
"""

from collections.abc import Sequence
from datetime import UTC, date, datetime
from zoneinfo import ZoneInfo

import polars as pl

from sweeper.analysis.findings.claims import of_hours, of_nights_to_come
from sweeper.analysis.findings.stretches import stretches
from sweeper.analysis.results import PeriodFinding
from sweeper.analysis.states import FAULTS, STATES
from sweeper.analysis.wording import clock_spans

TOLD_IN_ORDER = [
    *(STATES[state].words for state in ("in", "out", "same", "open")),
    *FAULTS.values(),
]


def advice(
    periods: Sequence[PeriodFinding],
    zone: str,
    on: datetime,
    worthwhile_db: float = 1.0,
    next_step: str = "",
    second: str = "",
    third: str = "",
) -> str:
    """The recommendation for a band in two sentences, a `third` when there is more than one season.

    First the hours, joined into stretches, each with its worth, and what is still open with what would settle it
    (`next_step`, a clause); then `second`, the rule by meter reading or what is wrong.
    """
    noon = [(12 - _ahead_h(zone, on) + nth) % 24 for nth in range(24)]
    parts = stretches(periods, worthwhile_db, noon)
    by_hour = {period.hour_utc: period for period in periods}
    said = []
    for words in sorted({part.words for part in parts}, key=TOLD_IN_ORDER.index):
        alike = [part for part in parts if part.words == words]
        chosen = [by_hour[hour] for part in alike for hour in part.hours_utc]
        hours = [period.hour_utc for period in chosen]
        where = "at all hours measured" if len(alike) == len(parts) else clock_spans(hours, zone, on)
        said.append(of_hours(words, alike, chosen, where, next_step))
    if ahead := of_nights_to_come(parts, worthwhile_db):
        waits = any(part.state == "open" for part in parts)
        said.append(ahead + (f" ({next_step})" if next_step and not waits else ""))
    text = "; ".join(said)
    return " ".join(part for part in (f"{text[0].upper()}{text[1:]}.", second, third) if part)


def _ahead_h(zone: str, on: datetime) -> int:
    """Whole hours by which the zone's clock is ahead of UTC on that day."""
    ahead = on.astimezone(ZoneInfo(zone)).utcoffset()
    return 0 if ahead is None else round(ahead.total_seconds() / 3600)


def midnight(day: date) -> datetime:
    """The day's first moment, UTC."""
    return datetime(day.year, day.month, day.day, tzinfo=UTC)


def nothing_usable(rows: pl.DataFrame) -> str:
    """What was left out and why, from those `rows` of summaries that are of one band and hold no usable pass."""
    if rows.is_empty():
        return "Nothing measured here yet."
    noise = rows.filter(pl.col("for") == "noise")
    if noise.is_empty():
        return "Only carriers were measured here: add a channel for: noise to this band."
    passes = int(noise["passes_seen"].sum())
    many = "1 pass over a channel was" if passes == 1 else f"{passes} passes over channels were"
    if noise["flags"].str.contains("mixed-bandwidth", literal=True).any():
        why = "within a pass the bandwidth changed, and noise in another bandwidth is another level"
    elif 2 * int(noise["occupied_passes"].sum()) > passes:
        why = "a signal sat in the noise channels; choose others that are empty"
    else:
        why = "none read the antenna both with and without the stage"
    return f"Nothing usable: {many} measured here and left out, because {why}."
