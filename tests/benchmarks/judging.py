"""What a campaign's answers are worth against its truth: ours, and those of three plainer ways on the same readings.

One call for a campaign gives one row for each band and hour. Counting them up is `truth`'s.
"""

import warnings
from dataclasses import dataclass, field
from functools import cache

import numpy as np
import polars as pl
from scipy.stats import norm, t

from sweeper.analysis import Interval, PeriodFinding, StationFacts, compare, findings_from, table_of
from sweeper.simulation.campaign.course import BandTruth, Course
from sweeper.simulation.campaign.draw import Campaign, campaign
from tests.benchmarks.campaigns import CONFIDENCE, WORTHWHILE_DB, Planned

Z80 = float(norm.ppf(0.5 + CONFIDENCE / 2) + norm.ppf(0.8))

STOPPED_UNDER_DB = 2.5


@dataclass
class Row:
    """One band and hour of one campaign. Lists run over mornings; a morning without interval holds None."""

    kind: str
    stratum: dict[str, str]
    campaign: int
    truth_db: float
    nights: int
    fixed_nights: float
    overloaded: bool
    flagged: bool = False
    bias_db: float | None = None
    reach_db: float | None = None
    """Half of the last interval."""
    stopped_db: float | None = None
    """What the S/N change read too large where measuring stopped at a first verdict “stage” under 2.5 dB."""
    covered: list[bool | None] = field(default_factory=list)
    verdicts: list[str] = field(default_factory=list)
    wrong: list[bool] = field(default_factory=list)
    others: dict[str, tuple[bool | None, bool, bool]] = field(default_factory=dict)
    """By method: covered at the end, verdict given, verdict wrong (looking every morning, stopping at the first)."""


@dataclass
class GainRow:
    """The gain of one band at the end of a campaign."""

    kind: str
    stratum: dict[str, str]
    campaign: int
    error_db: float
    reach_db: float
    covered: bool


@dataclass
class FixRow:
    """A campaign with a fix, or none, over all bands."""

    kind: str
    stratum: dict[str, str]
    campaign: int
    verdict: str
    covered: bool | None


def fix_judged(plan: Planned, thrown: Campaign, days: list[pl.DataFrame], facts: StationFacts) -> FixRow:
    """Before against after, all nights at once."""
    found = compare(pl.concat(days), facts, thrown.fix).all_bands
    if found is None or found.change_db is None:
        return FixRow(plan.kind, plan.stratum, plan.seed, "undecided", None)
    held = _holds(found.change_db, -thrown.course.fix_db)
    return FixRow(plan.kind, plan.stratum, plan.seed, found.verdict, held)


def verdict_of(low: float, high: float) -> str:
    """The verdict that an interval carries when nobody minds looks, tables or overload."""
    if low > WORTHWHILE_DB:
        return "stage"
    if high < -WORTHWHILE_DB:
        return "bypass"
    return "either" if low > -WORTHWHILE_DB and high < WORTHWHILE_DB else "undecided"


def is_wrong(verdict: str, truth_db: float) -> bool:
    """Whether a verdict contradicts the truth."""
    return {
        "stage": truth_db <= WORTHWHILE_DB,
        "bypass": truth_db >= -WORTHWHILE_DB,
        "either": abs(truth_db) > WORTHWHILE_DB,
        "undecided": False,
    }[verdict]


def judged(
    plan: Planned, thrown: Campaign, days: list[pl.DataFrame], facts: StationFacts
) -> tuple[list[Row], list[GainRow]]:
    """Look every morning at the summaries of all nights so far."""
    rows: dict[tuple[str, int], Row] = {}
    for band in thrown.course.bands:
        spread = night_spread(band, thrown.course)
        for place, hour in enumerate(thrown.course.hours):
            truth = thrown.snr_change_db(band.name, hour)
            distance = min(abs(truth - WORTHWHILE_DB), abs(truth + WORTHWHILE_DB))
            rows[band.name, hour] = Row(
                plan.kind,
                plan.stratum | {"noise rise": _rise_class(thrown.noise_rise_db(band.name, hour))},
                plan.seed,
                truth,
                0,
                (Z80 * spread[place] / max(distance, 1e-6)) ** 2,
                thrown.overload(band.name, hour),
            )
    gains: list[GainRow] = []
    for morning in range(1, len(days) + 1):
        summaries = pl.concat(days[:morning])
        if summaries.is_empty():
            continue
        findings = findings_from(table_of(summaries, facts), summaries, facts)
        last = morning == len(days)
        for finding in findings.bands:
            for period in finding.periods:
                row = rows[finding.band, period.hour_utc]
                row.nights = period.nights
                truth = row.truth_db
                if period.nights < 3:
                    truth = truth_of_these(thrown, finding.band, period.hour_utc, summaries)
                _enter(row, period, truth, last)
            if last and finding.gain_db is not None:
                truth = thrown.gain_db(finding.band)
                error = finding.gain_db.value - truth
                held = _holds(finding.gain_db, truth)
                gains.append(
                    GainRow(plan.kind, plan.stratum, plan.seed, error, _reach(finding.gain_db), held)
                )
    return list(rows.values()), gains


def _enter(row: Row, period: PeriodFinding, truth_db: float, last: bool) -> None:
    interval = period.snr_change_db
    first = all(verdict == "undecided" for verdict in row.verdicts)
    if first and interval is not None and period.verdict == "stage" and interval.value < STOPPED_UNDER_DB:
        row.stopped_db = interval.value - truth_db
    row.covered.append(None if interval is None else _holds(interval, truth_db))
    row.verdicts.append(period.verdict)
    row.wrong.append(is_wrong(period.verdict, truth_db))
    if last:
        row.flagged = "overload" in period.flags
        row.bias_db = None if interval is None else interval.value - truth_db
        row.reach_db = None if interval is None else _reach(interval)


