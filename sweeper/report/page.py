"""Writes the report: one file with everything in it, what to do first, then the pictures.

Puts findings, pictures and words together; computes nothing. Everything out of files is escaped by the template,
and the page's own policy lets no script run, whatever got in.
"""

import base64
import hashlib
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Self

from sweeper.analysis import BandFinding, Comparison, Findings, clock_spans
from sweeper.daemon.service.health import health_sentence
from sweeper.report import wording
from sweeper.report.downloads import downloads
from sweeper.report.pictures.picture import Numbers, Picture
from sweeper.report.since_last import Json, carried_json, changed, previous_findings
from sweeper.report.whole_file import writable, write_page
from sweeper.words import PassRecord

if TYPE_CHECKING:
    from sweeper.analysis import Evidence
    from sweeper.station import Station
    from sweeper.store import Note


SECTIONS = 9
"""Sections with pictures, for the progress of drawing them."""
NOTES_SHOWN = 20
"""The latest notes; a season may have many."""


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


@dataclass(frozen=True, slots=True)
class Section:
    """A question with the pictures that answer it, and a list or a table where that does."""

    id: str
    heading: str
    lines: tuple[str, ...]
    pictures: tuple[Picture, ...]
    items: tuple[str, ...] = ()
    table: Numbers | None = None


@dataclass(frozen=True, slots=True)
class Setting:
    """What the page must know of the station beyond the findings.

    Time zone, the meter's unit, the relays' rating, and what the busiest of them has done in its life.
    """

    zone: str = "UTC"
    unit: str = "dB"
    rated_operations: int | None = None
    busiest_relay: int = 0

    @classmethod
    def of(cls, station: "Station", folder: Path) -> Self:
        """The setting that the station file says, with the relays' life out of the data folder."""
        from sweeper.daemon.rig.relay_life import operations_of_the_busiest

        meter = station.receiver.meter
        unit = (
            "dBm"
            if meter.curve or meter.unit == "dBm"
            else {"dB-over-S9": "dB over S9"}.get(meter.unit, "dB")
        )
        return cls(
            station.station.timezone,
            unit,
            station.switch.rated_operations,
            operations_of_the_busiest(folder),
        )


def write_html(
    findings: Findings,
    evidence: "Evidence",
    passes: Sequence[PassRecord],
    file: Path,
    *,
    setting: Setting | None = None,
    comparison: Comparison | None = None,
    notes: Sequence["Note"] = (),
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
    evidence: "Evidence",
    passes: Sequence[PassRecord],
    previous: Json | None,
    *,
    setting: Setting,
    comparison: Comparison | None = None,
    notes: Sequence["Note"] = (),
    progress: Callable[[float], None] = lambda share: None,
) -> str:
    """The page as HTML. `previous`: the findings to say what changed since; None for the first report."""
    from jinja2 import Environment, PackageLoader

    from sweeper.report.pictures.when import in_one_sentence

    zone = setting.zone
    sheet = style()
    sections: list[Section] = []
    for section in _sections(findings, evidence, passes, setting, comparison, notes):
        sections.append(section)
        progress(len(sections) / SECTIONS)
    environment = Environment(
        loader=PackageLoader("sweeper.report"), autoescape=True, trim_blocks=True, lstrip_blocks=True
    )
    environment.filters["code"] = wording.with_code
    return environment.get_template("report.html").render(
        policy=policy(),
        style=sheet,
        findings=findings,
        answer=in_one_sentence(findings, zone),
        zone=zone,
        nights=wording.nights_of(findings),
        since=wording.local_time(findings.start, zone),
        until=wording.local_time(findings.end, zone),
        contents=[
            ("do", "What to do"),
            ("changed", "What changed"),
            ("open", "What is open"),
            *((section.id, section.heading) for section in sections),
            ("numbers", "The numbers"),
        ],
        bands=[_band(band, findings, zone) for band in findings.bands],
        changed=changed(findings, previous, zone),
        open_lines=_still_open(findings, evidence, zone),
        sections=sections,
        downloads=downloads(findings),
        confidence=f"{findings.confidence:.0%}",
        worthwhile=f"{findings.worthwhile_db:g}",
        carried=carried_json(findings, dict(previous) if previous is not None else None),
    )


