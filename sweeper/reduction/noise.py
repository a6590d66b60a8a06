"""From a store to what makes a station's noise, and to what a fix changed of it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import datetime, timedelta, timezone
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from sweeper.noise.change import Change, changes
from sweeper.noise.seen import Heard
from sweeper.noise.shown import Shown, shown, stood_out
from sweeper.noise.told import NoiseTold, Told, told_of
from sweeper.noise.written import heard_of
from sweeper.schedule.sun import sun_event
from sweeper.store import Store, kept_noise
from sweeper.store.spectra import NO_VALUE
from sweeper.tables import pl

if TYPE_CHECKING:
    from sweeper.spectra.over_passes import TuningSeen
    from sweeper.station import Station

MOST_SHOWN = 3
"""Sources in the spectrum of a tuning, the costliest."""
MOSTLY = 0.5
"""Share of passes with it from which on a median shows what stands still."""


def noise_of(
    store: Store, station: Station, spectra: Sequence[TuningSeen] = (), fix: datetime | None = None
) -> NoiseTold:
    """Sources, rhythms and splits of all passes that told anything of noise, where they stand in `spectra`, and what
    a `fix` changed of them.
    """
    place = station.station
    mean_solar = timezone(timedelta(seconds=round(place.longitude * 240)))

    def sun_is_up(at: datetime) -> bool:
        day = at.astimezone(mean_solar).date()
        rise, down = (
            sun_event(event, day, place.latitude, place.longitude) for event in ("sunrise", "sunset")
        )
        return rise <= at <= down

    told = told_of(
        heard_of(kept_noise(store.folder)),
        ZoneInfo(place.timezone),
        sun_is_up,
        [(note.time, note.text) for note in store.notes()],
        station.analysis.confidence,
        place.longitude,
    )
    changed = _changes(told.heard, station, fix) if fix is not None else ()
    return replace(told, shown=tuple(_shown(store, told.sources, spectra)), changed=tuple(changed))


def _shown(store: Store, sources: Sequence[Told], spectra: Sequence[TuningSeen]) -> Iterator[Shown]:
    """The sources of each tuning, where they stood out most."""
    for tuning in spectra:
        bins = len(tuning.levels_db["antenna-bypass"])
        end_hz = tuning.start_hz + tuning.step_hz * bins
        where = tuning.band, tuning.start_hz, end_hz
        here = [(each, best) for each in sources if (best := stood_out(each.source, *where))]
        if not here:
            continue
        kept = store.spectra().filter(
            (pl.col("band") == tuning.band)
            & (pl.col("source") == "antenna")
            & (pl.col("route") == "bypass")
            & (pl.col("step_hz") == tuning.step_hz)
            & ((pl.col("start_hz") - tuning.start_hz).abs() < tuning.step_hz)
            & (pl.col("mean_cdb").list.len() == bins)
            & (pl.col("time").dt.truncate("1h") != pl.col("time"))  # an hour's passes, thinned to one picture
        )
        passes = set(kept.select("pass").unique().collect(engine="streaming")["pass"].to_list())
        for each, best in here[:MOST_SHOWN]:
            there = stood_out(each.source, *where, passes)
            heard, found = there or best
            rare = found.kind == "comb" or each.rhythm.with_it < MOSTLY * each.rhythm.looks
            levels = _levels(kept, heard.pass_number) if there is not None and rare else ()
            yield shown(each.source.name, tuning.start_hz, heard, found, levels)


def _levels(kept: pl.LazyFrame, pass_number: int) -> tuple[float | None, ...]:
    """The last spectrum of a pass, dB of full scale."""
    rows = kept.filter(pl.col("pass") == pass_number).select("time", "mean_cdb").collect(engine="streaming")
    cdb = rows.sort("time")["mean_cdb"][-1].to_list()
    return tuple(None if each == NO_VALUE else each / 100.0 for each in cdb)


def noise_changes(store: Store, station: Station, fix: datetime) -> list[Change]:
    """What a fix changed, source by source."""
    return _changes(heard_of(kept_noise(store.folder)), station, fix)


def _changes(heard: Sequence[Heard], station: Station, fix: datetime) -> list[Change]:
    return changes(heard, fix.timestamp(), station.analysis.confidence, station.station.longitude)
