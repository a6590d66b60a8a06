"""The page of the A/B benchmark, docs/recordings-truth.md, from its own figures."""

from collections.abc import Mapping, Sequence

from tests.benchmarks.ab_cases import CASES
from tests.benchmarks.ab_figures import Figure

HEAD = """# Recordings against their truth

Written by `python -m tests.benchmarks.ab --page docs/recordings-truth.md`. Each recording is invented by
`sweeper/simulation/recordings`, which plants noise, gain and signals as voltages and shares no formula with what reads
them; it is written as a file, read by what `sweeper ab --file` itself calls, and the answer is held against what was
planted. S/N changes lie between about −6 and +5 dB, drawn anew for each recording. Shares have Wilson's 95 % interval.
A row that shows “not met” missed its target in this run; with few recordings chance alone can do that, which the
interval tells. A verdict counts as wrong when the planted change lies outside what it says.
"""
HARD = """## Hard cases

Nothing is promised here but to be right or to say nothing. Few recordings each: five of five that held leave room for a
coverage of 57 %.
"""


def page(
    tables: Sequence[tuple[str, Sequence[Figure]]], counts: Mapping[str, int], seed: int, notes: str
) -> str:
    """Markdown. `tables`: what is promised, the hard cases, speed and memory."""
    promised, hard, speed = (table for _, table in tables)
    parts = [
        HEAD,
        f"Seed {seed}; recordings a row: {_counts(counts)}.\n",
        "## What is promised\n",
        _table(promised),
    ]
    if hard:
        parts += [HARD, _by_case(hard, counts)]
    if speed:
        parts += [
            "## Speed and memory\n\nOne core, against SciPy in the same run; the best of five goes. Audio is timed as "
            "`sweeper ab --file` by itself, from start to answer.\n",
            _table(speed),
        ]
    if notes:
        parts += [notes]
    return "\n".join(parts)


def _counts(counts: Mapping[str, int]) -> str:
    return ", ".join(f"{name} {count}" for name, count in counts.items())


COLUMNS = {
    "half-width, median": "half-width",
    "S/N error, mean and rms": "S/N error, mean and rms",
    "coverage, read once": "S/N change held",
    "wrong among decided": "wrong among decided",
    "coverage of the noise change": "noise change held",
    "coverage of the gain": "gain held",
}
"""Figures of a hard case that have a column of their own; any other stands in the last one."""


def _by_case(table: Sequence[Figure], counts: Mapping[str, int]) -> str:
    """One line for each hard case, in their order."""
    planted = {case.name: " ".join((case.plant.__doc__ or "").split()) for case in CASES if case.hard}
    lines = [
        f"| case | recordings | {' | '.join(COLUMNS.values())} | besides | what is planted |",
        "| --- " * (len(COLUMNS) + 4) + "|",
    ]
    for name in (each for each in planted if each in counts):
        told = {each.name: each.value for each in table if each.row == name}
        besides = "; ".join(f"{key}: {value}" for key, value in told.items() if key not in COLUMNS)
        cells = [told.get(key, "") for key in COLUMNS]
        lines.append(f"| {name} | {counts[name]} | {' | '.join(cells)} | {besides} | {planted[name]} |")
    return "\n".join([*lines, ""])


def _table(table: Sequence[Figure]) -> str:
    rows = [
        f"| {each.row} | {each.name} | {each.target} | {each.value} | {each.interval} | {each.met} |"
        for each in table
    ]
    return "\n".join(
        [
            "| case | figure | target | value | interval | |",
            "| --- | --- | --- | --- | --- | --- |",
            *rows,
            "",
        ]
    )
