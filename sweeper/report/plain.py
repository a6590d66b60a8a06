"""The findings as plain text of 72 columns, for mail. Words only; nothing is decided here."""

import textwrap
from collections.abc import Sequence

from sweeper.analysis import Comparison, Findings
from sweeper.report import wording
from sweeper.report.answer import answer_line
from sweeper.report.pictures.fix import fix_lines

WIDTH = 72


def as_text(
    findings: Findings,
    zone: str = "UTC",
    comparison: Comparison | None = None,
    found_by_check: Sequence[str] = (),
) -> str:
    """What the last check found, what to do, what a fix changed, what is open, and on what it rests.

    Ends without a line break.
    """
    lines = [
        findings.station,
        f"{wording.nights_measured(findings)}, {wording.dates(findings, zone)}; times: {zone}",
        "",
        *textwrap.wrap(f"{answer_line(findings, zone)}.", WIDTH),
        "",
    ]
    for sentence in found_by_check:
        lines += textwrap.wrap(sentence, WIDTH, subsequent_indent="  ")
    if found_by_check:
        lines.append("")
    for band in findings.bands:
        lines += textwrap.wrap(f"{band.band}: {band.recommendation}", WIDTH, subsequent_indent="  ")
    if comparison is not None and comparison.fix is not None:
        lines.append("")
        said = [*fix_lines(comparison, zone), *(f"{band.band}: {band.reason}" for band in comparison.bands)]
        for sentence in said:
            lines += textwrap.wrap(sentence, WIDTH, subsequent_indent="  ")
    open_hours = [
        (
            band.band,
            sum(period.verdict == "undecided" and not period.withheld for period in band.periods),
            sum(period.withheld for period in band.periods),
            len(band.periods),
        )
        for band in findings.bands
    ]
    still = [f"{band} {missing} of {hours} hours" for band, missing, _, hours in open_hours if missing]
    held = [f"{band} {missing} of {hours} hours" for band, _, missing, hours in open_hours if missing]
    lines.append("")
    lines += textwrap.wrap(f"Not settled yet: {'; '.join(still) if still else 'nothing'}.", WIDTH)
    if held:
        lines += textwrap.wrap(
            f"No answer: {'; '.join(held)}; more nights will not help before what is wrong is mended.", WIDTH
        )
    lines += textwrap.wrap(
        f"Intervals at {findings.confidence:.0%}; a change under {findings.worthwhile_db:g} dB is none here.",
        WIDTH,
    )
    return "\n".join(lines)
