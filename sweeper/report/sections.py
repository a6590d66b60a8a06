"""The sections of the report: a question each, with the pictures, lists and tables that answer it. Computes nothing."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from sweeper.analysis import FEWEST_NIGHTS, Comparison, Evidence, Findings
from sweeper.daemon.service.health import health_sentence
from sweeper.report import wording
from sweeper.report.pictures.causes import causes
from sweeper.report.pictures.ceiling import ceiling
from sweeper.report.pictures.fix import fix, fix_lines
from sweeper.report.pictures.gain import gain
from sweeper.report.pictures.noise import noise
from sweeper.report.pictures.picture import Numbers, Picture
from sweeper.report.pictures.rig import rig
from sweeper.report.pictures.season import months, season
from sweeper.report.pictures.when import when
from sweeper.report.setting import Setting
from sweeper.store import Note
from sweeper.words import PassRecord

SECTIONS = 9
"""Sections with pictures, for the progress of drawing them."""
NOTES_SHOWN = 20
"""The latest notes; a season may have many."""


@dataclass(frozen=True, slots=True)
class Section:
    """A question with the pictures that answer it, and a list or a table where that does."""

    id: str
    heading: str
    lines: tuple[str, ...]
    pictures: tuple[Picture, ...]
    items: tuple[str, ...] = ()
    table: Numbers | None = None


def sections(
    findings: Findings,
    evidence: Evidence,
    passes: Sequence[PassRecord],
    setting: Setting,
    comparison: Comparison | None,
    notes: Sequence[Note],
) -> Iterator[Section]:
    """Each section in turn, drawn as it is asked for. `passes` and `notes` in order of time."""
    zone, unit = setting.zone, setting.unit
    yield Section("when", "When does the stage help?", (), (when(findings, zone),))
    yield Section(
        "noise",
        "How noisy is it, and what sets the floor?",
        (),
        noise(findings, evidence.levels, evidence.expected, evidence.standing, zone, unit),
    )
    yield _ceiling(findings, evidence, unit)
    yield Section("gain", "What gain does the stage have?", (), gain(evidence.gains))
    yield _noise_figures(findings)
    yield Section(
        "fix",
        "Did the fix work?",
        _of_fix(comparison, evidence, zone),
        fix(comparison, zone) if comparison is not None else (),
        _noted(notes, zone),
    )
    yield _season(findings, evidence, zone)
    yield Section(
        "causes",
        "Local or propagated noise?",
        (evidence.local_or_sky or "Some weeks of nights are needed to tell them apart.",),
        causes(evidence.parts, evidence.local_or_sky),
    )
    yield Section(
        "rig",
        "Is the rig healthy?",
        _of_rig(passes),
        rig(passes, evidence.health, setting.busiest_relay, setting.rated_operations, zone),
    )


def _ceiling(findings: Findings, evidence: Evidence, unit: str) -> Section:
    unknown = "Not known without a load position: it tells the receiver's floor."
    lines = () if evidence.curve.height else (unknown,)
    drawn = ceiling(evidence, findings.worthwhile_db, unit)
    return Section("ceiling", "Could any preamp help?", lines, drawn)


def _season(findings: Findings, evidence: Evidence, zone: str) -> Section:
    one = evidence.nights["night"].n_unique() <= 1
    lines = ("One night so far; a second begins this picture.",) if one else ()
    drawn = season(findings, evidence.nights, zone) + months(evidence.months)
    return Section("season", "How did it go, night by night?", lines, drawn)


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


def _of_fix(comparison: Comparison | None, evidence: Evidence, zone: str) -> tuple[str, ...]:
    """What the fix changed; without one, how to learn that, and whether the levels show a change by themselves."""
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


def _noted(notes: Sequence[Note], zone: str) -> tuple[str, ...]:
    """What was noted and when, the latest first."""
    latest = sorted(notes, key=lambda note: note.time, reverse=True)
    told = [f"Noted {wording.local_time(note.time, zone)}: {note.text}" for note in latest[:NOTES_SHOWN]]
    more = len(latest) - NOTES_SHOWN
    return (*told, f"{wording.count(more, 'earlier note')} more") if more > 0 else tuple(told)
