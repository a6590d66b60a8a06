"""From the summaries of many nights to findings: gain, S/N change, noise rise, verdicts and advice."""

from datetime import date, datetime, timedelta

import numpy as np
import polars as pl

from sweeper.analysis.band.by_ratio import BY_RATIO
from sweeper.analysis.band.cells import Cell
from sweeper.analysis.band.empty_carriers import EMPTY, sentence_of
from sweeper.analysis.band.noise_figure import NoiseFigures
from sweeper.analysis.band.overload import places_near_overload
from sweeper.analysis.change.household import local_or_sky
from sweeper.analysis.change.levels import noise_levels, on_one_scale
from sweeper.analysis.change.season import by_season, months
from sweeper.analysis.evidence import Evidence
from sweeper.analysis.facts import StationFacts
from sweeper.analysis.findings import tables
from sweeper.analysis.findings.advice import advice, midnight, nothing_usable
from sweeper.analysis.findings.claims import reason_of, rule_by_eye
from sweeper.analysis.physics.external_noise import fa_from_rise_db
from sweeper.analysis.results import BandFinding, Findings, PeriodFinding
from sweeper.analysis.statistics.interval import Interval
from sweeper.analysis.thresholds import RISE_OF_ANY_USE_DB
from sweeper.analysis.verdict.judge import interval_of
from sweeper.analysis.verdict.outlook import Outlook, outlooks
from sweeper.analysis.verdict.table import Table, table_of


def find(summaries: pl.DataFrame, facts: StationFacts) -> tuple[Findings, Evidence]:
    """Reduce the summaries of all nights to findings and the tables behind them.

    `summaries`: rows of `day.columns`, days concatenated, any order. Pure and deterministic.
    """
    table = table_of(summaries, facts)
    findings = findings_from(table, summaries, facts)
    return findings, evidence_from(table, findings, summaries, facts)


def findings_from(table: Table, summaries: pl.DataFrame, facts: StationFacts) -> Findings:
    """The findings alone, from the table of these summaries."""
    ahead = _ahead(table, facts)
    found = []
    for band in table.bands:
        places = [place for place, cell in enumerate(table.cells) if cell.band == band]
        periods = tuple(_period(table, place, facts) for place in places)
        rows = summaries.clear() if periods else summaries.filter(summaries["band"] == band)
        found.append(_band(table, band, periods, ahead.get(band), facts, rows))
    start, end = _span(summaries)
    return Findings(facts.name, start, end, facts.confidence, facts.worthwhile_db, tuple(found))


def _ahead(table: Table, facts: StationFacts) -> dict[str, Outlook]:
    return {each.band: each for each in outlooks(table.cells, table.judged, table.gain_errors, facts)}


def _period(table: Table, place: int, facts: StationFacts) -> PeriodFinding:
    cell, judged, measured = table.cells[place], table.judged[place], table.measured[place]
    flags = set(cell.flags) | table.troubles[place]
    if cell.about_these_nights_only:
        flags.add("these-nights-only")
    if judged.by_physics:
        flags.add("physics")
    if judged.held_back:
        flags.add("table")
    if judged.withheld:
        flags |= {"withheld", judged.withheld}
    if not facts.meter.in_dbm:
        flags.add("uncalibrated")
    return PeriodFinding(
        hour_utc=cell.hour_utc,
        passes=cell.passes,
        nights=cell.nights,
        snr_change_db=judged.snr_change_db,
        noise_rise_db=interval_of(cell.noise_rise, cell.looked, facts.confidence),
        fa_db=_fa(cell, table.noise.get(cell.band), facts),
        verdict=judged.verdict,
        flags=tuple(sorted(flags)),
        reason=reason_of(cell, judged, facts.worthwhile_db, facts.rated_gain_db),
        measured_db=measured.snr_change_db,
        measured_verdict=measured.verdict,
        by_ratio_db=_by_ratio(table, cell, facts),
    )


def _by_ratio(table: Table, cell: Cell, facts: StationFacts) -> Interval | None:
    told = table.by_ratio.get(cell.band)
    return (
        None if told is None else interval_of(told.changes.get(cell.hour_utc), cell.nights, facts.confidence)
    )


