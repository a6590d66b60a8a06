"""Writes the report: one file with everything in it, the answer at its top, the rest folded below.

Puts findings, pictures and words together; computes nothing. Everything out of files is escaped by the template,
and the page's own policy lets no script run, whatever got in.
"""

from collections.abc import Callable, Sequence
from pathlib import Path

from sweeper.analysis import Comparison, Evidence, Findings
from sweeper.noise.told import NoiseTold
from sweeper.report import wording
from sweeper.report.answer import answer
from sweeper.report.downloads import downloads
from sweeper.report.noise_words import worth_acting
from sweeper.report.rig_line import health_line
from sweeper.report.sections import SECTIONS, Section, sections
from sweeper.report.setting import Setting
from sweeper.report.since_last import Json, carried_json, changed, previous_findings
from sweeper.report.template import policy, style, template
from sweeper.report.whole_file import writable, write_page
from sweeper.store import Note
from sweeper.words import PassRecord


def write_html(
    findings: Findings,
    evidence: Evidence,
    passes: Sequence[PassRecord],
    file: Path,
    *,
    setting: Setting | None = None,
    comparison: Comparison | None = None,
    notes: Sequence[Note] = (),
    noise: NoiseTold | None = None,
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
        noise=noise,
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
    noise: NoiseTold | None = None,
    progress: Callable[[float], None] = lambda share: None,
) -> str:
    """The page as HTML. `previous`: the findings to say what changed since; None for the first report."""
    zone = setting.zone
    shown: list[Section] = []
    for section in sections(findings, evidence, passes, setting, comparison, notes, noise):
        shown.append(section)
        progress(min(len(shown) / SECTIONS, 1.0))
    told = answer(findings, zone)
    return template("report.html").render(
        policy=policy(),
        style=style(),
        findings=findings,
        answer=told,
        line=_unbroken(told.line, findings),
        zone=zone,
        health=health_line(passes, setting),
        local_noise=worth_acting(noise, findings.worthwhile_db) if noise is not None else "",
        found_by_check=setting.found_by_check,
        nights=wording.nights_measured(findings),
        on_nights=wording.what_was_measured(findings),
        dates=wording.dates(findings, zone),
        changed=changed(findings, previous, zone),
        sections=shown,
        downloads=downloads(findings),
        confidence=f"{findings.confidence:.0%}",
        worthwhile=f"{findings.worthwhile_db:g}",
        carried=carried_json(findings, dict(previous) if previous is not None else None),
    )


def _unbroken(line: str, findings: Findings) -> str:
    """The line with names of bands that no line break parts."""
    for band in findings.bands:
        line = line.replace(band.band, band.band.replace(" ", "\u00a0"))
    return line
