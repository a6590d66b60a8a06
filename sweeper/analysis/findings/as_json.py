"""Findings and comparisons as JSON objects, formats ``sweeper-findings-1`` and ``sweeper-comparison-1``.

Only the writing down; the formats are fixed, keys may be added.
"""

import json
from datetime import UTC, datetime

from sweeper.analysis.results import BandComparison, Comparison, Findings, PeriodFinding
from sweeper.analysis.statistics.interval import Interval

Json = dict[str, object]


def findings_json(findings: Findings) -> str:
    """The findings as JSON text."""
    return json.dumps(findings_object(findings), ensure_ascii=False, allow_nan=False, indent=1)


def findings_object(findings: Findings) -> Json:
    """The findings as a ``sweeper-findings-1`` object for `json.dumps`: decibels, null for unknown, no NaN."""
    return {
        "format": "sweeper-findings-1",
        "station": findings.station,
        "from": _instant(findings.start),
        "to": _instant(findings.end),
        "confidence": findings.confidence,
        "worthwhile_db": findings.worthwhile_db,
        "bands": [
            {
                "band": band.band,
                "gain_db": _interval(band.gain_db),
                "gain_from": band.gain_from,
                "stage_noise_figure_db": _interval(band.stage_noise_figure_db),
                "receiver_noise_figure_db": _interval(band.receiver_noise_figure_db),
                "chain_noise_figure_change_db": _interval(band.chain_change_db),
                "flags": list(band.flags),
                "periods": [
                    {
                        "hour_utc": period.hour_utc,
                        "passes": period.passes,
                        "nights": period.nights,
                        "snr_change_db": _interval(period.snr_change_db),
                        "noise_rise_db": _interval(period.noise_rise_db),
                        "fa_db": _interval(period.fa_db),
                        "snr_change_measured_db": _interval(period.measured_db),
                        **_by_ratio(period),
                        "verdict": period.verdict,
                        "verdict_measured": period.measured_verdict,
                        "flags": list(period.flags),
                        "reason": period.reason,
                    }
                    for period in band.periods
                ],
                "recommendation": band.recommendation,
            }
            for band in findings.bands
        ],
    }


def _by_ratio(period: PeriodFinding) -> Json:
    """Told only where whole spectra were read: nothing else has it."""
    told = period.by_ratio_db
    return {} if told is None else {"snr_change_by_ratio_db": _interval(told)}


def comparison_object(comparison: Comparison) -> Json:
    """The comparison as a ``sweeper-comparison-1`` object for `json.dumps`: decibels, null for unknown, no NaN."""
    return {
        "format": "sweeper-comparison-1",
        "station": comparison.station,
        "fix": None if comparison.fix is None else _instant(comparison.fix),
        "confidence": comparison.confidence,
        "bands": [_band(band) for band in comparison.bands],
        "all_bands": None if comparison.all_bands is None else _band(comparison.all_bands),
        "sky": comparison.sky,
        "left_out": None if comparison.left_out is None else comparison.left_out.isoformat(),
        "changes": [
            {
                "night": change.night.isoformat(),
                "change_db": _interval(change.change_db),
                "bands": list(change.bands),
                "chance": round(change.chance, 4),
                "notes": list(change.notes),
            }
            for change in comparison.changes
        ],
    }


def _band(band: BandComparison) -> Json:
    return {
        "band": band.band,
        "change_db": _interval(band.change_db),
        "nights_before": band.nights_before,
        "nights_after": band.nights_after,
        "verdict": band.verdict,
        "flags": list(band.flags),
        "reason": band.reason,
        "smallest_change_db": None if band.smallest_change_db is None else round(band.smallest_change_db, 2),
        "periods": [
            {"hour_utc": period.hour_utc, "change_db": _interval(period.change_db)} for period in band.periods
        ],
    }


def _interval(interval: Interval | None) -> Json | None:
    if interval is None:
        return None
    return {name: round(getattr(interval, name), 4) for name in ("value", "low", "high")}


def _instant(moment: datetime) -> str:
    return moment.astimezone(UTC).isoformat(timespec="seconds").replace("+00:00", "Z")
