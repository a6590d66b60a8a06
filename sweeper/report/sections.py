"""The sections of the report: a question each, with the pictures, lists and tables that answer it. Computes nothing."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date

from sweeper.analysis import FEWEST_NIGHTS, Comparison, Evidence, Findings
from sweeper.noise.told import NoiseTold
from sweeper.report import wording
from sweeper.report.ab_kept import APART, kept_tests
from sweeper.report.hours import Grid, hours
from sweeper.report.noise_words import MOST_SHOWN, rows_of
from sweeper.report.pictures.causes import causes
from sweeper.report.pictures.ceiling import ceiling
from sweeper.report.pictures.fix import fix, fix_lines
from sweeper.report.pictures.gain import gain
from sweeper.report.pictures.marked import sentences
from sweeper.report.pictures.noise import noise
from sweeper.report.pictures.picture import Numbers, Picture
from sweeper.report.pictures.rig import rig
from sweeper.report.pictures.season import months, season
from sweeper.report.pictures.sources import sources
from sweeper.report.pictures.spectrum import named_lines, spectra
from sweeper.report.setting import Setting
from sweeper.store import Note
from sweeper.words import PassRecord

SECTIONS = 13
"""Sections at the most, for the progress of drawing them."""
NOTES_SHOWN = 20
"""The latest notes; a season may have many."""


@dataclass(frozen=True, slots=True)
class Section:
    """A question with the pictures that answer it, and a table before or a list after them where that does."""

    id: str
    heading: str
    lines: tuple[str, ...]
    pictures: tuple[Picture, ...]
    items: tuple[str, ...] = ()
    table: Numbers | None = None
    caption: str = ""
    grid: Grid | None = None


def sections(
    findings: Findings,
    evidence: Evidence,
    passes: Sequence[PassRecord],
    setting: Setting,
    comparison: Comparison | None,
    notes: Sequence[Note],
    told: NoiseTold | None = None,
) -> Iterator[Section]:
    """Each section in turn, drawn as it is asked for. `passes` and `notes` in order of time."""
    zone, unit = setting.zone, setting.unit
    yield Section("when", "Hour by hour", (), (), grid=hours(findings, zone))
    levels = noise(findings, evidence.levels, evidence.expected, evidence.standing, zone, unit)
    if levels:
        yield Section("noise", "How noisy is it, and what sets the floor?", (), levels)
    yield from _sources(told, zone, findings.end.date())
    shown = told.shown if told is not None else ()
    if looks := spectra(setting.spectra, shown, zone):
        named = (*named_lines(setting.spectra), *sentences(shown, zone))
        yield Section("spectra", "What does each band look like?", (), looks, named)
    curves = ceiling(evidence, findings.worthwhile_db, unit)
    if curves:
        yield Section("ceiling", "Could any preamp help?", (), curves)
    gains = gain(evidence.gains)
    if gains:
        yield Section("gain", "What gain does the stage have?", (), gains)
    yield from _noise_figures(findings)
    yield from _of_fix(comparison, evidence, zone, [each.sentence for each in told.changed] if told else [])
    yield from _noted(notes, zone)
    tests = kept_tests(setting.ab_tests, zone)
    if tests:
        yield Section("ab", "A/B tests", (APART,), (), table=tests, caption="A/B tests that were kept")
    nightly = season(findings, evidence.nights, zone) + months(evidence.months)
    if nightly:
        yield Section("season", "How did it go, night by night?", (), nightly)
    parts = causes(evidence.parts, evidence.local_or_sky)
    if parts or evidence.local_or_sky:
        yield Section("causes", "Local or propagated noise?", (evidence.local_or_sky,), parts)
    counts, passed = rig(passes, evidence.health, setting.busiest_relay, setting.rated_operations, zone)
    if counts or passed:
        yield Section("rig", "Is the rig healthy?", (), passed, table=counts, caption="Passes of the night")


def _sources(told: NoiseTold | None, zone: str, on: date) -> Iterator[Section]:
    """What makes the noise, where it signs its name."""
    if told is None or not told.sources:
        return
    shown = told.sources[:MOST_SHOWN]
    more = len(told.sources) - len(shown)
    lines = [
        "What it may be is a guess by its kind. `sweeper find-source` finds out at home: one thing off at a time, "
        "while the source is watched."
    ]
    lines += ["“What does each band look like?” shows where they stand."] if told.shown else []
    lines += [f"{wording.count(more, 'more source')}: `sweeper noise` tells them all."] if more else []
    yield Section(
        "sources",
        "What makes the noise?",
        tuple(lines),
        sources(shown, told, zone, on),
        table=Numbers(
            ("Source", "When", "S/N to win without it, at most, dB", "What it may be"), rows_of(shown)
        ),
        caption="Sources of noise, the costliest first",
    )


def _noise_figures(findings: Findings) -> Iterator[Section]:
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
    if not rows:
        return
    lines = ["Below zero in the last column: with the stage in, the whole chain makes less noise of its own."]
    if not any(receiver for _, receiver, _, _ in known):
        lines.append(
            "The figures of receiver and stage themselves take a calibrated meter or a noise source."
        )
    headings = ("Band", "Receiver, dB", "Stage, dB", "Change of the chain by the stage, dB")
    yield Section(
        "figures",
        "How much noise do receiver and stage make?",
        tuple(lines),
        (),
        table=Numbers(headings, rows),
        caption="Noise figures, with their intervals",
    )


def _of_fix(
    comparison: Comparison | None, evidence: Evidence, zone: str, by_source: Sequence[str]
) -> Iterator[Section]:
    """What the fix changed, also `by_source`; without one, whether the levels show a change by themselves, from enough
    nights on.
    """
    if comparison is None:
        return
    enough = evidence.nights["night"].n_unique() >= FEWEST_NIGHTS
    if comparison.fix is not None or comparison.changes or enough:
        lines = tuple(fix_lines(comparison, zone))
        drawn = fix(comparison, zone)
        if lines or drawn:
            yield Section("fix", "Did the fix work?", lines, drawn, tuple(by_source))


def _noted(notes: Sequence[Note], zone: str) -> Iterator[Section]:
    """What was noted and when, the latest first."""
    if not notes:
        return
    latest = sorted(notes, key=lambda note: note.time, reverse=True)
    told = [f"{wording.local_time(note.time, zone)}: {note.text}" for note in latest[:NOTES_SHOWN]]
    more = len(latest) - NOTES_SHOWN
    told += [f"{wording.count(more, 'earlier note')} more"] if more > 0 else []
    yield Section("notes", "What was noted", (), (), tuple(told))
