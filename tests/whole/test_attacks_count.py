"""How many attacks there are, counted as pytest collects them; one drawn by chance counts as often as it is drawn."""

import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
AT_LEAST = 500

COUNT = """\
import sys, pytest

class Count:
    def pytest_collection_modifyitems(self, items):
        self.fixed = sum(not hasattr(item.obj, "hypothesis") for item in items)
        self.drawn = sum(
            item.obj._hypothesis_internal_use_settings.max_examples for item in items if hasattr(item.obj, "hypothesis")
        )

count = Count()
pytest.main(["--collect-only", "-q", *sys.argv[1:]], [count])
print("attacks", count.fixed, count.drawn)
"""


@pytest.mark.slow
def test_there_are_as_many_attacks_as_are_told() -> None:
    files = [
        str(file) for file in (ROOT / "tests" / "whole").glob("test_attacks_*.py") if file != Path(__file__)
    ]
    done = subprocess.run(
        [sys.executable, "-c", COUNT, "-n", "0", *files],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=True,
    )
    fixed, drawn = (int(word) for word in done.stdout.split("attacks ")[1].split()[:2])
    assert fixed >= 300 and fixed + drawn >= AT_LEAST, done.stdout