def _sections(
    findings: Findings,
    evidence: "Evidence",
    passes: Sequence[PassRecord],
    setting: Setting,
    comparison: Comparison | None,
    notes: Sequence["Note"],
) -> Iterator[Section]:
    from sweeper.report.pictures.causes import causes
    from sweeper.report.pictures.ceiling import ceiling
    from sweeper.report.pictures.fix import fix
    from sweeper.report.pictures.gain import gain
    from sweeper.report.pictures.noise import noise
    from sweeper.report.pictures.rig import rig
    from sweeper.report.pictures.season import months, season
    from sweeper.report.pictures.when import when

    zone, unit = setting.zone, setting.unit
    fixed = fix(comparison, zone) if comparison is not None else ()
    yield Section("when", "When does the stage help?", (), (when(findings, zone),))
    yield Section(
        "noise",
        "How noisy is it, and what sets the floor?",
        (),
        noise(findings, evidence.levels, evidence.expected, evidence.standing, zone, unit),
    )
    yield Section(
        "ceiling",
        "What would any stage give at most?",
        ()
        if evidence.curve.height
        else ("Not known without a load position: it tells the receiver's floor.",),
        ceiling(evidence, findings.worthwhile_db, unit),
    )
    yield Section("gain", "What gain does the stage have?", (), gain(evidence.gains))
    yield _noise_figures(findings)
    yield Section(
        "fix",
        "Did the fix work?",
        _of_fix(comparison, evidence, zone),
        fixed,
        _noted(notes, zone),
    )
    yield Section(
        "season",
        "How did it go, night by night?",
        ()
        if evidence.nights["night"].n_unique() > 1
        else ("One night so far; a second begins this picture.",),
        season(findings, evidence.nights, zone) + months(evidence.months),
    )
    yield Section(
        "causes",
        "Does the noise come from the house or from the sky?",
        (evidence.local_or_sky or "Some weeks of nights are needed to tell them apart.",),
        causes(evidence.parts, evidence.local_or_sky),
    )
    yield Section(
        "rig",
        "Is the rig healthy?",
        _of_rig(passes),
        rig(passes, evidence.health, setting.busiest_relay, setting.rated_operations, zone),
    )


def _noise_figures(findings: Findings) -> Section:
    """Noise figures by band: of receiver and stage where they can be known, and what the stage does to the chain's."""
    known = [
        (band.band, band.receiver_noise_figure_db, band.stage_noise_figure_db, band.chain_change_db)
        for band in findings.bands
    ]
    rows = tuple(
        (band, wording.interval(receiver, False), wording.interval(stage, False), wording.interval(chain))
        for band, receiver, stage, chain in known
        if receiver or stage or chain
    )
    lines = ["Below zero in the last column: with the stage in, the whole chain makes less noise of its own."]
    if not rows:
        lines = ["Not known without a load position, which shows the noise of receiver and stage alone."]
    elif not any(receiver for _, receiver, _, _ in known):
        lines.append(
            "The figures of receiver and stage themselves take a calibrated meter or a noise source."
        )
    headings = ("Band", "Receiver, dB", "Stage, dB", "Change of the chain by the stage, dB")
    table = Numbers(headings, rows) if rows else None
    return Section("figures", "How much noise do receiver and stage make?", tuple(lines), (), (), table)


def _of_fix(comparison: Comparison | None, evidence: "Evidence", zone: str) -> tuple[str, ...]:
    """What the fix changed; without one, how to learn that, and whether the levels show a change by themselves."""
    from sweeper.analysis import FEWEST_NIGHTS
    from sweeper.report.pictures.fix import fix_lines

    if comparison is not None and comparison.fix is not None:
        return fix_lines(comparison, zone)
    how = "Make the change, note its time with `sweeper note`, measure some nights, and compare."
    if comparison is None or evidence.nights["night"].n_unique() < FEWEST_NIGHTS:
        return (how,)
    return (how, *fix_lines(comparison, zone))


def _of_rig(passes: Sequence[PassRecord]) -> tuple[str, ...]:
    """The health of the passes measured here, and that nothing is known of those brought in."""
    measured = [record for record in passes if not record.brought_in]
    lines = (health_sentence(measured),) if measured else ()
    if len(measured) == len(passes) > 0:
        return lines
    return (*lines, "No record is kept of passes whose readings were brought in from a file.")


def _noted(notes: Sequence["Note"], zone: str) -> tuple[str, ...]:
    """What was noted and when, the latest first."""
    latest = sorted(notes, key=lambda note: note.time, reverse=True)
    told = [f"Noted {wording.local_time(note.time, zone)}: {note.text}" for note in latest[:NOTES_SHOWN]]
    more = len(latest) - NOTES_SHOWN
    return (*told, f"{wording.count(more, 'earlier note')} more") if more > 0 else tuple(told)


def style() -> str:
    """The page's style sheet, with the colours of both schemes."""
    from importlib.resources import files

    from sweeper.report.palette import style_variables

    text = (files("sweeper.report") / "templates" / "report.css").read_text(encoding="utf-8")
    text = text.replace("@LIGHT@", style_variables("light")).replace("@DARK@", style_variables("dark"))
    return " ".join(text.split())


def policy() -> str:
    """The page's content-security policy: nothing is fetched, no script runs, one style sheet, the one written here."""
    known = base64.b64encode(hashlib.sha256(style().encode()).digest()).decode()
    return (
        f"default-src 'none'; style-src 'sha256-{known}'; img-src data:; base-uri 'none'; form-action 'none'"
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


def _still_open(findings: Findings, evidence: "Evidence", zone: str) -> list[str]:
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
