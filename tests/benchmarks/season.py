"""A simulated season of 120 nights under faults, at jump speed on real protocols.

    python -m tests.benchmarks.season [--nights 120] [--seed 1] [--json FILE]

Prints what went wrong, what became of every pass, and whether memory and file handles stayed flat. Exits 1
when anything is unaccounted for, left touched or growing.
"""

import argparse
import json
import sys
import tempfile
import time
from pathlib import Path
from statistics import median

from tests.whole.season import Told, run_season

SETTLED_NIGHTS = 20
"""Memory is compared from here on: by then every library that is imported late has been."""

FLAT_MB = 12.0
"""How much the median of the last quarter may stand above that of the first: a leak of a kilobyte a pass, which is
what a season could not bear, would show as four times this in 120 nights of simulated servers and daemon together."""


def growth_mb(told: Told) -> float | None:
    """Median resident memory of the last quarter of the season over that of its first settled quarter."""
    settled = told.rss_mb[SETTLED_NIGHTS:]
    if len(settled) < 8:
        return None
    quarter = len(settled) // 4
    return median(settled[-quarter:]) - median(settled[:quarter])


def main() -> int:
    parser = argparse.ArgumentParser()
    parser.add_argument("--nights", type=int, default=120)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--faults-a-night", type=float, default=3.0)
    parser.add_argument("--json", type=Path)
    options = parser.parse_args()
    began = time.monotonic()
    with tempfile.TemporaryDirectory() as folder:
        told = run_season(Path(folder), options.nights, options.seed, options.faults_a_night)
    seconds = time.monotonic() - began
    grown = growth_mb(told)
    print(f"{told.nights} nights, seed {options.seed}, {told.restarts} starts, {seconds:.0f} s")
    print(f"passes: {dict(told.outcomes)}, readings stored: {told.readings}")
    for name, count in told.faults.most_common():
        print(f"  {count:4}  {name}")
    for reason, count in told.reasons.most_common(25):
        print(f"  {count:4}  passes: {reason}")
    print(
        f"memory, MB by night: {[round(value) for value in told.rss_mb[:: max(1, len(told.rss_mb) // 12)]]}"
    )
    print(f"grown by: {'too short to tell' if grown is None else f'{grown:.1f} MB'}")
    print(f"file handles: {min(told.handles, default=0)} to {max(told.handles, default=0)}")
    for wrong in told.wrong:
        print(f"WRONG: {wrong}")
    if options.json is not None:
        options.json.write_text(json.dumps({**vars(told), "grown_mb": grown, "seed": options.seed}, indent=1))
    flat = grown is None or grown <= FLAT_MB
    return 0 if not told.wrong and flat else 1


if __name__ == "__main__":
    sys.exit(main())
