"""The truth benchmark: simulated campaigns whose truth is known, looked at every morning, against what is promised.

    python -m tests.benchmarks.truth [--campaigns 300] [--seed 11] [--rows 40] [--json FILE] [--quick]

Prints each figure beside its target, and what plainer ways would have said of the same readings. Seeded: the same call
prints the same table. Two processes; minutes. Ends with 1 when a bound that docs/truth.md claims as met is not; in the
short run, when one is missed by more than its counts explain.
"""

import argparse
import json
import multiprocessing
import os
import sys
import time
from collections import Counter
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from tests.benchmarks import fix_rows, hard_rows, truth_widths
from tests.benchmarks.campaigns import Planned, facts_of, planned
from tests.benchmarks.judging import fix_judged, judged, plainer
from tests.benchmarks.truth_figures import (
    Figure,
    Results,
    ever_decided,
    ever_wrong,
    figures,
    held_at_every_look,
    held_at_the_end,
    share_of,
    strata,
)
from tests.benchmarks.truth_page import claimed, page

QUICK = 2
UNLIKELY = 0.01
"""How seldom a program that just keeps a bound may fail the short run on it."""
CLAIMS = Path("docs/truth.md")


def run_one(plan: Planned) -> Results:
    """Throw a campaign's dice, summarise its nights, and judge every morning."""
    from sweeper.analysis import summarise_day

    thrown = plan.thrown()
    facts = facts_of(thrown)
    nights = [thrown.night(n) for n in range(plan.course.nights)]
    days = [summarise_day(night, facts) for night in nights]
    if plan.kind in ("fix", "no fix"):
        return Results(fixes=[fix_judged(plan, thrown, days, facts)])
    rows, gains = judged(plan, thrown, days, facts)
    if plan.kind == "main" and plan.compared:
        plainer(rows, thrown, nights)
    return Results(rows, gains)


def run(count: int, seed: int, processes: int) -> Results:
    """All campaigns, longest first so that both processes end together."""
    plans = sorted(planned(count, seed), key=lambda plan: -plan.course.nights)
    os.environ["POLARS_MAX_THREADS"] = "1"
    found = Results()
    with multiprocessing.get_context("spawn").Pool(processes) as pool:
        for done, part in enumerate(pool.imap(run_one, plans), start=1):
            found.rows += part.rows
            found.gains += part.gains
            found.fixes += part.fixes
            if done % 20 == 0:
                print(f"{done} of {len(plans)} campaigns", file=sys.stderr)
    return found


def others(found: Results) -> list[tuple[str, str, str, str]]:
    """Coverage, cells decided and wrong verdicts of plainer ways beside ours, on the same campaigns."""
    rows = [row for row in found.rows if row.others]
    table = []
    for name in ("glance", "t test", "HAC"):
        covered = [row.others[name][0] for row in rows if row.others[name][0] is not None]
        decided = [row for row in rows if row.others[name][1]]
        wrong = [row.others[name][2] for row in decided]
        table.append(
            (name, _percent(covered), _percent([row.others[name][1] for row in rows]), _percent(wrong))
        )
    decided = [row for row in rows if ever_decided(row)]
    table.append(
        (
            "this program",
            _percent([held for row in rows if (held := held_at_the_end(row)) is not None]),
            _percent([ever_decided(row) for row in rows]),
            _percent([ever_wrong(row) for row in decided]),
        )
    )
    return table


def _percent(answers: Sequence[bool | None]) -> str:
    return f"{100 * float(np.mean(answers)):.1f} %" if answers else "—"


