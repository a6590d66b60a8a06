"""Where the sun stands at a station, from astral; polar days and nights without a special case.

Where the sun does not set, sunset and the next sunrise both fall at solar midnight, when it stands lowest;
where it does not rise, both fall at solar noon. So a window from sunset to sunrise shrinks to nothing
towards the polar day and grows to the whole day towards the polar night, without a jump.
"""

from datetime import UTC, date, datetime, timedelta, timezone
from functools import lru_cache

from astral import Observer
from astral import sun as astral_sun

from sweeper.station.moments import SunEvent

_ELEVATION_DEG: dict[SunEvent, float] = {
    "sunrise": -0.833,  # the upper limb on the horizon, with 34' of refraction
    "sunset": -0.833,
    "dawn": -6.0,
    "dusk": -6.0,
    "civil dawn": -6.0,
    "civil dusk": -6.0,
    "nautical dawn": -12.0,
    "nautical dusk": -12.0,
    "astronomical dawn": -18.0,
    "astronomical dusk": -18.0,
}
_HALF_A_DAY = timedelta(hours=12)


def is_morning(event: SunEvent) -> bool:
    return event == "sunrise" or event.endswith("dawn")


@lru_cache(maxsize=4096)
def sun_event(event: SunEvent, day: date, latitude: float, longitude: float) -> datetime:
    """The UTC instant of a sun event, to the second. `day` is the date of local mean solar time at its solar noon."""
    observer = Observer(latitude, longitude)
    mean_solar = timezone(timedelta(seconds=round(longitude * 240)))
    noon = astral_sun.noon(observer, day, tzinfo=mean_solar).astimezone(UTC)
    if event == "noon":
        return _whole_second(noon)
    direction = -1 if is_morning(event) else 1
    wanted = _ELEVATION_DEG[event]
    near, far = timedelta(), _HALF_A_DAY  # From noon the sun sinks until midnight, either way.
    if astral_sun.elevation(observer, noon, with_refraction=False) < wanted:
        return _whole_second(noon)
    if astral_sun.elevation(observer, noon + direction * far, with_refraction=False) > wanted:
        return _whole_second(noon + direction * far)
    while far - near > timedelta(seconds=0.5):
        middle = (near + far) / 2
        above = astral_sun.elevation(observer, noon + direction * middle, with_refraction=False) > wanted
        near, far = (middle, far) if above else (near, middle)
    return _whole_second(noon + direction * far)


def _whole_second(time: datetime) -> datetime:
    return (time + timedelta(seconds=0.5)).replace(microsecond=0)
