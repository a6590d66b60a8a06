"""The findings as files inside the page, for other programs: the JSON of `analyse --json` on one line, and a CSV."""

import csv
import io
import json
import re

from markupsafe import Markup

from sweeper.analysis import Findings, findings_object


def downloads(findings: Findings) -> list[tuple[str, Markup]]:
    """Name and address of each file."""
    as_json = json.dumps(
        findings_object(findings), ensure_ascii=False, allow_nan=False, separators=(",", ":")
    )
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
            "flags",
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
                    " ".join(period.flags),
                ]
            )
    return [
        ("findings.json", _data("application/json", as_json)),
        ("findings.csv", _data("text/csv", table.getvalue())),
    ]


def _tame(text: str) -> str:
    """A spreadsheet takes a cell that begins with one of these signs for a formula."""
    return f"'{text}" if text[:1] in "=+-@\t\r" else text


def _data(kind: str, text: str) -> Markup:
    """The address of a text that stands in the page itself, for an attribute in single quotes.

    Only what would end a data URL early (RFC 2397, RFC 3986) is written with percent signs; base64 is a third longer.
    """
    plain = re.sub(r"[\x00-\x1f\x7f%#]", lambda found: f"%{ord(found[0]):02X}", text)
    return Markup(
        f"data:{kind};charset=utf-8,{plain}".replace("&", "&amp;").replace("<", "&lt;").replace("'", "&#39;")
    )
