"""From the summaries of many nights to findings: gain, S/N change, noise rise, verdicts and advice."""

from datetime import date, datetime, timedelta
from typing import TYPE_CHECKING

import numpy as np

from sweeper.analysis import evidence, evidence_of
from sweeper.analysis.cells import Cell, cells_of_band
from sweeper.analysis.evidence import Evidence
from sweeper.analysis.external_noise import fa_from_rise_db
from sweeper.analysis.facts import StationFacts
from sweeper.analysis.findings import BandFinding, Findings, Interval, PeriodFinding
from sweeper.analysis.gain import Gain, combine
from sweeper.analysis.nightly import nightly
from sweeper.analysis.noise_figure import NoiseFigures, figures
from sweeper.analysis.overload import Diagnosis, diagnose, without_overload
from sweeper.analysis.recommendation import advice, midnight, reason_of
from sweeper.analysis.rule import Rule, rule_of
from sweeper.analysis.verdict import WITHHOLDING, Judged, interval_of, judge

if TYPE_CHECKING:
    import polars as pl


def find(summaries: "pl.DataFrame", facts: StationFacts) -> tuple[Findings, Evidence]:
    """Reduce the summaries of all nights to findings and the tables behind them.

    `summaries`: rows of `summary_columns`, days concatenated, any order. Pure and deterministic.
    """
    nights = nightly(summaries)
    bands = list(dict.fromkeys([channel.band for channel in facts.channels]))
    bands += sorted(set(summaries["band"].to_list()) - set(bands))
    gains: dict[str, Gain | None] = {}
    diagnoses: dict[str, Diagnosis] = {}
    noise: dict[str, NoiseFigures] = {}
    rules: dict[str, Rule | None] = {}
    cells: list[Cell] = []
    for band in bands:
        here = summaries.filter(summaries["band"] == band)
        if here.is_empty():
            continue
        diagnoses[band] = diagnose(here, facts)
        steady = without_overload(here, diagnoses[band])
        gains[band] = combine(steady if not steady.is_empty() else here, facts)
        noise[band] = figures(steady if not steady.is_empty() else here, gains[band], facts)
        rules[band] = rule_of(steady, gains[band], facts)
        cells += cells_of_band(nights.filter(nights["band"] == band), gains[band])
    troubles = {
        place: _troubles(cell, diagnoses[cell.band], noise[cell.band]) for place, cell in enumerate(cells)
    }
    judged = judge(cells, facts.worthwhile_db, facts.confidence, troubles)
    found = []
    for band in bands:
        places = [place for place, cell in enumerate(cells) if cell.band == band]
        periods = tuple(
            _period(cells[place], judged[place], troubles[place], noise.get(band), nights, facts)
            for place in places
        )
        found.append(
            _band(
                band,
                periods,
                gains.get(band),
                noise.get(band),
                diagnoses.get(band),
                nights,
                rules.get(band),
                facts,
            )
        )
    start, end = _span(summaries)
    findings = Findings(facts.name, start, end, facts.confidence, facts.worthwhile_db, tuple(found))
    return findings, _evidence(summaries, nights, gains, rules, facts)


def _troubles(cell: Cell, diagnosis: Diagnosis, noise: NoiseFigures) -> frozenset[str]:
    """Flags that hold for the cell: those of the band, with overload only in the hours in which it shows."""
    flags = set(diagnosis.flags) | set(noise.flags)
    flags.discard("overload")
    if cell.hour_utc in diagnosis.overloaded_hours and "mismatch" not in flags:
        flags.add("overload")
    return frozenset(flags)


def _period(
    cell: Cell,
    judged: Judged,
    troubles: frozenset[str],
    noise: NoiseFigures | None,
    nights: "pl.DataFrame",
    facts: StationFacts,
) -> PeriodFinding:
    flags = set(cell.flags) | troubles
    if cell.about_these_nights_only:
        flags.add("these-nights-only")
    if judged.by_physics:
        flags.add("physics")
    if judged.held_back:
        flags.add("table")
    if not facts.meter.calibrated:
        flags.add("uncalibrated")
    return PeriodFinding(
        hour_utc=cell.hour_utc,
        passes=cell.passes,
        nights=cell.nights,
        snr_change_db=judged.snr_change_db,
        noise_rise_db=interval_of(cell.noise_rise, cell.nights, facts.confidence),
        fa_db=_fa(cell, noise, facts),
        verdict=judged.verdict,
        flags=tuple(sorted(flags)),
        reason=reason_of(cell, judged, facts.worthwhile_db),
    )


def _fa(cell: Cell, noise: NoiseFigures | None, facts: StationFacts) -> Interval | None:
    """External noise of the hour: the interval of the noise rise carried over, the receiver's own added."""
    rise = interval_of(cell.noise_rise, cell.nights, facts.confidence)
    if noise is None or noise.receiver_db is None or rise is None or rise.low <= 0.05:
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
    band: str,
    periods: tuple[PeriodFinding, ...],
    gain: Gain | None,
    noise: NoiseFigures | None,
    diagnosis: Diagnosis | None,
    nights: "pl.DataFrame",
    rule: Rule | None,
    facts: StationFacts,
) -> BandFinding:
    flags = set(diagnosis.flags if diagnosis else ()) | set(gain.flags if gain else ())
    flags |= set(noise.flags if noise else ())
    on = midnight(max(nights["night"].to_list())) if not nights.is_empty() else None
    sentences = [*(diagnosis.sentences if diagnosis else ()), *(gain.sentences if gain else ())]
    sentences += list(noise.sentences if noise else ())
    sentence = rule.sentence if rule and not WITHHOLDING.intersection(flags) else ""
    text = (
        advice(band, periods, facts.timezone, on, rule=sentence)
        if on is not None
        else f"{band}: nothing measured yet."
    )
    return BandFinding(
        band=band,
        gain_db=gain.interval(facts.confidence) if gain else None,
        gain_from=gain.source if gain else None,
        stage_noise_figure_db=noise.stage_db if noise else None,
        receiver_noise_figure_db=noise.receiver_db if noise else None,
        flags=tuple(sorted(flags)),
        periods=periods,
        recommendation=" ".join([text, *sentences]),
    )


def _span(summaries: "pl.DataFrame") -> tuple[datetime, datetime]:
    """From the first hour measured to the end of the last, UTC."""
    if summaries.is_empty():
        epoch = midnight(date(1970, 1, 1))
        return epoch, epoch
    moments = [
        midnight(night) + timedelta(days=1 if hour < 12 else 0, hours=hour)
        for night, hour in summaries.select("night", "hour_utc").unique().iter_rows()
    ]
    return min(moments), max(moments) + timedelta(hours=1)


def _evidence(
    summaries: "pl.DataFrame",
    nights: "pl.DataFrame",
    gains: dict[str, Gain | None],
    rules: dict[str, Rule | None],
    facts: StationFacts,
) -> Evidence:
    curve, crossings = evidence_of.curve_table(rules, gains, facts)
    return Evidence(
        levels=evidence_of.levels_table(nights, facts.confidence),
        nights=evidence_of.nights_table(nights, gains, facts.confidence),
        curve=curve,
        points=evidence_of.points_table(nights, gains),
        crossings=crossings,
        health=evidence_of.health_table(summaries),
        gains=evidence_of.gains_table(gains, facts.confidence),
        months=evidence.empty(evidence.MONTHS),
        parts=evidence.empty(evidence.PARTS),
    )
