"""Every fault that a station left alone must bear, produced for real, counted, and what was lost.

    python -m tests.benchmarks.reliability [--kills 300] [--nights 120] [--seed 1] [--write docs/reliability.md]
    python -m tests.benchmarks.reliability --write docs/reliability.md --only flood
    python -m tests.benchmarks.reliability --quick

Runs the kill test, the power cuts, the season, the costs of waiting and of hostile neighbours, stop orders, and the
tests of faults, and writes one table, with its rows as JSON beside it; ``--only`` runs one part anew and takes the
others from there. Exits 1 when anything was lost or left touched. ``--quick`` does a little of each but the tests,
which are run on their own.
"""

import argparse
import json
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor, as_completed
from dataclasses import asdict
from datetime import UTC, datetime
from pathlib import Path
from statistics import median

from tests.benchmarks.matrix import MATRIX, fault_matrix, stop_orders
from tests.benchmarks.season import growth_mb
from tests.benchmarks.single_faults import OTHER_WIRES, SINGLES, WIRES_AND_DISKS, Row, singles
from tests.sweeper.store.cuts import cut_everywhere
from tests.whole.hostile import hostile
from tests.whole.idle import waited
from tests.whole.killing import Killed, kill_at_random, kill_while_spectra_are_written
from tests.whole.season import run_season
from tests.whole.unattended import Unattended, unattended, until

HEAD = """\
# Reliability

What was done to the program, how often, and what was lost. Every line is written by
`python -m tests.benchmarks.reliability --write docs/reliability.md`; nothing in it is typed in.
*Lost* counts stored passes that were gone or in part, relays away from rest, receivers not as found, and
commands that may never be sent.

Serial ports with control lines and chips with GPIO lines do not exist on a computer that only tests. Faults of
`line` are produced across a network (RFC 2217, `tests/whole/test_faults_of_lines.py`), those of `gpio` by a
module of ours in libgpiod's place (`tests/drivers/switches/test_gpio.py`, `tests/drivers/test_foreign.py`),
which is no wire. Those of a person are in `tests/whole/test_faults_of_people.py`, those of samples in
`tests/whole/test_samples_over_tcp.py` and `tests/whole/test_faults_of_samples.py`.

"""


def kills(count: int, seed: int) -> Row:
    with tempfile.TemporaryDirectory() as folder:
        told = kill_at_random(Path(folder), count, seed)
    return _killed("Process killed", f"SIGKILL at random moments, seed {seed}", told)


def kills_by_samples(count: int, seed: int) -> Row:
    with tempfile.TemporaryDirectory() as folder:
        told = kill_while_spectra_are_written(Path(folder), count, seed)
    how = f"SIGKILL as the database's log is written to, or within a second of it, seed {seed}"
    return _killed("Process killed while spectra are written", how, told)


def _killed(fault: str, how: str, told: Killed) -> Row:
    where = ", ".join(f"{times} {moment}" for moment, times in told.hit.most_common())
    return Row(
        fault, f"{how} ({where})", f"{told.kills} kills, {told.committed} stored passes",
        [*told.lost, *told.wrong],
    )  # fmt: skip


def power_cuts(passes: int, seed: int) -> Row:
    with tempfile.TemporaryDirectory() as folder:
        left = cut_everywhere(Path(folder), passes, seed)
    return Row(
        "Power lost",
        f"every write and sync of a recorded run as the last, with what was not synced kept, gone or torn, seed {seed}",
        f"{left.cuts} cuts, {left.images} disks",
        left.broken,
    )


