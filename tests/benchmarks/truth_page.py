"""The page of the docs that the truth benchmark writes: its tables, and a reason for each bound that is not kept.

Reasons are made of figures, those of the run or of a reference library. A row without one says that none is known.
"""

from collections.abc import Mapping, Sequence
from datetime import UTC, datetime

import numpy as np
from scipy.stats import norm
from statsmodels.stats.power import TTestIndPower

from sweeper.analysis.statistics.group_sequential import FIRST_LOOK, boundaries, look_level, spent, spent_late
from tests.benchmarks.campaigns import CONFIDENCE, NIGHTS
from tests.benchmarks.truth_figures import (
    FEWEST_CELLS,
    Results,
    held_at_every_look,
    share_of,
    strata,
)

ALPHA = 1 - CONFIDENCE
FIX = "3 dB fix over 7 + 7 nights found, nights differing by "


HARD = {
    "truth_widths": (
        "How wide the intervals are",
        (
            "Half of the interval for nights to come over half of an oracle’s (`tests/benchmarks/truth_widths.py`),",
            "who is told how far the S/N change strays, that nights know nothing of each other, and the gain, and",
            "is as strict. Hard cells: a true S/N change of 0.7 to 1.6 dB, where 1 dB is worthwhile. Single looks.",
        ),
    ),
    "hard_rows": (
        "Where nights are alike, channels not clean or stages not steady",
        (
            "Cells are counted once, at the last look (`tests/benchmarks/hard_rows.py`): four bands and two hours a",
            "campaign, ten nights that differ by 3 dB unless stated. A cell without an interval is withheld. The",
            "second column is what an audit of an earlier version found in 216 cells of its own campaigns.",
        ),
    ),
    "fix_rows": (
        "Before and after a fix that was made or was not",
        (
            "Five bands, looked at every morning after the fix (`tests/benchmarks/fix_rows.py`). A verdict is false",
            "when that of any band, or of all together, contradicts the truth on any morning; unflagged, when neither",
            "trend nor control is named beside it. The oracle is told how alike nights are and finds their scatter on",
            "the same nights.",
        ),
    ),
}
"""Heading and opening words of each table of rows."""


def claimed(text: str) -> frozenset[str]:
    """Names of the figures that a page claims as met."""
    rows = [[cell.strip() for cell in line.strip("| ").split("|")] for line in text.splitlines()]
    return frozenset(row[0] for row in rows if len(row) >= 4 and row[-1] == "met")


def page(
    written: Mapping[str, object],
    found: Results,
    command: str,
    rows: Mapping[str, Sequence[str]] | None = None,
) -> str:
    """The tables as a page of the docs; no figure in it is typed in."""
    lines = [
        "# How often the program is right",
        "",
        f"Printed on {datetime.now(UTC).date()} by `{command}`.",
        "“All looks together” counts a campaign as missed when the interval of any morning missed. A row is met when",
        "its figure is; the 95 % interval beside it (Wilson’s for shares) says how sure that is. Cells of one campaign",
        "share its nights, so they count as the number of independent cells that would scatter as much as they do.",
        "What each figure means: `docs/reading-the-report.md`.",
        "",
        "| figure | must be | is | 95 % interval | |",
        "| --- | --- | --- | --- | --- |",
    ]
    lines += [
        f"| {row['name']} | {row['target']} | {row['value']} | {row['interval']} | {row['met']} |"
        for row in written["figures"]
    ]
    lines += ["", "## By stratum", ""]
    lines += [
        "| stratum | | coverage, all looks | 95 % interval | last look | cells ever wrong | cells ever decided |",
        "| --- " * 7 + "|",
    ]
    for row in written["strata"]:
        first, *rest = ("—" if share is None else f"{100 * share:.1f} %" for share in row["shares"])
        interval = (
            "—" if row["interval"] is None else "{:.1f} to {:.1f}".format(*np.multiply(row["interval"], 100))
        )
        lines.append(f"| {row['stratum']} | {row['value']} | {first} | {interval} | {' | '.join(rest)} |")
    lines += ["", "## The same campaigns by plainer ways", ""]
    lines += ["| way | coverage at the end | cells decided | wrong among them |", "| --- | --- | --- | --- |"]
    lines += [
        f"| {row['way']} | {row['coverage']} | {row['decided']} | {row['wrong']} |"
        for row in written["others"]
    ]
    lines += [
        "",
        "A glance is one reading each way, on a carrier and beside it. The t test takes all readings for independent;",
        "HAC is least squares with Newey-West errors (statsmodels). Both believe their 95 % interval every morning,",
        "and stop at the first verdict; so does “this program”, with its own.",
    ]
    for name, table in (rows or {}).items():
        lines += ["", f"## {HARD[name][0]}", "", *HARD[name][1], "", *table]
    missed = [row["name"] for row in written["figures"] if row["met"] != "met"]
    lines += ["", "## Where a figure is not met, and why", ""]
    reasons: dict[str, str] = {}
    for name in missed:
        why = reason(name, found)
        lines.append(f"- *{name}*: {f'as for *{reasons[why]}*.' if why in reasons else why}")
        reasons.setdefault(why, name)
    if not missed:
        lines.append("Every figure is met.")
    return "\n".join(lines) + "\n"


