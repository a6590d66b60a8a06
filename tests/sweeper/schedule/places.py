"""Stations at a place and with a schedule, for tests."""

from pathlib import Path

from sweeper.station import Station, load
from tests.sweeper.station.files import written


def station_with(
    folder: Path, *windows: str, latitude: float = 56.2, longitude: float = 8.1, zone: str = "UTC"
) -> Station:
    """The right station file with other windows, place and zone."""
    lines = "".join(f"  - {window}\n" for window in windows)
    file = written(
        folder,
        ("latitude: 56.2", f"latitude: {latitude}"),
        ("longitude: 8.1", f"longitude: {longitude}\n  timezone: {zone}"),
        (
            "schedule:\n  - {every: 10 min, from: sunset - 1 h, to: sunrise + 1 h}\n",
            f"schedule:\n{lines}" if lines else "",
        ),
    )
    return load(file)
