"""The program's wall clock in tests: ahead of the computer's by so many seconds, and it is known who asked for it.

On PYTHONPATH, where Python imports it by its name at each start, it holds for every program that a test starts; for the
tests themselves ``tests/conftest.py`` imports it. Debian's faketime will not do: with it, Python's waits end at once,
never, or with an error (tried with 0.9.10).
"""

import os
from datetime import datetime, timedelta
from pathlib import Path

AHEAD = timedelta(seconds=float(os.environ.get("SWEEPER_TESTS_AHEAD_S", "0")))
ASKED = os.environ.get("SWEEPER_TESTS_ASKED", "")
"""A file to which each process writes a line when it first asks what time it is."""


def put_ahead(note: str = ASKED) -> None:
    """Let the program's clock go ahead in this process."""
    from sweeper.clock import SystemClock

    computers, told = SystemClock.now, False

    def now(clock: SystemClock) -> datetime:
        nonlocal told
        if note and not told:
            told = True
            with Path(note).open("a") as asked:
                asked.write(f"process {os.getpid()}\n")
        return computers(clock) + AHEAD

    SystemClock.now = now  # type: ignore[method-assign]


if __name__ == "sitecustomize" and (AHEAD or ASKED):
    put_ahead()
