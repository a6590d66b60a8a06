"""What makes the noise, as text and tables of at most 80 columns, and as JSON."""

import json
from collections.abc import Sequence
from typing import Any

from rich.text import Text

from sweeper.noise.change import Change
from sweeper.noise.split import Part
from sweeper.noise.told import NoiseTold, Told
from sweeper.report.console import open_console, open_table
from sweeper.report.noise_words import (
    MOST_SHOWN,
    PART_WORDS,
    decibels,
    lines_of,
    shown_parts,
    shown_share,
    shown_win,
)

ANOTHER = (
    "Sky and rest cannot be told apart. S/N to win: at most, if that part were gone. `sweeper find-source` looks for "
    "one at home; what to do then: docs/noise.md."
)


def show_noise(station: str, told: NoiseTold) -> None:
    """Sources with rhythm and cost, then each band's noise in its parts."""
    console = open_console()
    console.print(Text.assemble((station, "bold"), f"  what makes the noise, from {told.passes} passes"))
    if not told.sources:
        console.print(Text("\nNo source signs its name in three passes or more."))
    for each in told.sources:
        console.print()
        for line in lines_of(each):
            console.print(Text(line))
    if told.splits:
        console.print()
        table = open_table(
            ("Band", "left"), ("Part of its noise", "left"), ("Share", "right"), ("S/N to win, dB", "right")
        )
        for split in told.splits:
            for place, part in enumerate(shown_parts(split)):
                table.add_row(
                    Text("" if place else split.band),
                    PART_WORDS[part.name],
                    shown_share(part),
                    shown_win(part),
                )
        console.print(table)
        console.print(Text(f"\n{ANOTHER}", "dim"))


def show_sources(told: NoiseTold) -> None:
    """Each source in a line; nothing where none is known."""
    if not told.sources:
        return
    console = open_console()
    console.print(Text("\nWhat makes the noise", "bold"))
    for each in told.sources[:MOST_SHOWN]:
        source = each.source
        cost = (
            f", up to {decibels(each.cost_db)} of S/N to win without it" if each.cost_db is not None else ""
        )
        console.print(Text(f"{source.name} on {', '.join(source.bands)}: {each.rhythm.briefly}{cost}"))


def show_changes(changed: Sequence[Change]) -> None:
    """What a fix changed, source by source; nothing where no source is known."""
    if not changed:
        return
    console = open_console()
    console.print(Text("\nBy what makes the noise", "bold"))
    for each in changed:
        console.print(Text(each.sentence))


def noise_json(station: str, told: NoiseTold) -> str:
    """The same as a ``sweeper-noise-findings-1`` object."""
    found = {
        "format": "sweeper-noise-findings-1",
        "station": station,
        "passes": told.passes,
        "sources": [_source(each) for each in told.sources],
        "bands": [
            {
                "band": split.band,
                "nights": split.nights,
                "passes": split.passes,
                "parts": [_part(part) for part in split.parts],
            }
            for split in told.splits
        ],
    }
    return json.dumps(found, ensure_ascii=False, allow_nan=False, indent=1)


def change_object(change: Change) -> dict[str, Any]:
    """A change for `json.dumps`."""
    told = change.change_db
    return {
        "name": change.name,
        "kind": change.kind,
        "bands": list(change.bands),
        "change_db": None if told is None else dict(zip(("value", "low", "high"), told, strict=True)),
        "seen_before": change.seen[0],
        "seen_after": change.seen[1],
        "verdict": change.verdict,
        "sentence": change.sentence,
    }


def _source(told: Told) -> dict[str, Any]:
    source, rhythm = told.source, told.rhythm
    return {
        "name": source.name,
        "kind": source.kind,
        "bands": list(source.bands),
        "spacing_hz": list(source.spacing_hz) if source.kind == "comb" else None,
        "from_hz": source.last.low_hz,
        "to_hz": source.last.high_hz,
        "on_load": source.on_load,
        "cost_db": told.cost_db,
        "cost_db_by_band": dict(told.costs_db),
        "over_noise_db": told.over_db,
        "passes": rhythm.with_it,
        "of_passes": rhythm.looks,
        "by_hour": [None if share != share else share for share in rhythm.by_hour],
        "runs_from_h": rhythm.from_h,
        "runs_to_h": rhythm.to_h,
        "said": lines_of(told),
    }


def _part(part: Part) -> dict[str, Any]:
    names = ("value", "low", "high")
    return {
        "part": part.name,
        "share": dict(zip(names, (part.share, part.low, part.high), strict=True)),
        "snr_to_win_db": dict(zip(names, part.gain_db, strict=True)),
    }
