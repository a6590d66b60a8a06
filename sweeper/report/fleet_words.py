"""What many stations side by side say, in sentences: where the stage goes in, and who hears noise unlike the others."""

from datetime import date

from sweeper.analysis import OF_VERDICT, STATES, FleetFindings, listed
from sweeper.report import wording


def answer(findings: FleetFindings) -> str:
    """The answer in one sentence or two, for the head of page and terminal: verdicts counted, nothing new claimed."""
    measured: dict[str, set[str]] = {}
    for cell in findings.cells:
        measured.setdefault(cell.band, set()).add(cell.station)
    if not measured:
        return "No station has usable readings yet."
    in_line = [
        f"{band} ({len(those)} of {wording.count(len(measured[band]), 'station')})"
        for band in measured
        if (
            those := {
                cell.station for cell in findings.cells if cell.band == band and cell.verdict == "stage"
            }
        )
    ]
    first = (
        f"{_sentence(STATES[OF_VERDICT['stage']].words)}, at some hours or all, on {listed(in_line)}."
        if in_line
        else f"No station has {STATES[OF_VERDICT['stage']].words} as its answer on any band."
    )
    odd = sorted({cell.station for cell in findings.cells if cell.outlier})
    if not odd:
        return first
    return f"{first} {listed(odd)} {'hears' if len(odd) == 1 else 'hear'} noise unlike the others."


def _sentence(words: str) -> str:
    return words[0].upper() + words[1:]


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
