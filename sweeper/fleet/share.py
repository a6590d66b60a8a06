"""What one station contributes: its findings, and what was wrong with its files. The work of a worker."""

from dataclasses import dataclass
from datetime import date

from sweeper.analysis.findings import Findings


@dataclass(frozen=True)
class StationShare:
    """One station reduced. `findings` is None where nothing of it could be read; `problems` says why in words."""

    url: str
    name: str
    latitude: float
    longitude: float
    days: int
    bytes_read: int
    findings: Findings | None
    problems: tuple[str, ...]


def reduce_folder(url: str) -> StationShare:
    """Reduce the folder at `url`; a broken day is left out and named, a broken station has no findings."""
    import polars as pl

    from sweeper.analysis.findings_of import find
    from sweeper.analysis.summarise import summarise_day
    from sweeper.errors import Told
    from sweeper.fleet.folder import BrokenFile, StationFolder
    from sweeper.reduction import facts_of

    try:
        folder = StationFolder(url)
        station = folder.station()
    except Told as told:
        return StationShare(url, url.rstrip("/").rsplit("/", 1)[-1], 0.0, 0.0, 0, 0, None, (str(told),))
    facts = facts_of(station)
    parts: list[pl.DataFrame] = []
    read: list[date] = []
    problems: list[str] = []
    for day in folder.days():
        try:
            summary = summarise_day(folder.day(day), facts)
        except BrokenFile as broken:
            problems.append(str(broken))
            continue
        parts.append(summary)
        read.append(day)
    summaries = pl.concat(parts, how="diagonal_relaxed") if parts else None
    findings = None
    if summaries is not None and summaries.height:
        findings, _ = find(summaries, facts)
    else:
        problems.append(f"{url}: no readings could be used.")
    return StationShare(
        url,
        station.station.name,
        station.station.latitude,
        station.station.longitude,
        len(read),
        folder.bytes_read,
        findings,
        tuple(problems),
    )
