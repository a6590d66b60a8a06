"""What one station contributes: its findings, and what was wrong with its files. The work of a worker.

Where the station sent the summaries that it keeps, they are taken for the days that they were made from, and only the
other days are read.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from sweeper import analysis
from sweeper.analysis import StationResult
from sweeper.errors import UserFacingError
from sweeper.fleet.folder import BrokenFile, StationFolder
from sweeper.reduction import by_month, facts_of, read_kept
from sweeper.tables import pl
from sweeper.words import Channel


@dataclass(frozen=True)
class StationShare:
    """One station reduced. `result` is None where nothing of it could be read; `problems` says why in words."""

    url: str
    name: str
    days: int
    bytes_read: int
    result: StationResult | None
    problems: tuple[str, ...]


def reduce_folder(url: str) -> StationShare:
    """Reduce the folder at `url`; a broken day is left out and named, a broken station has no findings."""
    try:
        folder = StationFolder(url)
        station = folder.station()
    except UserFacingError as told:
        return StationShare(url, url.rstrip("/").rsplit("/", 1)[-1], 0, 0, None, (str(told),))
    facts = facts_of(station)
    kept = read_kept(folder.kept, facts, folder.days())
    made: list[tuple[str, pl.DataFrame]] = []
    problems: list[str] = []
    for day in folder.days():
        if day in kept.days:
            continue
        try:
            made.append((day, analysis.summarise_day(folder.day(day), facts)))
        except BrokenFile as broken:
            problems.append(str(broken))
    months = by_month(kept, made).values()
    summaries = pl.concat(months, how="diagonal_relaxed") if months else None
    result = None
    if summaries is not None and summaries.height:
        findings = analysis.findings_from(analysis.table_of(summaries, facts), summaries, facts)
        place = station.station
        result = StationResult(
            place.name, place.latitude, place.longitude, place.environment, _band_hz(facts.channels), findings
        )
    else:
        problems.append(f"{url}: no readings could be used.")
    return StationShare(
        url, station.station.name, len(kept.days) + len(made), folder.bytes_read, result, tuple(problems)
    )


def _band_hz(channels: Sequence[Channel]) -> dict[str, float]:
    """The mean frequency of each band's noise channels, hertz."""
    by_band: dict[str, list[int]] = {}
    for channel in channels:
        if channel.purpose == "noise":
            by_band.setdefault(channel.band, []).append(channel.hz)
    return {band: sum(hz) / len(hz) for band, hz in by_band.items()}