def reason(name: str, found: Results) -> str:
    """Why a figure is not met, as far as it is known."""
    if name.startswith("coverage at the last look"):
        return _of_the_last_look(found)
    if "coverage" in name and "all looks" in name:
        return _of_caution(found)
    if name.startswith(FIX):
        return _of_a_fix(float(name.removeprefix(FIX).split()[0]))
    return "no reason known."


def _of_the_last_look(found: Results) -> str:
    nights = [row.nights for row in found.rows if row.kind == "main" and len(row.covered) >= FIRST_LOOK]
    due = 1 - np.mean([look_level(max(n, FIRST_LOOK), ALPHA) for n in nights])
    return (
        f"an interval that holds at every look must cover more at any single one: on these cells {_percent(due)} is "
        "due. What it promises, and what is held to the 93 % to 98 %, is all looks together."
    )


def _of_caution(found: Results) -> str:
    main = [row for row in found.rows if row.kind == "main"]
    told = {key: share_of(rows, held_at_every_look) for key, rows in strata(main).items()}
    above = [
        f"{' '.join(key)} ({_percent(each.share)})"
        for key, each in told.items()
        if each.count >= FEWEST_CELLS and each.share > 0.98
    ]
    shortest, longest = (1 - spent(nights, ALPHA) for nights in (FIRST_LOOK, max(NIGHTS)))
    gains = [row for row in found.gains if row.kind == "main"]
    gain = share_of(gains, lambda row: row.covered)
    by_way = []
    for way in sorted({row.stratum["gain by"] for row in gains}):
        part = share_of([row for row in gains if row.stratum["gain by"] == way], lambda row: row.covered)
        by_way.append(f"{_percent(part.share)} by {way}")
    reaches = []
    for spread in sorted({row.stratum["night to night"] for row in main}):
        here, there = (
            [row.reach_db for row in rows if row.stratum["night to night"] == spread and row.reach_db]
            for rows in (gains, main)
        )
        reaches.append(
            f"±{np.median(here):.1f} of ±{np.median(there):.1f} dB where nights differ by {spread}"
        )
    rest = (
        f"The rest goes with the gain, which is a part of every interval ({_list(reaches)}, in the median). Its error "
        f"is stated larger than it is: its own 95 % interval holds the truth in {_percent(gain.share)} of {gain.count} "
        f"bands ({_list(by_way)}). And it is the same at every look, so that looks miss together, not one after the "
        "other as the spending of the error allows for."
        if gain.interval[0] > CONFIDENCE
        else "For the rest no reason is known."
    )
    return (
        f"above 98 % are {_list(above)}. Part of it is meant: after three nights little of the error has been spent, "
        f"after thirty not all, so {_percent(shortest)} to {_percent(longest)} is due. {rest}"
    )


def _of_a_fix(night_sd_db: float) -> str:
    """Four bands with half of their variance in common; nothing else moves."""
    sd_db = night_sd_db * np.sqrt(0.5 + 0.5 / 4)
    information = np.array([1 / (1 / 7 + 1 / nights) for nights in range(FIRST_LOOK, 8)])
    edges = boundaries(information, [spent_late(nights, ALPHA) for nights in range(FIRST_LOOK, 8)])
    once, looking = (
        TTestIndPower().power(effect_size=3 / sd_db, nobs1=7, alpha=level)
        for level in (ALPHA, 2 * norm.sf(edges[-1]))
    )
    return (
        f"the mean of the four bands differs by {sd_db:.1f} dB from night to night. Of such fixes a t test with seven "
        f"nights against seven finds {_percent(once)} in a single look (statsmodels), and {_percent(looking)} at the "
        "level that is due on the seventh morning when every morning may be looked at. What is missing beyond that is "
        "the room left for nights in spells and for trends, of which fourteen nights tell little "
        "(`tests/benchmarks/fix_series.py`). The comparison says how small a change it could have shown."
    )


def _percent(share: float) -> str:
    return f"{100 * share:.1f} %"


def _list(words: Sequence[str]) -> str:
    return ", ".join(words[:-1]) + " and " + words[-1] if len(words) > 1 else "".join(words)
