"""The page of the mutants: what was tried with which seed, and what nobody noticed; from a record that runs keep."""

import json
from collections.abc import Mapping, Sequence
from pathlib import Path

from scipy.stats import binomtest

from tests.benchmarks.mutants_equivalent import excused

KEPT = "mutants.json"

INTRODUCTION = """# Wrong code that no test notices

A place of a core file is changed, one at a time (a sign turned, a bound moved, a condition dropped, an entry taken out
of a list), and the unit tests nearest to that file are asked whether they see it:
`python -m tests.benchmarks.mutants --seed N --count 80 --write docs`. A test counts only if it passes without the
change. Places are drawn by the seed, one file after another in turn, so that small files count as much as large ones.
What cannot change anything that a test could ask for is left out by rule (`tests/benchmarks/mutations.py`) or, looked
at by hand, with the reason (`tests/benchmarks/mutants_equivalent.py`). Every change of a list of withholding signs, of
commands that may be said and of bytes that would key is tried by `--lists`, and none of those may pass. Nothing on this
page is typed in.
"""


def keep(folder: Path, run: str, tried: Sequence[Mapping[str, object]]) -> None:
    """Put the mutants of a run, under its name, into the record in `folder`, and write the page anew."""
    record = folder / KEPT
    runs = json.loads(record.read_text(encoding="utf-8")) if record.exists() else {}
    runs[run] = list(tried)
    record.write_text(json.dumps(runs, indent=0, ensure_ascii=False) + "\n", encoding="utf-8")
    (folder / "mutants.md").write_text(page(runs), encoding="utf-8")


def page(runs: Mapping[str, Sequence[Mapping[str, object]]]) -> str:
    """The page of all runs: a row each, all together with Wilson's interval, and every change that nobody noticed."""
    rows, passed, excuses = [], [], []
    noticed_of_all = tried_of_all = 0
    for run, tried in sorted(runs.items()):
        counts = [each for each in tried if not _excuse(each)]
        excuses += [each for each in tried if _excuse(each)]
        noticed = sum(bool(each["seen_by"]) for each in counts)
        rows.append(f"| {run} | {len({each['file'] for each in counts})} | {len(counts)} | {noticed} |")
        passed += [each for each in counts if not each["seen_by"]]
        if run.startswith("seed"):
            noticed_of_all, tried_of_all = noticed_of_all + noticed, tried_of_all + len(counts)
    share = binomtest(noticed_of_all, max(tried_of_all, 1))
    ends = share.proportion_ci(0.95, method="wilson")
    together = (
        f"By chance: **{noticed_of_all} of {tried_of_all}** that matter were noticed, "
        f"{100 * noticed_of_all / max(tried_of_all, 1):.0f} % "
        f"({100 * ends.low:.0f} to {100 * ends.high:.0f} %, Wilson's 95 % interval)."
    )
    table = ["| drawn by | files | changes that matter | noticed |", "| --- | --- | --- | --- |", *rows]
    left = [f"- `{each['file']}`, {each['name']}: `{each['before']}` → `{each['after']}`" for each in passed]
    parts = [INTRODUCTION, "\n".join(table), together]
    parts += ["## Noticed by nobody\n", "\n".join(left) or "Nothing."]
    if excuses:
        told = [
            f"- `{each['file']}`, {each['name']}: `{each['before']}` → `{each['after']}`: {_excuse(each)}"
            for each in excuses
        ]
        parts += ["## Drawn, and found to change nothing\n", "\n".join(told)]
    return "\n\n".join(part.strip() for part in parts) + "\n"


def _excuse(each: Mapping[str, object]) -> str:
    if each["seen_by"]:
        return ""
    return excused(
        str(each["file"]),
        str(each["name"]),
        str(each["source_line"]),
        str(each["before"]),
        str(each["after"]),
    )
