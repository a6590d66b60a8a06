"""Every band and hour in a table: the S/N change with half its interval, its state, and the numbers behind it.

Words and figures only.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from sweeper.analysis import Findings, PeriodFinding, hardly_measured, state_of_period, words_of_period
from sweeper.report import wording
from sweeper.report.answer import Times
from sweeper.report.palette import step_of
from sweeper.report.pictures.picture import Numbers

REACH_DB = 6.0
"""The S/N change at the ends of the colour ramp."""


@dataclass(frozen=True, slots=True)
class Cell:
    """One hour: the colour's name, the state's, the change and how sure it is."""

    colour: str
    state: str
    change: str
    half: str


@dataclass(frozen=True, slots=True)
class Grid:
    """Bands by hours, in the order of the night; None where an hour was not measured."""

    hours: tuple[Times, ...]
    rows: tuple[tuple[str, tuple[Cell | None, ...]], ...]
    numbers: Numbers


def hours(findings: Findings, zone: str) -> Grid:
    """All hours of all bands, in the listener's time `zone` and UTC."""
    on = findings.end.date()
    order = wording.night_order((p.hour_utc for band in findings.bands for p in band.periods), zone, on)
    rows = []
    for band in findings.bands:
        by_hour = {period.hour_utc: period for period in band.periods}
        hardly = hardly_measured(band.periods)
        cells = [_cell(by_hour[hour], hour in hardly) if hour in by_hour else None for hour in order]
        rows.append((band.band, tuple(cells)))
    columns = tuple(Times(wording.local_hour(hour, zone, on)[:2], f"{hour:02d}") for hour in order)
    return Grid(columns, tuple(rows), _numbers(findings, order, zone, on))


def _cell(period: PeriodFinding, hardly: bool) -> Cell:
    change = period.measured_db or period.snr_change_db
    state = "open" if hardly else state_of_period(period)
    if change is None or change.high - change.low > wording.SAYS_NOTHING_DB:
        return Cell("raised", state, "×" if period.withheld else "–", "")
    half = (change.high - change.low) / 2
    name = step_of(change.value, REACH_DB)
    return Cell(name, state, wording.decibel(change.value, True), f"±{half:.1f}")


def _numbers(findings: Findings, order: Sequence[int], zone: str, on: date) -> Numbers:
    """A row for each hour; the column about nights to come where any is known."""
    periods = [period for band in findings.bands for period in band.periods]
    ahead = any("these-nights-only" not in period.flags for period in periods)
    headings = ["Band", f"Hour ({zone})", "UTC", "On the nights measured, dB"]
    ratio = any(period.by_ratio_db is not None for period in periods)
    headings += ["By ratio, dB"] if ratio else []
    headings += ["On nights to come, dB"] if ahead else []
    headings += ["Noise rise, dB", "Nights", "Passes", "Answer", "Why"]
    rows = []
    for band in findings.bands:
        by_hour = {period.hour_utc: period for period in band.periods}
        rows += [_row(band.band, by_hour[hour], ahead, ratio, zone, on) for hour in order if hour in by_hour]
    return Numbers(tuple(headings), tuple(rows))


def _row(band: str, period: PeriodFinding, ahead: bool, ratio: bool, zone: str, on: date) -> tuple[str, ...]:
    rise, about_these = period.noise_rise_db, "these-nights-only" in period.flags
    to_come = [wording.interval(None if about_these else period.snr_change_db)] if ahead else []
    return (
        band,
        wording.local_hour(period.hour_utc, zone, on),
        f"{period.hour_utc:02d}:00",
        wording.interval(period.measured_db or period.snr_change_db),
        *([wording.interval(period.by_ratio_db)] if ratio else []),
        *to_come,
        wording.decibel(rise.value if rise else None),
        str(period.nights),
        str(period.passes),
        words_of_period(period),
        _why(period),
    )


def _why(period: PeriodFinding) -> str:
    """The reason where it says more than the numbers beside it."""
    told = (
        period.withheld or period.snr_change_db is None or not {"physics", "table"}.isdisjoint(period.flags)
    )
    return period.reason if told else ""
