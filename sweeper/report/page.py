"""Writes the report: one file with everything in it, what to do first, then the pictures.

Puts findings, pictures and words together; computes nothing. Everything out of files is escaped by the template,
and the page's own policy lets no script run, whatever got in.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

from sweeper.analysis import BandFinding, Comparison, Evidence, Findings, clock_spans
from sweeper.report import wording
from sweeper.report.downloads import downloads
from sweeper.report.pictures.when import in_one_sentence
from sweeper.report.sections import SECTIONS, Section, sections
from sweeper.report.setting import Setting
from sweeper.report.since_last import Json, carried_json, changed, previous_findings
from sweeper.report.template import policy, style, template
from sweeper.report.whole_file import writable, write_page
from sweeper.store import Note
from sweeper.words import PassRecord


@dataclass(frozen=True, slots=True)
class Run:
    """Neighbouring hours of a band with one verdict."""

    verdict: str
    sign: str
    words: str
    hours: str


@dataclass(frozen=True, slots=True)
class BandWords:
    """A band in the list of what to do."""

    id: str
    name: str
    runs: tuple[Run, ...]
    recommendation: str


def write_html(
    findings: Findings,
    evidence: Evidence,
    passes: Sequence[PassRecord],
    file: Path,
    *,
    setting: Setting | None = None,
    comparison: Comparison | None = None,
    notes: Sequence[Note] = (),
    progress: Callable[[float], None] = lambda share: None,
) -> None:
    """Write the page to `file`, whole or not at all; a report already there says what was found last time.

    `WrongInput` where no file can be written.
    """
    setting = setting or Setting()
    writable(file)
    previous = previous_findings(file, findings, setting.zone)
    page = page_text(
        findings,
        evidence,
        passes,
        previous,
        setting=setting,
        comparison=comparison,
        notes=notes,
        progress=progress,
    )
    write_page(file, page)


def page_text(
    findings: Findings,
    evidence: Evidence,
    passes: Sequence[PassRecord],
    previous: Json | None,
    *,
    setting: Setting,
    comparison: Comparison | None = None,
    notes: Sequence[Note] = (),
    progress: Callable[[float], None] = lambda share: None,
) -> str:
    """The page as HTML. `previous`: the findings to say what changed since; None for the first report."""
    zone = setting.zone
    shown: list[Section] = []
    for section in sections(findings, evidence, passes, setting, comparison, notes):
        shown.append(section)
        progress(len(shown) / SECTIONS)
    return template("report.html").render(
        policy=policy(),
        style=style(),
        findings=findings,
        answer=in_one_sentence(findings, zone),
        zone=zone,
        found_by_check=setting.found_by_check,
        nights=wording.nights_measured(findings),
        since=wording.local_time(findings.start, zone),
        until=wording.local_time(findings.end, zone),
        contents=[
            ("do", "What to do"),
            ("changed", "What changed"),
            ("open", "What is open"),
            *((section.id, section.heading) for section in shown),
            ("numbers", "The numbers"),
        ],
        bands=[_band(band, findings, zone) for band in findings.bands],
        changed=changed(findings, previous, zone),
        open_lines=_still_open(findings, evidence, zone),
        sections=shown,
        downloads=downloads(findings),
        confidence=f"{findings.confidence:.0%}",
        worthwhile=f"{findings.worthwhile_db:g}",
        carried=carried_json(findings, dict(previous) if previous is not None else None),
    )


def _band(band: BandFinding, findings: Findings, zone: str) -> BandWords:
    on = findings.end.date()
    order = wording.night_order(range(24), zone, on)
    runs = tuple(
        Run(
            wording.verdict_name(run[0]),
            wording.verdict_sign(run[0]),
            wording.verdict_words(run[0]),
            wording.span_words(run[0].hour_utc, len(run), zone, on),
        )
        for run in wording.runs(band.periods, order)
    )
    return BandWords(wording.anchor("do", band.band), band.band, runs, band.recommendation)


def _still_open(findings: Findings, evidence: Evidence, zone: str) -> list[str]:
    on = findings.end
    lines = []
    for band in findings.bands:
        waiting = [period for period in band.periods if period.verdict == "undecided" and not period.withheld]
        if waiting:
            hours = [period.hour_utc for period in waiting]
            settling = evidence.settling.get(band.band, "")
            reasons = dict.fromkeys(period.reason for period in waiting)
            why = (
                next(iter(reasons))
                if len(reasons) == 1
                else "Too early: intervals still reach over the edge."
            )
            line = f"{band.band}, {clock_spans(hours, zone, on)}: {why}"
            lines.append(f"{line} {settling[0].upper()}{settling[1:]}." if settling else line)
        withheld: dict[str, list[int]] = {}
        for period in band.periods:
            if period.withheld:
                withheld.setdefault(period.reason, []).append(period.hour_utc)
        lines += [
            f"{band.band}, {clock_spans(hours, zone, on)}: {why} More nights will not help before that is mended."
            for why, hours in withheld.items()
        ]
    return lines
