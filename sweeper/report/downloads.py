"""The findings as files inside the page, for other programs: JSON as `analyse --json` writes it, and a table as CSV."""

import base64
import csv
import io

from sweeper.analysis import Findings, findings_json


def downloads(findings: Findings) -> list[tuple[str, str]]:
    """Name and address of each file."""
    as_json = findings_json(findings)
    table = io.StringIO()
    writer = csv.writer(table)
    writer.writerow(
        [
            "band",
            "hour_utc",
            "nights",
            "passes",
            "snr_change_db",
            "low",
            "high",
            "noise_rise_db",
            "verdict",
            "reason",
        ]
    )
    for band in findings.bands:
        for period in band.periods:
            change, rise = period.snr_change_db, period.noise_rise_db
            ends = (
                [f"{value:.3f}" for value in (change.value, change.low, change.high)]
                if change
                else ["", "", ""]
            )
            writer.writerow(
                [
                    _tame(band.band),
                    period.hour_utc,
                    period.nights,
                    period.passes,
                    *ends,
                    f"{rise.value:.3f}" if rise else "",
                    period.verdict,
                    _tame(period.reason),
                ]
            )
    return [
        ("findings.json", _data("application/json", as_json)),
        ("findings.csv", _data("text/csv", table.getvalue())),
    ]


def _tame(text: str) -> str:
    """A spreadsheet takes a cell that begins with one of these signs for a formula."""
    return f"'{text}" if text[:1] in "=+-@\t\r" else text


def _data(kind: str, text: str) -> str:
    return f"data:{kind};charset=utf-8;base64,{base64.b64encode(text.encode()).decode()}"
