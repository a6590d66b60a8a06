"""What many stations side by side say, in sentences: what the stage brings, and who hears noise unlike the others."""

from datetime import date

from sweeper.analysis import FleetFindings, listed
from sweeper.report import wording

HELPS_DB = 1.0
"""Change of S/N at the median station from which a band is named."""


def answer(findings: FleetFindings) -> str:
    """The answer in one sentence or two, for the head of page and terminal."""
    helped = dict.fromkeys(each.band for each in findings.bands if (each.snr_change_db or 0.0) >= HELPS_DB)
    if not findings.bands:
        return "No station has usable readings yet."
    first = (
        f"At the median station the stage brings {HELPS_DB:g} dB or more on {listed(list(helped))}."
        if helped
        else f"At the median station the stage brings less than {HELPS_DB:g} dB on every band."
    )
    odd = sorted({cell.station for cell in findings.cells if cell.outlier})
    if not odd:
        return first
    return f"{first} {listed(odd)} {'hears' if len(odd) == 1 else 'hear'} noise unlike the others."


def unlike_the_others(findings: FleetFindings) -> tuple[str, ...]:
    """A sentence for each station and band whose noise stands apart, its hours joined, in decibels off the median."""
    middle = {(each.band, each.hour_utc): each.above_expected_db for each in findings.bands}
    apart: dict[tuple[str, str, bool], dict[int, float]] = {}
    for cell in findings.cells:
        median = middle.get((cell.band, cell.hour_utc))
        if cell.outlier and cell.above_expected_db is not None and median is not None:
            away = cell.above_expected_db - median
            apart.setdefault((cell.station, cell.band, away > 0), {})[cell.hour_utc] = abs(away)
    return tuple(
        f"{station} on {band}, {_hours(by_hour)}: {_range(by_hour)} dB {'more' if louder else 'less'} noise than at "
        "the median station, for its place."
        for (station, band, louder), by_hour in apart.items()
    )


def _hours(by_hour: dict[int, float]) -> str:
    spans = wording.hour_spans(by_hour, "UTC", date(1970, 1, 1))
    return "all day" if spans == ["all day"] else f"{listed(spans)} UTC"


def _range(by_hour: dict[int, float]) -> str:
    low, high = (f"{end:.0f}" for end in (min(by_hour.values()), max(by_hour.values())))
    return low if low == high else f"{low} to {high}"
