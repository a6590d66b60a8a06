"""What makes the noise, in words and figures: the same on the terminal, in the report and in pictures."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from sweeper.noise.split import Part, Split
    from sweeper.noise.told import NoiseTold, Told

PART_WORDS = {
    "receiver": "receiver",
    "mains": "with the mains",
    "comb": "combs",
    "hump": "humps",
    "rest": "sky and rest",
}
MOST_SHOWN = 8
"""Sources on a page; `sweeper noise` tells them all."""


def lines_of(told: Told) -> list[str]:
    """A source in sentences, the first its name."""
    source, rhythm = told.source, told.rhythm
    head = f"{source.name[0].upper()}{source.name[1:]} on {', '.join(source.bands)}: {told.may_be}."
    low, high = source.spacing_hz
    if source.kind == "comb" and high - low > 0.001 * high:
        head += f" Its spacing went from {low / 1e3:.2f} to {high / 1e3:.2f} kHz."
    when = f": {rhythm.briefly}" if rhythm.from_h is None else ""
    size = f"Seen in {rhythm.with_it} of {rhythm.looks} passes{when}."
    if told.over_db is not None:
        size += f" It stands {told.over_db:.0f} dB over the noise."
    if told.costs_db:
        size += f" It lifts the noise by {costs(told)} while it runs, on average over the tuning."
    return [head, size, *rhythm.words]


def costs(told: Told) -> str:
    """``1.3 dB on 60 m and 0.4 dB on 80 m``, the highest first; of one band alone ``1.3 dB``."""
    each = [(decibels(cost_db), band) for band, cost_db in told.costs_db.items()]
    if len(each) == 1:
        return each[0][0]
    words = [f"{cost} on {band}" for cost, band in each]
    return f"{', '.join(words[:-1])} and {words[-1]}"


def decibels(cost_db: float) -> str:
    """``1.3 dB``, ``under 0.1 dB``."""
    return f"{cost_db:.1f} dB" if cost_db >= 0.05 else "under 0.1 dB"


def worth_acting(told: NoiseTold, worthwhile_db: float) -> str:
    """The costliest source from outside in a line, where S/N could win as much as is worth it; empty else.

    What matters stands first: a phone shows how much of the line it has room for.
    """
    for each in told.sources:
        cost_db = each.cost_db
        if cost_db is not None and cost_db >= worthwhile_db:
            band = next(iter(each.costs_db))
            return (
                f"Local noise, up to {cost_db:.1f} dB on {band}: {each.source.name}, {each.rhythm.briefly}."
            )
    return ""


def rows_of(shown: Sequence[Told]) -> tuple[tuple[str, ...], ...]:
    """A row a source, for a table: name, when, cost in dB by band, what it may be. The first three fit a phone."""
    return tuple(
        (
            each.source.name,
            " ".join(each.rhythm.words) or each.rhythm.briefly,
            ", ".join(f"{cost} on {band}".replace(" ", "\u00a0") for band, cost in _cost_by_band(each)),
            each.may_be,
        )
        for each in shown
    )


def _cost_by_band(told: Told) -> list[tuple[str, str]]:
    """The highest first; a dash of what costs nothing."""
    costs_db = told.costs_db or dict.fromkeys(told.source.bands)
    return [(band, "–" if cost_db is None else f"{cost_db:.1f}") for band, cost_db in costs_db.items()]


def shown_parts(split: Split) -> list[Part]:
    """The parts of a band's noise worth a row: those that are there, and always the receiver and the rest."""
    return [part for part in split.parts if part.share > 0.0005 or part.name in ("receiver", "rest")]


def shown_share(part: Part) -> str:
    """``20 % (15 to 25)``."""
    return f"{100 * part.share:.0f} % ({100 * part.low:.0f} to {100 * part.high:.0f})"


def shown_win(part: Part) -> str:
    """What S/N could win without it, in dB; nothing for the rest, which nobody can take away."""
    if part.name == "rest":
        return ""
    value, low, high = part.gain_db
    return f"{value:.1f} ({low:.1f} to {high:.1f})"