def season(nights: int, seed: int) -> list[Row]:
    with tempfile.TemporaryDirectory() as folder:
        began = time.monotonic()
        told = run_season(Path(folder), nights, seed, faults_a_night=3.0)
        minutes = (time.monotonic() - began) / 60
    grown = growth_mb(told)
    passes = sum(told.outcomes.values())
    became = ", ".join(f"{count} {outcome}" for outcome, count in told.outcomes.most_common())
    rows = [
        Row(
            f"A season of {nights} nights",
            f"simulated at jump speed on real protocols in {minutes:.0f} min, seed {seed}, {told.restarts} starts",
            f"{passes} passes: {became}",
            list(told.wrong),
            "every instant of the schedule accounted for; memory grown by "
            + ("too short to tell" if grown is None else f"{grown:.1f} MB")
            + f", file handles {min(told.handles, default=0)} to {max(told.handles, default=0)}",
        )
    ]
    if grown is not None and grown > 12:
        rows[0].lost.append(f"memory grew by {grown:.1f} MB")
    rows += [
        Row(f"… {fault}", "in that season", f"{count} times") for fault, count in sorted(told.faults.items())
    ]
    return rows


def flood(passes: int) -> Row:
    """How long passes take amid a flood on the sockets, against the same daemon in peace before and after."""
    with (
        tempfile.TemporaryDirectory() as folder,
        unattended(Path(folder)) as station,
        station.running() as process,
    ):
        until(station.answers, "the daemon")
        peace, war = [], []
        for _ in range(3):  # by turns, so that what else the computer does meets both
            peace += _pass_seconds(station, passes // 3)
            with hostile(station):
                war += _pass_seconds(station, passes // 3)
        peace += _pass_seconds(station, passes // 3)
        lost = (
            [] if all(one.outcome == "done" for one in station.store().passes()) else ["a pass in the flood"]
        )
        station.ask("stop")
        process.wait(30)
    ratio = median(war) / median(peace)
    return Row(
        "Flood on the control socket",
        "six hostile clients at once on the same two cores",
        f"{passes} passes",
        lost,
        f"passes take {ratio:.2f} × as long as in peace, the senders' own load on the processor included",
    )


def _pass_seconds(station: Unattended, passes: int) -> list[float]:
    store = station.store
    begun = len(store().passes()) + 1
    until(lambda: len(store().passes()) >= begun + passes, f"{passes} passes", 120)
    return [(one.ended - one.started).total_seconds() for one in store().passes()[begun : begun + passes]]


def idle(seconds: float) -> Row:
    with tempfile.TemporaryDirectory() as folder:
        cost = waited(Path(folder), seconds)
    lost = []
    if cost.core_share >= 0.01:
        lost.append(f"{cost.core_share:.1%} of a core")
    if max(cost.rss_mb, cost.rss_after_day_mb) >= 120:
        lost.append(f"{max(cost.rss_mb, cost.rss_after_day_mb):.0f} MB")
    return Row(
        "Nothing to do",
        "the daemon between passes",
        f"{seconds:.0f} s",
        lost,
        f"{cost.core_share:.2%} of a core, {cost.rss_mb:.0f} MB; {cost.rss_after_day_mb:.0f} MB once a day was written",
    )


def matrix_row() -> Row:
    count, failed, detail = fault_matrix()
    return Row(
        "Wire faults and states of the rig, every instrument, every moment",
        f"replies lost, late, bent, cut; cables pulled; relays stuck; transmitters keyed (`{MATRIX}`)",
        f"{count} tests",
        failed,
        "table below",
        detail,
    )


def stop_row(quick: bool) -> Row:
    count, slow, longest = stop_orders(quick)
    return Row(
        "Told to stop while a wire is broken",
        "every fault at every moment, links told to wait for 50 s, six stations beside each other",
        count,
        slow,
        longest,
    )


def table(rows: list[Row]) -> str:
    lines = [
        "| fault | how it was produced | how often | lost | | run on |",
        "| --- | --- | --- | --- | --- | --- |",
    ]
    for row in rows:
        lost = "; ".join(row.lost[:3]) + (f" and {len(row.lost) - 3} more" if len(row.lost) > 3 else "")
        cells = (row.fault, row.produced, row.times, lost or "nothing", row.remark, row.on)
        lines.append("| " + " | ".join(cell.replace("|", "/").replace("\n", " ") for cell in cells) + " |")
    return "\n".join(lines) + "\n" + "".join(row.detail for row in rows)


def parts(options: argparse.Namespace) -> dict[str, Callable[[], Row | list[Row]]]:
    """What is run, by name, in the order of the table."""
    quick, seed = options.quick, options.seed
    half = 1 if quick else options.kills // 2
    found: dict[str, Callable[[], Row | list[Row]]] = {
        "kills": lambda: kills(half, seed),
        "more kills": lambda: kills(half, seed + 1),
        "kills by samples": lambda: kills_by_samples(1 if quick else options.kills // 25, seed),
        "season": lambda: season(1 if quick else options.nights, seed),
        "power cuts": lambda: power_cuts(1 if quick else 30, seed),
        "flood": lambda: flood(3 if quick else 30),
        "idle": lambda: idle(5 if quick else 60),
        "stop orders": lambda: stop_row(quick),
    }
    if quick:
        del found["more kills"]
    else:
        found["fault matrix"] = matrix_row
        found["single faults"] = lambda: singles(SINGLES)
        found["other wires"] = lambda: singles(OTHER_WIRES)
        found["wires and disks"] = lambda: singles(WIRES_AND_DISKS)
    return found


def side_by_side(names: list[str], at_once: int, keep: Callable[[str, list[Row]], None]) -> None:
    """Each part in a process of its own, so many at once; `keep` is given the rows of each as it is done."""

    def run(name: str) -> list[Row]:
        began = time.monotonic()
        command = [sys.executable, "-m", "tests.benchmarks.reliability", *sys.argv[1:], "--part", name]
        done = subprocess.run(command, stdout=subprocess.PIPE, text=True, check=False)
        print(f"{name}: {time.monotonic() - began:.0f} s", file=sys.stderr, flush=True)
        if done.returncode != 0:
            return [Row(name, "this command", "", [f"the part ended with {done.returncode}"])]
        return [Row(**row) for row in json.loads(done.stdout)]

    with ThreadPoolExecutor(at_once) as pool:
        running = {pool.submit(run, name): name for name in names}
        for finished in as_completed(running):
            keep(running[finished], finished.result())


def main() -> int:
    parser = argparse.ArgumentParser()
    parser.add_argument("--kills", type=int, default=300)
    parser.add_argument("--nights", type=int, default=120)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--write", type=Path)
    parser.add_argument("--at-once", type=int, help="parts to run side by side; 1, or 3 of the quick ones")
    parser.add_argument("--only", action="append", help="a part to run anew, the others from the last time")
    parser.add_argument("--part", help="run one part alone and print its rows as JSON")
    parser.add_argument("--quick", action="store_true")
    options = parser.parse_args()
    if options.part:
        came = parts(options)[options.part]()
        print(json.dumps([asdict(row) for row in (came if isinstance(came, list) else [came])]))
        return 0
    names = list(parts(options))
    record = options.write.with_suffix(".json") if options.write is not None else None
    kept: dict[str, list[dict[str, object]]] = {}
    if options.only and record is not None and record.exists():
        kept = json.loads(record.read_text(encoding="utf-8"))

    def keep(name: str, rows: list[Row]) -> None:
        kept[name] = [asdict(row) | {"on": f"{datetime.now(UTC):%Y-%m-%d}"} for row in rows]
        if options.write is not None and record is not None:
            record.write_text(json.dumps(kept, indent=1) + "\n", encoding="utf-8")
            where = f"On {os.cpu_count()} cores.\n\n"
            options.write.write_text(HEAD + where + table(in_order()), encoding="utf-8")

    def in_order() -> list[Row]:
        return [Row(**row) for name in names for row in kept.get(name, [])]

    side_by_side(options.only or names, options.at_once or (3 if options.quick else 1), keep)
    rows = in_order()
    print(table(rows))
    return 1 if any(row.lost for row in rows) else 0


if __name__ == "__main__":
    sys.exit(main())