def _fa(cell: Cell, noise: NoiseFigures | None, facts: StationFacts) -> Interval | None:
    """External noise of the hour: the interval of the noise rise carried over, the receiver's own added."""
    rise = interval_of(cell.noise_rise, cell.looked, facts.confidence)
    if noise is None or noise.receiver_db is None or rise is None or rise.low <= RISE_OF_ANY_USE_DB:
        return None
    value, low, high = fa_from_rise_db(np.array([rise.value, rise.low, rise.high]), noise.receiver_db.value)
    if not np.isfinite([value, low, high]).all():
        return None
    receiver = (noise.receiver_db.high - noise.receiver_db.low) / 2
    return Interval(
        float(value),
        float(value - np.hypot(value - low, receiver)),
        float(value + np.hypot(high - value, receiver)),
    )


def _band(
    table: Table,
    band: str,
    periods: tuple[PeriodFinding, ...],
    ahead: Outlook | None,
    facts: StationFacts,
    left_out: pl.DataFrame,
) -> BandFinding:
    gain, noise = table.gains.get(band), table.noise.get(band)
    diagnosis, threshold = table.diagnoses.get(band), table.thresholds.get(band)
    flags = {flag for each in (diagnosis, gain, noise) if each is not None for flag in each.flags}
    # where nothing of the band holds, neither does what gain and noise figures say, nor the rule
    nothing_holds = bool(periods) and all(period.withheld for period in periods)
    if gain is None and facts.rated_gain_db is not None:
        flags.add("gain-rated")
    shown = None if gain is BY_RATIO else gain
    nights = table.nights["night"].to_list()
    last_night = midnight(max(nights, default=date(1970, 1, 1)))
    told = (diagnosis,) if nothing_holds else (diagnosis, noise, gain)
    trouble = [sentence for each in told if each is not None for sentence in each.sentences]
    rule_text = (
        rule_by_eye(threshold, facts.meter.unit, facts.worthwhile_db)
        if threshold and not nothing_holds
        else ""
    )
    rule_text = rule_text.replace(" -", " −")
    if periods:
        text = advice(
            periods,
            facts.timezone,
            last_night,
            facts.worthwhile_db,
            next_step=ahead.sentence if ahead else "",
            second=trouble[0] if trouble else rule_text,
            third=""
            if trouble
            or nothing_holds
            or len(table.meter.scales) > 1  # means over nights on one scale of several
            else by_season(table.nights.filter(table.nights["band"] == band), gain, facts, table.alike),
        )
    else:
        text = nothing_usable(left_out)
    empty = table.empty_carriers.get(band)
    if empty:
        flags.add(EMPTY)
        text = f"{text} {sentence_of(empty, facts.timezone, last_night)}"
    return BandFinding(
        band=band,
        gain_db=shown.interval(facts.confidence) if shown else None,
        gain_from=shown.source if shown else None,
        stage_noise_figure_db=noise.stage_db if noise else None,
        receiver_noise_figure_db=noise.receiver_db if noise else None,
        flags=tuple(sorted(flags)),
        periods=periods,
        recommendation=text,
        chain_change_db=noise.chain_change_db if noise else None,
    )


def _span(summaries: pl.DataFrame) -> tuple[datetime, datetime]:
    """From the first hour measured to the end of the last, UTC."""
    if summaries.is_empty():
        epoch = midnight(date(1970, 1, 1))
        return epoch, epoch
    hours = pl.col("hour_utc") + pl.when(pl.col("hour_utc") < 12).then(24).otherwise(0)
    moment = pl.col("night").cast(pl.Datetime("us", "UTC")) + pl.duration(hours=hours)
    first, last = summaries.select(moment.min().alias("first"), moment.max().alias("last")).row(0)
    return first, last + timedelta(hours=1)


def evidence_from(table: Table, findings: Findings, summaries: pl.DataFrame, facts: StationFacts) -> Evidence:
    """The tables behind findings, for pictures; they cost about as much again as the findings."""
    curve, crossings = tables.curve_table(table.thresholds, table.gains, facts)
    levels = on_one_scale(noise_levels(table.nights, places_near_overload(table.diagnoses)))
    parts, sentence = local_or_sky(levels, facts)
    expected = tables.expected_table(findings, table.nights, facts)
    return Evidence(
        levels=tables.levels_table(table.nights, summaries, facts.confidence, table.alike),
        nights=tables.nights_table(table.nights, table.gains, facts.confidence),
        curve=curve,
        points=tables.points_table(table.nights, table.gains, facts.confidence),
        crossings=crossings,
        health=tables.health_table(summaries, table.diagnoses),
        gains=tables.gains_table(table.gains, facts.confidence),
        expected=expected,
        months=months(table.nights, levels, table.gains, facts, table.alike),
        parts=parts,
        local_or_sky=sentence,
        standing=tables.standing_of(expected),
        settling={band: each.sentence for band, each in _ahead(table, facts).items()},
    )
