"""The page of the docs that the benchmark of meters writes: counts of each row, beside those of an earlier state."""

from collections.abc import Callable, Mapping, Sequence
from datetime import UTC, datetime

from scipy.stats import binom

from tests.benchmarks.truth_figures import share_of

Counts = dict[str, float]
MOST_WRONG = 0.05
UNLIKELY = 0.01
"""How seldom a program that just keeps the bound may fail on a row."""


def counts_of(cells: Sequence[object]) -> Counts:
    """Counts of a row of cells, and Wilson's intervals of its shares."""
    decided = [cell for cell in cells if cell.verdict != "undecided"]  # type: ignore[attr-defined]
    told = [cell for cell in cells if cell.missed is not None]  # type: ignore[attr-defined]
    return {
        "cells": len(cells),
        **_of(decided, "decided", "wrong", lambda cell: cell.wrong),  # type: ignore[attr-defined]
        **_of(told, "told", "missed", lambda cell: cell.missed),  # type: ignore[attr-defined]
    }


def _of(cells: Sequence[object], all_of: str, some: str, what: Callable[[object], bool]) -> Counts:
    if not cells:
        return {all_of: 0, some: 0, f"{some}_low": 0.0, f"{some}_high": 1.0, f"{some}_of": 0.0}
    share = share_of(cells, what)  # type: ignore[arg-type,type-var]
    low, high = share.interval
    return {
        all_of: len(cells),
        some: sum(map(what, cells)),
        f"{some}_low": low,
        f"{some}_high": high,
        f"{some}_of": share.independent,
    }


def too_many_wrong(row: Counts) -> bool:
    """Whether more than `MOST_WRONG` of what was decided is wrong, by more than the counts explain."""
    if not row["decided"] or row["wrong"] <= MOST_WRONG * row["decided"]:
        return False
    independent = max(round(row["wrong_of"]), 1)
    seen = round(independent * row["wrong"] / row["decided"])
    return float(binom.sf(seen - 1, independent, MOST_WRONG)) < UNLIKELY


def page(rows: Mapping[str, Counts], before: Mapping[str, Counts], campaigns: int, seed: int) -> str:
    """The table as a page of the docs; no figure in it is typed in."""
    lines = [
        "# Meters that lie",
        "",
        f"Printed on {datetime.now(UTC).date()} by",
        f"`python -m tests.benchmarks.meters --campaigns {campaigns} --seed {seed}`:",
        "for each row so many simulated stations of three bands and two hours, five nights each, whose meters read as",
        "those of real receivers do. The program is told unit, step and averaging time, no floor, no curve. *Noisy*:",
        "noise from outside stands 8 to 25 dB above the receiver's own, *quiet*: 0.6 to 4 dB, *nothing to gain*: 14 to",
        "30 dB. *Wrong*: of the verdicts given, those that the truth contradicts; at most 5 % may be. *Misses*:",
        "intervals that do not hold the truth; 2 to 7 % are due. In brackets Wilson's interval, cells of a station",
        "counted as the independent ones that scatter as much.",
        "",
    ]
    head = ["meter", "place", "load", "cells", "decided", "wrong", "misses"]
    if before:
        head += ["decided before", "wrong before", "misses before"]
    lines += [f"| {' | '.join(head)} |", "| --- " * len(head) + "|"]
    for name, row in rows.items():
        cells = [name, f"{row['cells']:.0f}", *_shown(row)]
        if before:
            cells += _shown(before[name]) if name in before else ["", "", ""]
        lines.append(f"| {' | '.join(cells)} |")
    lines += ["", *_summary(rows, before)]
    return "\n".join(lines) + "\n"


def _shown(row: Counts) -> list[str]:
    return [f"{row['decided']:.0f}", _share(row, "wrong", "decided"), _share(row, "missed", "told")]


def _share(row: Counts, some: str, all_of: str) -> str:
    if not row[all_of]:
        return "—"
    bounds = f"{100 * row[f'{some}_low']:.0f} to {100 * row[f'{some}_high']:.0f} %"
    of = "" if all_of == "decided" else f" of {row[all_of]:.0f}"
    return f"{row[some]:.0f}{of} ({bounds})"


def _summary(rows: Mapping[str, Counts], before: Mapping[str, Counts]) -> list[str]:
    def total(table: Mapping[str, Counts]) -> str:
        decided, wrong, told, missed = (
            sum(row[name] for row in table.values()) for name in ("decided", "wrong", "told", "missed")
        )
        return (
            f"{decided:.0f} decided, {wrong:.0f} of them wrong ({100 * wrong / max(decided, 1):.1f} %), "
            f"{missed:.0f} of {told:.0f} intervals miss ({100 * missed / max(told, 1):.1f} %)"
        )

    over = [name for name, row in rows.items() if row["wrong"] > MOST_WRONG * max(row["decided"], 1)]
    lines = [f"All rows together: {total(rows)}."]
    if before:
        lines.append(f"Before: {total({name: before[name] for name in rows if name in before})}.")
    lines.append(
        f"Rows with more than 5 % of the verdicts wrong: {'; '.join(over)}."
        if over
        else "No row has more than 5 % wrong."
    )
    far = [name for name, row in rows.items() if row["told"] and row["missed_low"] > 0.07]
    lines.append(
        f"Rows whose intervals miss surely more than 7 %: {'; '.join(far)}."
        if far
        else "No row surely misses more than 7 %."
    )
    return lines
