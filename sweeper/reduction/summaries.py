"""Summaries of all days of a store: those that are kept, and those of new or changed days, which are read."""

from __future__ import annotations

import os
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from contextlib import suppress
from datetime import date
from multiprocessing import get_context
from pathlib import Path

from drivers.ordinary_files import content_of
from sweeper import analysis
from sweeper.analysis import StationFacts
from sweeper.reduction.kept import by_month, read_kept, write_kept
from sweeper.store import Store
from sweeper.tables import pl


def summaries_of(
    store: Store,
    facts: StationFacts,
    progress: Callable[[float], None] = lambda share: None,
) -> pl.DataFrame:
    """The summaries of all days in `store`, oldest first; only new or changed days are read.

    `progress` is told the share done, 0 to 1.
    """
    identities = {day.isoformat(): identity for day, identity in store.day_identities().items()}
    kept = read_kept(lambda name: content_of(store.folder / name, MOST_SUMMARY_BYTES), facts, identities)
    new = [day for day in identities if day not in kept.days]
    made: list[tuple[str, pl.DataFrame]] = []
    for summary in _summaries_of_days(store, facts, [date.fromisoformat(day) for day in new]):
        made.append((new[len(made)], summary))
        progress(len(made) / len(new))
    months = by_month(kept, made)
    if not months:
        return analysis.summarise_day(store.readings().limit(0).collect(), facts)
    write_kept(store.folder, facts, months, identities, kept)
    return pl.concat(months.values(), how="diagonal_relaxed")


def _summaries_of_days(store: Store, facts: StationFacts, days: Sequence[date]) -> Iterator[pl.DataFrame]:
    """The summary of each day in turn; on a long stretch of them a second process works from its far end."""
    if len(days) < WORTH_A_PROCESS or os.cpu_count() == 1:
        for day in days:
            yield analysis.summarise_day(store.day(day), facts)
        return
    # "spawn": polars runs threads, and a fork of a process with threads may stand still for ever.
    pool = ProcessPoolExecutor(1, mp_context=get_context("spawn"), initializer=_one_thread_each)
    open_days = deque(days)
    there: dict[date, Future[pl.DataFrame]] = {}
    try:
        while open_days:
            with suppress(BrokenProcessPool):
                while open_days and sum(not each.done() for each in there.values()) < AT_ONCE_THERE:
                    there[open_days[-1]] = pool.submit(_summary_elsewhere, store.folder, facts, open_days[-1])
                    open_days.pop()
            if open_days:
                yield analysis.summarise_day(store.day(open_days.popleft()), facts)
        for day in sorted(there):
            try:
                yield there[day].result()
            except BrokenProcessPool:  # killed, perhaps for its memory: its days are done here
                yield analysis.summarise_day(store.day(day), facts)
    finally:
        pool.shutdown(cancel_futures=True)


MOST_SUMMARY_BYTES = 64_000_000
"""A month of the fullest days, many times over."""

AT_ONCE_THERE = 2
"""The day in hand and the one after it, so that the second process never waits for the first."""

WORTH_A_PROCESS = 8
"""With fewer days to read, starting another process costs more than it saves; with more than one of them, a small
computer's memory would be outgrown."""


def _one_thread_each() -> None:
    os.environ["POLARS_MAX_THREADS"] = "1"  # before polars is imported there


def _summary_elsewhere(folder: Path, facts: StationFacts, day: date) -> pl.DataFrame:
    with Store(folder.parent, folder.name, facts.longitude, read_only=True) as store:
        return analysis.summarise_day(store.day(day), facts)
