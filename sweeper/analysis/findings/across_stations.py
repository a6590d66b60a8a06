"""Many stations side by side: who hears more noise than its place explains, and where stages help.

Findings of single stations in, one comparison out. Stations do not lend each other certainty here: each keeps
its own verdicts and intervals.
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from sweeper.analysis.facts import Environment
from sweeper.analysis.physics.atmospheric import atmospheric
from sweeper.analysis.physics.external_noise import expected
from sweeper.analysis.results import Findings, Verdict
from sweeper.analysis.statistics.interval import Interval
from sweeper.analysis.thresholds import FEWEST_FOR_OUTLIERS, OUTLIER_MADS


@dataclass(frozen=True, slots=True)
class StationResult:
    """One station's findings with where it stands and the frequency that stands for each band, hertz."""

    name: str
    latitude: float
    longitude: float
    environment: Environment
    band_hz: Mapping[str, float]
    findings: Findings


@dataclass(frozen=True, slots=True)
class StationCell:
    """One station, band and hour. `above_expected_db`: fa above the median that P.372 expects there, dB.

    Atmospheric noise is that of the month in the middle of the station's nights, and left out without the library
    that knows it: below 10 MHz stations can then be set beside each other, but not beside what is expected.
    """

    station: str
    band: str
    hour_utc: int
    snr_change_db: Interval | None
    verdict: Verdict
    above_expected_db: float | None
    outlier: bool


@dataclass(frozen=True, slots=True)
class BandHour:
    """One band and hour over all stations that measured it; medians over stations, dB."""

    band: str
    hour_utc: int
    stations: int
    snr_change_db: float | None
    above_expected_db: float | None
    verdicts: Mapping[Verdict, int]


@dataclass(frozen=True, slots=True)
class FleetFindings:
    """The comparison: every cell, and the medians over stations."""

    cells: tuple[StationCell, ...]
    bands: tuple[BandHour, ...]


def compare_stations(stations: Iterable[StationResult]) -> FleetFindings:
    """Compare stations per band and hour; the order of the stations does not matter."""
    by_place: dict[tuple[str, int], list[StationCell]] = defaultdict(list)
    for station in sorted(stations, key=lambda each: each.name):
        for cell in _cells(station):
            by_place[cell.band, cell.hour_utc].append(cell)
    cells: list[StationCell] = []
    bands: list[BandHour] = []
    for (band, hour_utc), here in sorted(by_place.items()):
        cells += _mark_outliers(here)
        bands.append(
            BandHour(
                band,
                hour_utc,
                len(here),
                _median([cell.snr_change_db.value for cell in here if cell.snr_change_db is not None]),
                _median([cell.above_expected_db for cell in here if cell.above_expected_db is not None]),
                _counted(here),
            )
        )
    return FleetFindings(tuple(cells), tuple(bands))


def _cells(station: StationResult) -> Iterable[StationCell]:
    start, end = station.findings.start, station.findings.end
    month = (start + (end - start) / 2).month
    for band in station.findings.bands:
        hz = station.band_hz.get(band.band)
        for period in band.periods:
            above = None
            if hz is not None and period.fa_db is not None:
                place = (station.latitude, station.longitude)
                sky = atmospheric(round(hz), *place, month, period.hour_utc + 0.5)
                above = period.fa_db.value - expected(hz, station.environment, sky).total.median_db
            yield StationCell(
                station.name,
                band.band,
                period.hour_utc,
                period.snr_change_db,
                period.verdict,
                above,
                outlier=False,
            )


def _mark_outliers(cells: Sequence[StationCell]) -> list[StationCell]:
    """Mark stations whose noise stands far from the others', by the median absolute deviation."""
    measured = [cell.above_expected_db for cell in cells if cell.above_expected_db is not None]
    if len(measured) < FEWEST_FOR_OUTLIERS:
        return list(cells)
    middle = float(np.median(measured))
    spread = float(np.median(np.abs(np.asarray(measured) - middle)))
    marked = []
    for cell in cells:
        away = 0.0 if cell.above_expected_db is None else abs(cell.above_expected_db - middle)
        odd = 0.6745 * away > OUTLIER_MADS * spread and away > 0
        marked.append(
            StationCell(
                cell.station,
                cell.band,
                cell.hour_utc,
                cell.snr_change_db,
                cell.verdict,
                cell.above_expected_db,
                outlier=odd,
            )
        )
    return marked


def _median(values: Sequence[float]) -> float | None:
    return float(np.median(values)) if values else None


def _counted(cells: Sequence[StationCell]) -> Mapping[Verdict, int]:
    verdicts: dict[Verdict, int] = {}
    for cell in cells:
        verdicts[cell.verdict] = verdicts.get(cell.verdict, 0) + 1
    return dict(sorted(verdicts.items()))
