"""The tests that need the computer's clock, repeated at other hours, dates and zones.

The instants are those at which programs of this kind go wrong, each begun shortly before: the station's local noon, at
which its days change (8.1° east: 11:27:36 UTC), the turn of the year, the hours at which clocks
are put forward and back (European Union, Directive 2000/84/EC: 01:00 UTC on the last Sundays of March and October).
"""

import os
import subprocess
import sys
from datetime import UTC, datetime
from pathlib import Path

import pytest

from tests.tiers import QUICK

ROOT = Path(__file__).parents[2]
INSTANTS = {
    # A day in the first half of a year, on which clocks are put forward.
    "2027-03-28T00:59:40": "Europe/Copenhagen",
    "2027-03-28T11:27:15": "America/St_Johns",
    # And one in the second half, on which they are put back.
    "2027-10-31T00:59:40": "Europe/Copenhagen",
    "2026-12-31T23:59:40": "Pacific/Auckland",
}


@pytest.mark.slow
@pytest.mark.timeout(900)
@pytest.mark.parametrize("instant", INSTANTS)
def test_at_any_hour_the_tests_that_need_the_clock_pass(instant: str) -> None:
    repeat(instant, f"clock and ({QUICK})")


def repeat(instant: str, which: str) -> None:
    """Run the tests that `which` selects in a process that begins at that instant, in its zone."""
    ahead = datetime.fromisoformat(instant).replace(tzinfo=UTC) - datetime.now(UTC)
    # What this run has put into the environment for its own programs is not for the repetition.
    ours = ("PYTEST_", "PYTHONPATH", "SWEEPER_TESTS_")
    env = {name: value for name, value in os.environ.items() if not name.startswith(ours)}
    marked = [
        str(file.relative_to(ROOT))
        for file in sorted((ROOT / "tests").rglob("test_*.py"))
        if "mark.clock" in file.read_text(encoding="utf-8") and "benchmarks" not in file.parts
    ]
    ran = subprocess.run(
        [sys.executable, "-m", "pytest", "-q", "-n", "0", "-p", "no:cacheprovider", "-m", which, *marked],
        cwd=ROOT,
        env={**env, "TZ": INSTANTS[instant], "SWEEPER_TESTS_AHEAD_S": str(ahead.total_seconds())},
        capture_output=True,
        text=True,
        check=False,
    )  # fmt: skip
    assert ran.returncode == 0 and " passed" in ran.stdout, ran.stdout[-6000:] + ran.stderr[-2000:]
