"""A club of invented stations: folders as stations send them, some louder than their place explains."""

from pathlib import Path

import polars as pl

from sweeper.simulation.campaign.course import BandTruth, Course
from sweeper.simulation.campaign.draw import campaign
from sweeper.store import Store, finished
from sweeper.store.frames import schema
from sweeper.store.manifest import write_manifest
from sweeper.words import Channel

LOUD = 2
"""The station of this number has a neighbour: its noise stands 25 dB above the others'."""


def send_station(club: Path, number: int, nights: int, hours: tuple[int, ...] = (19, 20, 21, 22)) -> Path:
    """Write the folder of one station with so many finished days; where it is."""
    rise_db = 12.0 + number % 5 + (25.0 if number == LOUD else 0.0)
    bands = (BandTruth("40 m", rise_db=rise_db), BandTruth("20 m", rise_db=rise_db - 9.0))
    made = campaign(Course(bands=bands, nights=nights, hours=hours, night_sd_db=2.0), seed=100 + number)
    name = f"Marsh {number:03d}"
    with Store(club, name, 0.0) as store:
        store.keep_station_file(station_text(name, number, made.channels))
        folder = store.folder
    for n, day in enumerate(made.dates):
        readings = made.night(n).with_columns((pl.col("reading") - 73.0).alias("dbm"))
        finished.write_day(folder / "days", day, readings.cast(dict(schema())))
    write_manifest(folder)
    for leftover in folder.glob("today.sqlite*"):
        leftover.unlink()
    return folder


def station_text(name: str, number: int, channels: tuple[Channel, ...]) -> str:
    """A station file, calibrated, on the meridian of Greenwich as the drawn campaigns are."""
    lines = [
        f"station: {{name: {name}, latitude: {51 + number % 9 / 4}, longitude: 0.0, environment: rural}}",
        "receiver: {driver: hamlib, link: 'tcp://127.0.0.1:1', mode: USB, bandwidth_hz: 2400, settle_s: 0.15,",
        "  readings: 8, interval_s: 0.05, meter: {unit: dB-over-S9, step_db: 1, averaging_s: 0.02, detector: rms,",
        "  floor: -60, top: 60, curve: [[-60, -133], [60, -13]]}}",
        "switch: {driver: modbus, link: 'tcp://127.0.0.1:2', settle_s: 0.03, paths: {antenna-bypass: {0: off, 1: off},",
        "  antenna-stage: {0: on, 1: off}, load-bypass: {0: off, 1: on}, load-stage: {0: on, 1: on}}}",
        "stage: {rated_gain_db: 15, rated_noise_figure_db: 3}",
        "bands:",
    ]
    for band in dict.fromkeys(channel.band for channel in channels):
        inside = ", ".join(f"{{hz: {c.hz}, for: {c.purpose}}}" for c in channels if c.band == band)
        lines.append(f"  - {{name: {band}, channels: [{inside}]}}")
    return "\n".join(lines) + "\n"
