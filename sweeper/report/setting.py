"""What a page must know of the station beyond the findings."""

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Self

from sweeper.daemon.last_check import LastCheck
from sweeper.daemon.rig.relay_life import operations_of_the_busiest
from sweeper.station import Station
from sweeper.store import kept_ab_tests

if TYPE_CHECKING:
    from sweeper.spectra.over_passes import TuningSeen


@dataclass(frozen=True, slots=True)
class Setting:
    """What the page must know of the station beyond the findings.

    Time zone, the meter's unit, the relays' rating, what the busiest of them has done in its life, and what the last
    `check` found, in sentences.
    """

    zone: str = "UTC"
    unit: str = "dB"
    rated_operations: int | None = None
    busiest_relay: int = 0
    found_by_check: tuple[str, ...] = ()
    ab_tests: tuple[str, ...] = ()
    """Results of A/B tests that were kept, as they lie in the data folder."""
    spectra: "tuple[TuningSeen, ...]" = ()
    """What the stored spectra show of each tuning."""

    @classmethod
    def of(cls, station: Station, folder: Path, spectra: "tuple[TuningSeen, ...]" = ()) -> Self:
        """The setting that the station file says, with the relays' life out of the data folder.

        `spectra` are shown of whole bands only, not of what a receiver's sound lets through.
        """
        meter = station.receiver.meter
        unit = (
            "dBm"
            if meter.curve or meter.unit == "dBm"
            else {"dB-over-S9": "dB over S9"}.get(meter.unit, "dB")
        )
        return cls(
            station.station.timezone,
            unit,
            station.switch.rated_operations,
            operations_of_the_busiest(folder),
            () if (last := LastCheck.of(folder)) is None else last.sentences(),
            kept_ab_tests(folder),
            () if station.receiver.spectrum is None else spectra,
        )
