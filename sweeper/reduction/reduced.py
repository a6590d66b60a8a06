"""The whole way from a store to findings, for the commands and the page."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from functools import cached_property, partial
from typing import TYPE_CHECKING

from sweeper import analysis
from sweeper.analysis import Comparison, Findings, StationFacts
from sweeper.errors import UserFacingError
from sweeper.reduction.spectra import products_of, spectra_seen
from sweeper.reduction.summaries import summaries_of
from sweeper.store import Store
from sweeper.tables import pl
from sweeper.words import PassRecord

if TYPE_CHECKING:
    from sweeper.spectra.over_passes import TuningSeen


@dataclass(frozen=True)
class Reduced:
    """What a store says: findings in words and numbers, and what became of the passes."""

    findings: Findings
    passes: tuple[PassRecord, ...]
    make_evidence: Callable[[], analysis.Evidence]
    summaries: pl.DataFrame | None = None
    """What it was reduced from, one row for each night, hour, channel and purpose; None where nobody reduced."""
    spectra: tuple[TuningSeen, ...] = ()
    """What stored spectra show of each tuning, in the same span."""

    @cached_property
    def evidence(self) -> analysis.Evidence:
        """The tables behind the findings, made when somebody wants to see pictures."""
        return self.make_evidence()


def reduce_store(
    store: Store,
    facts: StationFacts,
    start: datetime | None = None,
    end: datetime | None = None,
    progress: Callable[[float], None] = lambda share: None,
) -> Reduced:
    """Findings of all readings from `start` to `end` (None: all). `UserFacingError` when nothing is stored there."""
    if start is None and end is None:
        summaries = summaries_of(store, facts, progress)
    else:
        # A span may cut a day, so its summary is not the one that is kept.
        summaries = analysis.summarise_day(store.readings(start, end).collect(), facts)
    if not summaries.height:
        raise UserFacingError(
            f"{store.folder}: no readings are stored for that time, so nothing can be said. Measure a night first."
        )
    seen = spectra_seen(store, start, end) if facts.meter.linear else ()
    facts = replace(facts, products=products_of(seen))
    table = analysis.table_of(summaries, facts)
    findings = analysis.findings_from(table, summaries, facts)
    evidence = partial(analysis.evidence_from, table, findings, summaries, facts)
    return Reduced(findings, tuple(store.passes()), evidence, summaries, seen)


def compare_fix(
    store: Store,
    facts: StationFacts,
    fix: datetime | None,
    control_bands: Sequence[str] = (),
    summaries: pl.DataFrame | None = None,
) -> Comparison:
    """Before and after `fix`; without it, before and after the clearest change that the levels show.

    The station's notes go along, to be named beside changes that they may explain. `control_bands` are those that
    the fix cannot have touched, `summaries` those of all nights where they are at hand.
    """
    if summaries is None:
        summaries = summaries_of(store, facts)
    notes = [(note.time, note.text) for note in store.notes()]
    return analysis.compare(summaries, facts, fix, notes, control_bands)
