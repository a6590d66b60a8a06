"""The two meters of a receiver behind hamlib: STRENGTH, in decibels, and RAWSTR, the number that the receiver sends.

STRENGTH is made of RAWSTR by hamlib's table for the model and rounded to whole decibels, so RAWSTR may be finer.
Servers do not tell the table (4.5.4); those worth having are in ``configs/meters/hamlib.yaml``. Nothing here is set.
"""

from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from statistics import median
from typing import Protocol, runtime_checkable

from drivers.config_files import meter_file
from drivers.data_files import mapping_of, text_of
from drivers.protocols import hamlib as wire
from drivers.receivers.hamlib_server import HamlibServer

Table = tuple[tuple[float, float], ...]
"""Pairs of RAWSTR and decibels over S9, both rising, straight between."""
AGREE_DB = 4.0
"""Nearer than this, at the median, RAWSTR along the table and STRENGTH are one meter: noise moves between the two."""
WHOLE = 1e-6
S9_DBM = -73.0
LOOKS = 5


@dataclass(frozen=True, slots=True)
class TwoMeters:
    """`strength`, and the `raw` read right after each, empty without RAWSTR. `table`: hamlib's for the model."""

    strength: tuple[float, ...]
    raw: tuple[float, ...] = ()
    table: Table = ()

    @property
    def finer(self) -> bool:
        """Whether RAWSTR is finer by the model's table, and the table is what STRENGTH here is made by."""
        return bool(self.table and self.raw) and self._apart_db() < AGREE_DB and self.count_db < 1.0

    @property
    def count_db(self) -> float:
        """What a count of RAWSTR is worth where it stands now, decibels; NaN without a table."""
        if not self.table or not self.raw:
            return float("nan")
        right = min(max(bisect_left(self.table, (median(self.raw),)), 1), len(self.table) - 1)
        (low, from_db), (high, to_db) = self.table[right - 1], self.table[right]
        return (to_db - from_db) / (high - low)

    @property
    def curve(self) -> Table:
        """The table in dBm, S9 being -73 (IARU Region 1 Technical Recommendation R.1, below 30 MHz)."""
        return tuple((raw, db + S9_DBM) for raw, db in self.table)

    def _apart_db(self) -> float:
        pairs = zip(self.strength, self.raw, strict=True)
        return median(abs(_along(self.table, raw) - strength) for strength, raw in pairs)


@runtime_checkable
class HasTwoMeters(Protocol):
    """A receiver that may have a finer meter than the one that is read."""

    def two_meters(self) -> TwoMeters | None:
        """What each reads, a few times; None where STRENGTH is not read."""
        ...


def look(server: HamlibServer) -> TwoMeters | None:
    """What meters a server has and its model's table; None without STRENGTH. RigError when it stops answering."""
    if not server.has_meter("STRENGTH"):
        return None
    strength, raw = (server.call("get_level", level, parse=wire.strength) for level in ("STRENGTH", "RAWSTR"))
    if not server.has_meter("RAWSTR"):
        return TwoMeters(tuple(server.ask(strength) for _ in range(LOOKS)))
    pairs = [(server.ask(strength), server.ask(raw)) for _ in range(LOOKS)]
    number = server.call("dump_caps", parse=wire.model_number)
    model = server.try_to_ask(number) if server.extended else None
    table = tables().get(model, ()) if model is not None else ()
    return TwoMeters(tuple(first for first, _ in pairs), tuple(second for _, second in pairs), table)


def fractions(readings: Sequence[float]) -> bool:
    """Whether STRENGTH reads fractions of a decibel. hamlib's does not: it counts whole decibels over S9."""
    return any(abs(reading - round(reading)) > WHOLE for reading in readings)


def _along(table: Table, raw: float) -> float:
    if raw <= table[0][0]:
        return table[0][1]
    for (low, from_db), (high, to_db) in pairwise(table):
        if raw <= high:
            return from_db + (to_db - from_db) * (raw - low) / (high - low)
    return table[-1][1]


@lru_cache(maxsize=1)
def tables() -> dict[int, Table]:
    """hamlib's tables by its number of the model."""
    file = meter_file("hamlib")
    content = mapping_of(text_of(file))
    return {
        int(model): tuple((float(raw), float(db)) for raw, db in each["table"])
        for each in content["tables"]
        for model in each["models"]
    }
