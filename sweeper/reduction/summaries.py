"""Summaries of days, kept beside the readings so that a new night costs a night.

One Parquet file holds the summaries of all finished days; the book beside it holds that file's checksum
and what each day was made from: the analysis code, the facts of the station, the identity of the day's file.
A day whose entry differs is made again from the readings, and so is everything when the pair is torn.
"""

import hashlib
import json
import os
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from functools import lru_cache
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING

from sweeper.analysis.facts import StationFacts
from sweeper.store import Store

if TYPE_CHECKING:
    import polars as pl

FILE = "summaries.parquet"
BOOK = "summaries.json"


@dataclass(frozen=True, slots=True)
class _Kept:
    """What is on disk already: rows of finished days and what each was made from."""

    frame: "pl.DataFrame | None"
    made_from: Mapping[str, str]


def summaries_of(
    store: Store,
    facts: StationFacts,
    progress: Callable[[float], None] = lambda share: None,
) -> "pl.DataFrame":
    """The summaries of all days in `store`, oldest first; only new or changed days are read.

    `progress` is told the share done, 0 to 1.
    """
    import polars as pl

    kept = _read(store.folder)
    current = {day.isoformat(): made for day, made in _made_from(store, facts).items()}
    good = [day for day, made in current.items() if made and kept.made_from.get(day) == made]
    parts: list[pl.DataFrame] = []
    if kept.frame is not None and good:
        parts.append(kept.frame.filter(pl.col("night").is_in([date.fromisoformat(day) for day in good])))
    new = [day for day in current if day not in set(good)]
    for done, summary in enumerate(
        _summaries_of_days(store, facts, [date.fromisoformat(day) for day in new])
    ):
        if summary.height:
            parts.append(summary)
        progress((done + 1) / len(new))
    if not parts:
        from sweeper.analysis.summarise import summarise_day

        return summarise_day(store.readings().limit(0).collect(), facts)
    whole = pl.concat(parts, how="diagonal_relaxed", rechunk=True)
    if not whole["night"].is_sorted():  # a season is large: no second copy of it without need
        whole = whole.sort("night", maintain_order=True)
    finished = {day: made for day, made in current.items() if made}
    if finished != dict(kept.made_from):
        _write(
            store.folder,
            whole.filter(pl.col("night").is_in([date.fromisoformat(d) for d in finished])),
            finished,
        )
    return whole


def _summaries_of_days(store: Store, facts: StationFacts, days: Sequence[date]) -> "Iterator[pl.DataFrame]":
    """The summary of each day in turn; on a long stretch of them a second process works from its far end."""
    from sweeper.analysis.summarise import summarise_day

    if len(days) < WORTH_A_PROCESS or os.cpu_count() == 1:
        for day in days:
            yield summarise_day(store.day(day), facts)
        return
    from concurrent.futures import ProcessPoolExecutor
    from multiprocessing import get_context

    # "spawn": polars runs threads, and a fork of a process with threads may stand still for ever.
    pool = ProcessPoolExecutor(1, mp_context=get_context("spawn"), initializer=_one_thread_each)
    try:
        there = {day: pool.submit(_summary_elsewhere, store.folder, facts, day) for day in reversed(days)}
        for day in days:
            begun_there = not there[day].cancel()
            yield there[day].result() if begun_there else summarise_day(store.day(day), facts)
    finally:
        pool.shutdown(cancel_futures=True)


WORTH_A_PROCESS = 8
"""With fewer days to read, starting another process costs more than it saves; with more than one of them, a small
computer's memory would be outgrown."""


def _one_thread_each() -> None:
    os.environ["POLARS_MAX_THREADS"] = "1"  # before polars is imported there


def _summary_elsewhere(folder: Path, facts: StationFacts, day: date) -> "pl.DataFrame":
    from sweeper.analysis.summarise import summarise_day

    with Store(folder.parent, folder.name, facts.longitude, read_only=True) as store:
        return summarise_day(store.day(day), facts)


@lru_cache(maxsize=1)
def code_fingerprint() -> str:
    """A hash of the analysis as it is installed: change a line of it and the summaries are made again."""
    digest = hashlib.sha256()
    for source in sorted(files("sweeper.analysis").iterdir(), key=lambda entry: entry.name):
        if source.name.endswith(".py"):
            digest.update(source.name.encode() + b"\0" + source.read_bytes())
    return digest.hexdigest()[:16]


def _made_from(store: Store, facts: StationFacts) -> dict[date, str]:
    """For each day what its summary would be made from; empty for a day that is still running."""
    made_by = f"{code_fingerprint()} {facts.fingerprint}"
    return {
        day: f"{made_by} {identity}" if identity else "" for day, identity in store.day_identities().items()
    }


def _read(folder: Path) -> _Kept:
    import polars as pl

    try:
        book = json.loads((folder / BOOK).read_text(encoding="utf-8"))
        content = (folder / FILE).read_bytes()
        if hashlib.sha256(content).hexdigest() != book["sha256"]:
            return _Kept(None, {})
        return _Kept(pl.read_parquet(content), book["days"])
    except (OSError, ValueError, KeyError, TypeError, pl.exceptions.PolarsError):
        return _Kept(None, {})  # whatever is wrong with it, it can be made again


def _write(folder: Path, frame: "pl.DataFrame", days: Mapping[str, str]) -> None:
    """Write, then rename, the book last: a torn pair fails its checksum and is made again."""
    fresh = folder / f"{FILE}.{os.getpid()}.new"
    try:
        frame.write_parquet(fresh, compression="zstd")
        digest = hashlib.sha256(fresh.read_bytes()).hexdigest()
        fresh.replace(folder / FILE)
        book = folder / f"{BOOK}.{os.getpid()}.new"
        book.write_text(json.dumps({"sha256": digest, "days": dict(days)}), encoding="utf-8")
        book.replace(folder / BOOK)
    except OSError:
        fresh.unlink(missing_ok=True)  # a full or read-only disk costs time tomorrow, nothing else
