"""A source of noise watched at the rig, look after look through the antenna in bypass."""

import math
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from datetime import datetime
from threading import Event
from typing import Any

from sweeper.clock import Clock
from sweeper.daemon.rig.borrow import borrowed_rig
from sweeper.daemon.rig.instruments import Rig, measurement_settings
from sweeper.engine import measure_pass
from sweeper.errors import UserFacingError
from sweeper.noise.in_pass import in_pass
from sweeper.noise.seen import Heard
from sweeper.noise.sources import Source, belongs, sources
from sweeper.station import Station
from sweeper.store import Store
from sweeper.words import ANTENNA_BYPASS, Channel, Labelled, PassRecord, Reading, Spectra, Visit

VISITS = 3
"""Of each tuning in a look."""
FIRST_LOOKS = 4
"""Where no pass has shown a source yet."""


class Watch:
    """The rig, borrowed for a search. A look stores nothing."""

    def __init__(self, station: Station, rig: Rig, clock: Clock) -> None:
        self._station, self._rig, self._clock = station, rig, clock
        self._number = 0

    def look(self, bands: Sequence[str]) -> list[Heard]:
        """What is there now, on the tunings of some bands. `UserFacingError` where the rig does not let look."""
        self._number += 1
        heard = _Heard()
        visits = [
            Visit(channel, ANTENNA_BYPASS)
            for channel in self._tunings()
            if channel.band in bands
            for _ in range(VISITS)
        ]
        record = measure_pass(
            self._number,
            visits,
            self._rig.receiver,
            self._rig.switch,
            self._clock,
            measurement_settings(self._station, self._number),
            heard,
            Event(),
            samples=self._rig.samples,
        )
        if record.outcome != "done":
            raise UserFacingError(f"The receiver could not be listened to: {record.because}")
        return in_pass(self._number, heard.spectra)

    def seen_now(self) -> list[Source]:
        """Sources that a few looks at all bands show."""
        bands = [band.name for band in self._station.bands]
        return sources([one for _ in range(FIRST_LOOKS) for one in self.look(bands)])

    def level_db(self, source: Source) -> float | None:
        """The power of a source now, on the band that showed it most often; None where it is not there."""
        often = max(source.bands, key=lambda band: sum(one.band == band for one, _ in source.seen))
        found = [
            each.level_db for one in self.look([often]) for each in one.found if belongs(source, one, each)
        ]
        return 10 * math.log10(sum(10 ** (level / 10) for level in found)) if found else None

    def _tunings(self) -> list[Channel]:
        wide = list(self._station.tunings())
        return wide or [channel for channel in self._station.channels() if channel.purpose == "noise"]


@contextmanager
def watch_at(station: Station, store: Store, clock: Clock) -> Iterator[Watch]:
    """Borrow the rig; everything is put back at the end. `UserFacingError` where it tells no kinds of noise."""
    if station.receiver.spectrum is None and station.receiver.audio is None:
        raise UserFacingError(
            f"{station.station.name} reads a meter, which tells no kinds of noise. Samples (receiver.spectrum) or the "
            "receiver's sound (receiver.audio) do."
        )
    with borrowed_rig(station, store, clock) as rig:
        yield Watch(station, rig, clock)


class _Heard:
    """The sink of a look."""

    spectra: Spectra = ()

    def found(self, number: int, started: datetime, remembered: Mapping[str, Any]) -> None:
        """Whoever borrowed the rig keeps how the receiver stood."""

    def visited(self, visit: Visit, readings: Sequence[Reading], heard: Labelled | None = None) -> None:
        """Nothing to show yet."""

    def finished(self, record: PassRecord, readings: Sequence[Reading], spectra: Spectra = ()) -> None:
        self.spectra = spectra

    def stood(self, lines_hz: Mapping[str, Sequence[int]]) -> None:
        """A search reads no carriers."""

    def mark_restored(self) -> None:
        """As `found`."""