def show(found: Results) -> dict[str, object]:
    """Print the tables; the same as an object for JSON."""
    table = figures(found)
    width = max(len(figure.name) for figure in table)
    for each in table:
        print(f"{each.name:{width}}  {each.target:15}  {each.value:46}  {each.interval:20}  {each.met}")
    print(
        "\nBy stratum: coverage, all looks together | at the last look | cells ever wrong | cells ever decided"
    )
    by_stratum = []
    for (key, value), rows in strata([row for row in found.rows if row.kind == "main"]).items():
        shares = [
            share_of(rows, what) for what in (held_at_every_look, held_at_the_end, ever_wrong, ever_decided)
        ]
        print(
            f"{key:16}{value:20}"
            + "".join(
                f"{100 * each.share:7.1f} % ({100 * each.interval[0]:5.1f} to {100 * each.interval[1]:5.1f})"
                for each in shares
            )
        )
        by_stratum.append(
            {
                "stratum": key,
                "value": value,
                "shares": [each.share if each.count else None for each in shares],
                "interval": shares[0].interval if shares[0].count else None,
            }
        )
    print("\nThe same campaigns by other ways: way | coverage at the end | cells decided | wrong among them")
    compared = others(found)
    for name, *values in compared:
        print(f"{name:16}" + "".join(f"{value:>12}" for value in values))
    print("\nVerdicts at the end:", dict(Counter(row.verdicts[-1] for row in found.rows if row.verdicts)))
    return {
        "figures": [
            vars(figure) | {"number": figure.number if np.isfinite(figure.number) else None}
            for figure in table
        ],
        "strata": by_stratum,
        "others": [
            dict(zip(("way", "coverage", "decided", "wrong"), each, strict=True)) for each in compared
        ],
    }


def broken(table: Sequence[Figure], claims: frozenset[str], quick: bool) -> list[Figure]:
    """The figures that do not keep what is claimed of them; in the short run, by more than their counts explain."""
    return [
        figure
        for figure in table
        if figure.name in claims and (figure.chance < UNLIKELY if quick else figure.met != "met")
    ]


def hard(campaigns: int, processes: int) -> dict[str, list[str]]:
    """The tables of widths, and of cells and fixes where nights, channels or stages are not as they should be."""
    tables = {}
    with multiprocessing.get_context("spawn").Pool(processes) as pool:
        for module, seed in ((truth_widths, 21), (hard_rows, 5), (fix_rows, 7)):
            name = module.__name__.rpartition(".")[2]
            tables[name] = [*module.HEAD.splitlines()]
            for each in module.lines(pool, campaigns, seed):
                print(each, flush=True)
                tables[name].append(each)
    return tables


def main() -> int:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--campaigns", type=int, default=300)
    parser.add_argument("--seed", type=int, default=11)
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument(
        "--rows", type=int, default=0, help="campaigns for each row of truth_widths, hard_rows and fix_rows"
    )
    parser.add_argument("--json", type=Path)
    parser.add_argument("--write", type=Path, help="write the tables as a page of the docs")
    parser.add_argument(
        "--quick", action="store_true", help="a few campaigns, to see that it runs and nothing is far off"
    )
    asked = parser.parse_args()
    begun = time.monotonic()
    claims = claimed(CLAIMS.read_text(encoding="utf-8"))
    found = run(QUICK if asked.quick else asked.campaigns, asked.seed, asked.processes)
    written = show(found)
    print(f"{time.monotonic() - begun:.0f} s", file=sys.stderr)
    rows = hard(asked.rows, asked.processes) if asked.rows else {}
    if asked.json:
        asked.json.write_text(json.dumps(written, indent=1, allow_nan=False), encoding="utf-8")
    if asked.write:
        command = f"python -m tests.benchmarks.truth --campaigns {asked.campaigns} --seed {asked.seed}"
        command += f" --rows {asked.rows} --write {asked.write}"
        asked.write.write_text(page(written, found, command, rows), encoding="utf-8")
    failed = broken(figures(found), claims, asked.quick)
    for figure in failed:
        print(f"{CLAIMS} claims it as met, and it is not: {figure.name}, {figure.value}", file=sys.stderr)
    return 1 if failed else 0


if __name__ == "__main__":
    raise SystemExit(main())
