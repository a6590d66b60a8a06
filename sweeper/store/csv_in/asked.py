"""What a person said of a table that the table does not say itself, and what of the station is needed to read it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Literal
from zoneinfo import ZoneInfo

from sweeper.words import Channel

Dates = Literal["day-first", "month-first"]
FrequencyUnit = Literal["Hz", "kHz", "MHz"]
LevelUnit = Literal["S", "dB", "dBm"]


@dataclass(frozen=True, slots=True)
class Asked:
    """`columns` names the header of a meaning, such as ``{"frequency": "QRG"}``; None leaves it to the table.

    `meter_unit` and `s9_dbm` (dBm) are those of the station's meter; `station_zone` is only offered, never assumed.
    """

    channels: Sequence[Channel]
    meter_unit: str = "dB-over-S9"
    s9_dbm: float = -73.0
    station_zone: str = "UTC"
    timezone: ZoneInfo | None = None
    dates: Dates | None = None
    frequency: FrequencyUnit | None = None
    level: LevelUnit | None = None
    columns: Mapping[str, str] = field(default_factory=dict)
