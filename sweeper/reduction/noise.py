"""From a store to what makes a station's noise, and to what a fix changed of it."""

from datetime import datetime, timedelta, timezone
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from sweeper.noise.change import Change, changes
from sweeper.noise.told import NoiseTold, told_of
from sweeper.noise.written import heard_of
from sweeper.schedule.sun import sun_event
from sweeper.store import Store, kept_noise

if TYPE_CHECKING:
    from sweeper.station import Station


def noise_of(store: Store, station: "Station") -> NoiseTold:
    """Sources, rhythms and splits of all passes that told anything of noise."""
    place = station.station
    mean_solar = timezone(timedelta(seconds=round(place.longitude * 240)))

    def sun_is_up(at: datetime) -> bool:
        day = at.astimezone(mean_solar).date()
        rise, down = (
            sun_event(event, day, place.latitude, place.longitude) for event in ("sunrise", "sunset")
        )
        return rise <= at <= down

    return told_of(
        heard_of(kept_noise(store.folder)),
        ZoneInfo(place.timezone),
        sun_is_up,
        [(note.time, note.text) for note in store.notes()],
        station.analysis.confidence,
        place.longitude,
    )


def noise_changes(store: Store, station: "Station", fix: datetime) -> list[Change]:
    """What a fix changed, source by source."""
    return changes(
        heard_of(kept_noise(store.folder)),
        fix.timestamp(),
        station.analysis.confidence,
        station.station.longitude,
    )
