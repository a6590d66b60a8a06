"""Time is a parameter: one place asks the computer for it, so that one place can be put ahead."""

import os
import re
import subprocess
import sys
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
ASKS = re.compile(r"\b(datetime\.now|datetime\.utcnow|date\.today|datetime\.today|time\.time|time\.time_ns|time\.localtime|time\.gmtime)\(")  # fmt: skip  # noqa: E501
MAY = {"sweeper/clock.py", "tests/test_clock.py", "tests/whole/test_any_hour.py"}


def test_nobody_but_the_clock_asks_the_computer_what_time_it_is() -> None:
    asking = [
        str(file.relative_to(ROOT))
        for folder in ("sweeper", "drivers", "tests")
        for file in sorted((ROOT / folder).rglob("*.py"))
        if "benchmarks" not in file.parts and ASKS.search(file.read_text(encoding="utf-8"))
    ]
    assert set(asking) <= MAY, asking


@pytest.mark.clock
def test_programs_that_tests_start_can_be_put_ahead(tmp_path: Path) -> None:
    """Otherwise the repetitions at other hours would be repetitions at this one."""
    code = "from sweeper.clock import SystemClock; print(SystemClock().now().isoformat())"
    told = subprocess.run(
        [sys.executable, "-c", code],
        env={**os.environ, "SWEEPER_TESTS_AHEAD_S": "8640000"},
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    ahead = datetime.fromisoformat(told.stdout.strip()) - datetime.now(UTC)
    assert abs(ahead - timedelta(days=100)) < timedelta(minutes=5)
