"""Every test that needs the computer's clock at other hours, dates and zones: also those that take long or need root.

    python -m tests.benchmarks.any_hour [INSTANT …]

The gate repeats the quick ones (`tests/whole/test_any_hour.py`). This takes many minutes for each instant.
"""

import sys
import time

from tests.whole.test_any_hour import INSTANTS, repeat


def main() -> int:
    bad = 0
    for instant in sys.argv[1:] or INSTANTS:
        began = time.monotonic()
        try:
            repeat(instant, "clock")
            told = "passed"
        except AssertionError as failed:
            bad, told = bad + 1, f"FAILED\n{failed}"
        print(f"{instant} {INSTANTS[instant]}: {told} ({time.monotonic() - began:.0f} s)", flush=True)
    return int(bad > 0)


if __name__ == "__main__":
    sys.exit(main())