def _holds(interval: Interval, truth_db: float) -> bool:
    return interval.low <= truth_db <= interval.high


def _reach(interval: Interval) -> float:
    return (interval.high - interval.low) / 2


def _rise_class(rise_db: float) -> str:
    for edge, name in ((1.5, "under 1.5 dB"), (4.0, "1.5 to 4 dB"), (8.0, "4 to 8 dB")):
        if rise_db < edge:
            return name
    return "over 8 dB"


def truth_of_these(thrown: Campaign, band: str, hour: int, summaries: pl.DataFrame) -> float:
    """With one or two nights the truth is about those nights."""
    there = summaries.filter(
        (pl.col("band") == band)
        & (pl.col("hour_utc") == hour)
        & (pl.col("for") == "noise")
        & (pl.col("passes") > 0)
    )
    nights = [thrown.dates.index(night) for night in there["night"].unique().to_list()]
    if not nights:
        return thrown.snr_change_db(band, hour)
    return float(np.mean([_truth_on(thrown.course, thrown.seed, band, hour, night) for night in nights]))


@cache
def _truth_on(course: Course, seed: int, band: str, hour: int, night: int) -> float:
    return campaign(course, seed).snr_change_on(band, hour, night)


@cache
def night_spread(band: BandTruth, course: Course) -> list[float]:
    """Standard deviation over nights of the true S/N change of each hour, from 200 other nights."""
    alone = Course(
        (band,),
        nights=200,
        hours=course.hours,
        night_sd_db=course.night_sd_db,
        drift_sd_db=course.drift_sd_db,
    )
    other = campaign(alone, 1)
    return [
        float(np.std([other.snr_change_on(band.name, hour, night) for night in range(200)], ddof=1))
        for hour in course.hours
    ]


def plainer(rows: list[Row], thrown: Campaign, nights: list[pl.DataFrame]) -> None:
    """Enter what a glance, a t test over all readings and regression with HAC errors would have said.

    All three take carrier difference minus noise difference, stage minus bypass, in decibels as read, and believe
    their 95 % interval every morning. Only where there are carriers.
    """
    places = [(band.name, hour) for band in thrown.course.bands for hour in thrown.course.hours]
    for row, (band, hour) in zip(rows, places, strict=True):
        here = [
            night.filter(
                (pl.col("band") == band)
                & (pl.col("time").dt.hour() == hour)
                & (pl.col("source") == "antenna")
            ).sort("time")
            for night in nights
        ]
        for name, method in (("glance", _glance), ("t test", _t_test), ("HAC", _hac)):
            first, wrong, covered = False, False, None
            for morning in range(1, len(here) + 1):
                found = method(pl.concat(here[:morning]))
                if found is None:
                    continue
                low, high = found
                verdict = verdict_of(low, high)
                covered = low <= row.truth_db <= high if high > low else None
                if verdict != "undecided" and not first:
                    first, wrong = True, is_wrong(verdict, row.truth_db)
            row.others[name] = (covered, first, wrong)


def _routes(readings: pl.DataFrame, purpose: str) -> tuple[np.ndarray, np.ndarray]:
    chosen = readings.filter(pl.col("for") == purpose)
    return chosen["reading"].to_numpy(), (chosen["route"] == "stage").to_numpy().astype(float)


def _glance(readings: pl.DataFrame) -> tuple[float, float] | None:
    """One look at the needle each way, on the carrier and beside it; no interval at all."""
    change = 0.0
    for purpose, sign in (("carrier", 1.0), ("noise", -1.0)):
        reading, stage = _routes(readings, purpose)
        if not stage.any() or stage.all():
            return None
        change += sign * float(reading[stage == 1][0] - reading[stage == 0][0])
    return change, change


def _t_test(readings: pl.DataFrame) -> tuple[float, float] | None:
    change, variance, count = 0.0, 0.0, 0
    for purpose, sign in (("carrier", 1.0), ("noise", -1.0)):
        reading, stage = _routes(readings, purpose)
        into, out = reading[stage == 1], reading[stage == 0]
        if len(into) < 2 or len(out) < 2:
            return None
        change += sign * float(into.mean() - out.mean())
        variance += float(into.var(ddof=1) / len(into) + out.var(ddof=1) / len(out))
        count += len(reading)
    reach = float(t.ppf(0.5 + CONFIDENCE / 2, count - 4)) * variance**0.5
    return change - reach, change + reach


def _hac(readings: pl.DataFrame) -> tuple[float, float] | None:
    """Ordinary least squares on the route, Newey-West errors with the usual lag 4·(n/100)^(2/9)."""
    import statsmodels.api as sm

    change, variance = 0.0, 0.0
    for purpose, sign in (("carrier", 1.0), ("noise", -1.0)):
        reading, stage = _routes(readings, purpose)
        if stage.sum() < 2 or (1 - stage).sum() < 2:
            return None
        lags = int(4 * (len(reading) / 100) ** (2 / 9))
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # a constant row of readings has no variance; that is its answer
            fit = sm.OLS(reading, sm.add_constant(stage)).fit(cov_type="HAC", cov_kwds={"maxlags": lags})
        change += sign * float(fit.params[1])
        variance += float(fit.bse[1]) ** 2
    reach = float(norm.ppf(0.5 + CONFIDENCE / 2)) * variance**0.5
    return change - reach, change + reach
