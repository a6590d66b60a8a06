"""The A/B benchmark: recordings whose truth is planted, read by the program as a user would hand them over.

    python -m tests.benchmarks.ab [--recordings 500] [--hard 40] [--seed 11] [--rows NAME,NAME] [--json FILE]
        [--page FILE] [--keep FILE] [--quick]

Prints every figure beside its target with its interval, then the hard rows, then speed and memory. Seeded: the same
call plants the same recordings. As many processes as there are processors; 500 recordings a row take some four hours
of one core, and --keep lets a run go on where an earlier one was stopped. Ends with 1 when a row is wrong among its
decided, or does not cover, by more than its counts explain.
"""

import argparse
import json
import multiprocessing
import os
import sys
import tempfile
import time
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import asdict
from pathlib import Path

from tests.benchmarks.ab_cases import CASES
from tests.benchmarks.ab_figures import Figure, figures, hard_figures, speed_figures
from tests.benchmarks.ab_judging import Judged, judge
from tests.benchmarks.ab_page import page

QUICK_ROWS = {
    "audio": 1,
    "half occupied": 1,
    "steps": 1,
}
UNLIKELY = 0.001
"""How seldom a program that just keeps a target may end the run with 1."""
NOTES = "## Where a figure is not met, and why"
Task = tuple[str, int, int, bool]


def _one(task: Task) -> tuple[Task, Judged]:
    name, seed, number, watch = task
    try:
        return task, judge(name, seed, number, watch)
    except Exception as fault:  # a crash is a figure too
        return task, Judged(name, number, refused=f"crashed: {type(fault).__name__}: {fault}")


def run(tasks: Sequence[Task], processes: int, kept: Path | None = None) -> dict[str, list[Judged]]:
    """All recordings of all rows, by row; those that `kept` already holds are taken from there, the others added."""
    known: dict[Task, Judged] = {}
    if kept is not None and kept.exists():
        for line in kept.read_text(encoding="utf-8").splitlines():
            task, judged = json.loads(line)
            known[tuple(task)] = Judged(**judged)
    found: dict[str, list[Judged]] = defaultdict(list)
    for task in tasks:
        if task in known:
            found[task[0]].append(known[task])
    due = [task for task in tasks if task not in known]
    for done, (task, judged) in enumerate(_judged(due, processes), start=1):
        found[judged.case].append(judged)
        if kept is not None:
            with kept.open("a", encoding="utf-8") as file:
                file.write(json.dumps([task, asdict(judged)], default=float) + "\n")
        if done % 50 == 0:
            print(f"{done} of {len(due)} recordings", file=sys.stderr)
    return found


def _judged(tasks: Sequence[Task], processes: int) -> Iterable[tuple[Task, Judged]]:
    if processes == 1:
        yield from map(_one, tasks)
        return
    with multiprocessing.get_context("spawn").Pool(processes) as pool:
        yield from pool.imap_unordered(_one, tasks)


def planned(
    recordings: int, hard: int, seed: int, quick: bool, rows: frozenset[str], watched: int
) -> list[Task]:
    """(row, seed, number, whether it is watched too); the first of every row first, so that a run that is
    stopped has as many of each."""
    counts = {case.name: hard if case.hard else recordings for case in CASES}
    if quick:
        counts = QUICK_ROWS
    return [
        (name, seed, number, number < watched and (not quick or name == "audio"))
        for number in range(max(counts.values()))
        for name, count in counts.items()
        if number < count and (not rows or name in rows)
    ]


def measured(quick: bool) -> dict[str, float]:
    """Speed and memory, on one core."""
    import numpy as np

    from sweeper.simulation.recordings import write
    from tests.benchmarks.ab_planting import audio
    from tests.benchmarks.ab_speed import read_cost, spectra_speed

    told = {f"spectra_{key}": value for key, value in spectra_speed(1.0 if quick else 8.0).items()}
    short_s, long_s = (60.0, 180.0) if quick else (300.0, 3600.0)
    from dataclasses import replace

    from sweeper.simulation.recordings import by_relay

    with tempfile.TemporaryDirectory() as folder:
        for name, seconds in (("short", short_s), ("long", long_s)):
            planted = replace(
                audio(np.random.default_rng(1), 1), seconds=seconds, stays=by_relay(seconds, 5.0)
            )
            written = write(planted, Path(folder), name)
            told[f"{name}_s"] = seconds
            told[f"{name}_cpu_s"], told[f"{name}_mb"] = read_cost(written.recording, written.marks)
            written.recording.unlink()
    return told


def show(title: str, table: Sequence[Figure]) -> None:
    print(f"\n{title}")
    widths = [
        max(len(str(getattr(each, key))) for each in table) for key in ("row", "name", "target", "value")
    ]
    for each in table:
        print(
            f"{each.row:{widths[0]}}  {each.name:{widths[1]}}  {each.target:{widths[2]}}  {each.value:{widths[3]}}  "
            f"{each.interval:18}  {each.met}"
        )


def main() -> int:
    parser = argparse.ArgumentParser(description="Recordings with planted truth against `sweeper ab --file`.")
    parser.add_argument("--recordings", type=int, default=500)
    parser.add_argument("--hard", type=int, default=40)
    parser.add_argument("--watched", type=int, default=500, help="so many of each row are watched, too")
    parser.add_argument("--seed", type=int, default=11)
    parser.add_argument("--rows", default="")
    parser.add_argument("--json", type=Path)
    parser.add_argument(
        "--keep", type=Path, help="keep what became of each recording here, and go on from there"
    )
    parser.add_argument("--page", type=Path, help="write the page of the documentation here, its notes kept")
    parser.add_argument("--quick", action="store_true")
    parser.add_argument("--no-speed", action="store_true")
    asked = parser.parse_args()
    for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
        os.environ[name] = "1"
    began = time.monotonic()
    rows = frozenset(name.strip() for name in asked.rows.split(";") if name.strip())
    tasks = planned(asked.recordings, asked.hard, asked.seed, asked.quick, rows, asked.watched)
    found = run(tasks, os.cpu_count() or 1, asked.keep)
    main_table, hard_table = figures(found), hard_figures(found)
    speed = {} if asked.no_speed else measured(asked.quick)
    speed_table = speed_figures(speed)
    for title, table in (
        ("What is promised", main_table),
        ("Hard cases: nothing is promised but to be right or to say nothing", hard_table),
        ("Speed and memory, one core", speed_table),
    ):
        if table:
            show(title, table)
    print(f"\n{len(tasks)} recordings, seed {asked.seed}, {time.monotonic() - began:.0f} s")
    if asked.json:
        asked.json.write_text(
            json.dumps(
                {
                    "seed": asked.seed,
                    "recordings": {name: len(rows) for name, rows in found.items()},
                    "figures": [asdict(each) for each in (*main_table, *hard_table, *speed_table)],
                },
                indent=1,
                ensure_ascii=False,
            )
            + "\n",
            encoding="utf-8",
        )
    if asked.page:
        old = asked.page.read_text(encoding="utf-8") if asked.page.exists() else ""
        notes = old[old.index(NOTES) :] if NOTES in old else ""
        counts = {case.name: len(found[case.name]) for case in CASES if case.name in found}
        tables = [("", main_table), ("", hard_table), ("", speed_table)]
        asked.page.write_text(page(tables, counts, asked.seed, notes), encoding="utf-8")
    broken = [each for each in (*main_table, *hard_table) if each.chance < UNLIKELY]
    for each in broken:
        print(f"missed by more than chance explains: {each.row}: {each.name}", file=sys.stderr)
    return 1 if broken else 0


if __name__ == "__main__":
    sys.exit(main())
