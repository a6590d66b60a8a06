"""Wrong code that no test notices: one place of a core file changed at a time, its unit tests asked if they see it.

    python -m tests.benchmarks.mutants [--files judge cells …] [--count 120] [--seed 1] [--lists] [--jobs 1]
                                       [--write docs]
    python -m tests.benchmarks.mutants --short

Changes a copy of the tree, never the tree. ``--lists`` tries every change of a list of signs, commands and flags;
``--short`` some of those, drawn anew by the seed, and a handful of others. Exits 1 when a change of a list in
`SAFETY` is noticed by nobody. What changes nothing that a test could ask for is left out by rule (`mutations`), or
stands in `EQUIVALENT` with the reason.
"""

import argparse
import contextlib
import importlib
import os
import random
import resource
import shutil
import signal
import subprocess
import sys
import tempfile
import time
import warnings
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from multiprocessing import get_context
from pathlib import Path

from tests.benchmarks.mutants_equivalent import excused
from tests.benchmarks.mutants_page import keep
from tests.benchmarks.mutants_tests import FORBIDS, SAFETY, TESTS
from tests.benchmarks.mutations import LIST, Mutant, mutants

ROOT = Path(__file__).resolve().parents[2]
IMPORTED = (
    "pytest",
    "numpy",
    "scipy.special",
    "scipy.stats",
    "polars",
    "pydantic",
    "hypothesis",
    "ruamel.yaml",
    "astral",
)
"""Imported once and shared by all that follows. None of it starts a thread by being imported."""

ONE_THREAD = {"POLARS_MAX_THREADS": "1", "OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1"}
"""Tables this small take longer on several."""

CPU_S, WALL_S = 240, 1800.0
"""For the tests of one mutant, several times what the slowest take: one that never ends is noticed as well."""
TRIES = 3
"""Of a mutant whose test fails without it too: a wire may be late once, but not each time."""


@dataclass(frozen=True, slots=True)
class Tried:
    """What became of one mutant: `seen_by` says which test noticed it; empty when none did."""

    file: str
    mutant: Mutant
    seen_by: str
    seconds: float


class Slot:
    """A copy of the tree in which one mutant at a time is tried."""

    def __init__(self, folder: Path) -> None:
        self.tree = folder
        listed = subprocess.run(
            ["git", "ls-files", "-zco", "--exclude-standard"],
            cwd=ROOT,
            check=True,
            capture_output=True,
            text=True,
        )
        for name in filter(None, listed.stdout.split("\0")):
            if (ROOT / name).is_file():
                (folder / name).parent.mkdir(parents=True, exist_ok=True)
                shutil.copy2(ROOT / name, folder / name)

    def seen_by(self, file: str, source: str, tests: Sequence[str], cpu_s: int, wall_s: float) -> str:
        """The first of the tests that fails with `source` in the place of `file`; empty when all pass."""
        target = self.tree / file
        kept = target.read_text()
        told = self.tree / "told"
        target.write_text(source)
        shutil.rmtree(
            target.parent / "__pycache__", ignore_errors=True
        )  # bytecode knows a source by its second
        try:
            ended = _in_a_fork(self.tree, tests, told, cpu_s, wall_s)
        finally:
            target.write_text(kept)
            shutil.rmtree(target.parent / "__pycache__", ignore_errors=True)
        text = told.read_text(errors="replace")
        if ended == 0:
            return ""
        if ended in (4, 5):  # pytest's own: wrong usage, no tests
            raise SystemExit(f"{', '.join(tests)}: these tests cannot be run\n{text}")
        failed = [line for line in text.splitlines() if line.startswith(("FAILED", "ERROR"))]
        return (
            failed[0].split(" - ")[0]
            if failed
            else ("the time limit" if ended < 0 else f"an end with {ended}")
        )


def _in_a_fork(tree: Path, tests: Sequence[str], told: Path, cpu_s: int, wall_s: float) -> int:
    with warnings.catch_warnings(action="ignore"):
        child = os.fork()
    if child == 0:
        os.setsid()
        resource.setrlimit(resource.RLIMIT_CPU, (cpu_s, cpu_s))
        out = os.open(told, os.O_WRONLY | os.O_CREAT | os.O_TRUNC)
        os.dup2(out, 1)
        os.dup2(out, 2)
        code = 70
        try:
            code = _pytest_in(tree, tests)
        except BaseException as error:
            os.write(1, f"{error!r}\n".encode())
        os._exit(code)
    deadline = time.monotonic() + wall_s
    while True:
        ended, status = os.waitpid(child, os.WNOHANG)
        if ended:
            break
        if time.monotonic() > deadline:
            os.killpg(child, signal.SIGKILL)
            _, status = os.waitpid(child, 0)
            break
        time.sleep(0.02)
    with contextlib.suppress(ProcessLookupError):
        os.killpg(child, signal.SIGKILL)  # programs that its tests started
    return os.waitstatus_to_exitcode(status)


def _pytest_in(tree: Path, tests: Sequence[str]) -> int:
    os.chdir(tree)
    for name in [each for each in sys.modules if each.split(".")[0] in ("sweeper", "drivers", "tests")]:
        del sys.modules[name]
    sys.path[:] = [str(tree), *(each for each in sys.path if Path(each or ".").resolve() != ROOT)]
    os.environ["PYTHONPATH"] = str(tree)
    sys.dont_write_bytecode = True
    pytest = importlib.import_module("pytest")
    options = (
        "-x",
        "-q",
        "-n",
        "0",
        "-p",
        "no:cacheprovider",
        "--no-header",
        "--tb=no",
        "-W",
        "ignore::pytest.PytestAssertRewriteWarning",
        "-m",
        "not (crash or wires or browser or system)",
    )
    return int(pytest.main([*options, *tests]))


def chosen(files: Sequence[str], count: int, seed: int, lists: bool) -> Iterator[tuple[str, Mutant]]:
    """`count` mutants by chance, of one file after another in turn; or all of lists."""
    chance = random.Random(seed)
    piles = []
    for file in files:
        pile = [
            each for each in mutants((ROOT / file).read_text(), file in FORBIDS) if not _excused(file, each)
        ]
        if lists:
            yield from ((file, each) for each in pile if each.kind == LIST)
        chance.shuffle(pile)
        piles.append((file, pile))
    while count > 0 and any(pile for _, pile in piles):
        for file, pile in piles:
            if pile and count > 0:
                count -= 1
                yield file, pile.pop()


def _line(file: str, mutant: Mutant) -> str:
    """The line of the source in which the mutant begins."""
    return (ROOT / file).read_text().splitlines()[mutant.line - 1].strip() if mutant.line else ""


def _excused(file: str, mutant: Mutant) -> bool:
    return bool(excused(file, mutant.name, _line(file, mutant), mutant.before, mutant.after))


_slot: Slot | None = None


def _take_a_slot(scratch: str) -> None:
    global _slot
    folder = Path(scratch, str(os.getpid()))
    folder.mkdir()
    _slot = Slot(folder)


def _one(file: str, mutant: Mutant) -> Tried:
    """What the tests make of it. A test that fails notices it only if it passes with nothing changed."""
    assert _slot is not None
    began = time.monotonic()
    for _ in range(TRIES):
        seen = _slot.seen_by(file, mutant.source, TESTS[file], CPU_S, WALL_S)
        asked = [seen.split(maxsplit=1)[1].split("[")[0]] if "::" in seen else TESTS[file]
        if not seen or not (fails := _slot.seen_by(file, (ROOT / file).read_text(), asked, CPU_S, WALL_S)):
            return Tried(file, mutant, seen, time.monotonic() - began)
    raise RuntimeError(f"{fails} as it is\n{(_slot.tree / 'told').read_text()}")


def tried(picked: Sequence[tuple[str, Mutant]], jobs: int) -> Iterator[Tried]:
    """Each mutant in its turn. A test that fails without any change ends the run: it would see everything."""
    os.environ.update(ONE_THREAD)
    for name in IMPORTED:
        importlib.import_module(name)
    with (
        tempfile.TemporaryDirectory(prefix="mutants-") as scratch,
        ProcessPoolExecutor(jobs, get_context("fork"), _take_a_slot, (scratch,)) as pool,
    ):
        yield from pool.map(_one, *zip(*picked, strict=True))


def _told(each: Tried) -> dict[str, object]:
    mutant = each.mutant
    return {
        "file": each.file,
        "line": mutant.line,
        "source_line": _line(each.file, mutant),
        "name": mutant.name,
        "kind": mutant.kind,
        "before": mutant.before,
        "after": mutant.after,
        "seen_by": each.seen_by.removeprefix("FAILED ").removeprefix("ERROR "),
    }


def main() -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks.mutants")
    parser.add_argument("--files", nargs="*", default=[], help="parts of file names; all core files without")
    parser.add_argument("--count", type=int, default=120)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--lists", action="store_true", help="every change of a list as well")
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument("--short", action="store_true")
    parser.add_argument("--write", type=Path, help="folder of the docs: keep the run and write the page anew")
    asked = parser.parse_args()
    files = [file for file in TESTS if not asked.files or any(part in file for part in asked.files)]
    if asked.short:
        safe = [each for each in chosen(SAFETY, 0, asked.seed, True) if each[1].kind == LIST]
        picked = random.Random(asked.seed).sample(safe, 12) + list(chosen(SAFETY, 3, asked.seed, False))
    else:
        picked = list(chosen(files, asked.count, asked.seed, asked.lists))
    known: dict[str, list[Tried]] = {}
    for each in tried(picked, asked.jobs):
        known.setdefault(each.file, []).append(each)
        mutant, seen = each.mutant, each.seen_by or "NOBODY"
        print(
            f"{each.file}:{mutant.line} {mutant.name} [{mutant.kind}] {each.seconds:.1f} s: {seen}",
            flush=True,
        )
        if not each.seen_by:
            print(f"    {mutant.before}\n →  {mutant.after}", flush=True)
    total = [each for some in known.values() for each in some]
    if asked.write:
        run = f"seed {asked.seed}" if asked.count else f"every change of a list in {', '.join(asked.files)}"
        keep(asked.write, run, [_told(each) for each in total])
    for file, some in sorted(known.items()):
        print(f"{file}: {sum(bool(each.seen_by) for each in some)} of {len(some)}")
    noticed = sum(bool(each.seen_by) for each in total)
    print(f"seed {asked.seed}: {noticed} of {len(total)} noticed, {100 * noticed / max(len(total), 1):.0f} %")
    return int(any(each.file in SAFETY and each.mutant.kind == LIST and not each.seen_by for each in total))


if __name__ == "__main__":
    sys.exit(main())
