"""Every attack has limits: five minutes (`pyproject.toml`), this much memory, and no wrong value (each says which)."""

import re
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path

import pytest

MOST_MB = 400.0
"""What an attack may add at its highest to this process, with the libraries that it makes it load."""


@pytest.fixture(autouse=True)
def attacks_take_no_memory(request: pytest.FixtureRequest) -> Iterator[None]:
    """Where the system tells the most that a process held, and lets it be counted anew (proc_pid_clear_refs(5))."""
    if not request.module.__name__.rpartition(".")[2].startswith("test_attacks"):
        yield
        return
    with suppress(OSError):
        Path("/proc/self/clear_refs").write_text("5")
    before_mb = _memory_mb("VmRSS")
    yield
    assert _memory_mb("VmHWM") - before_mb < MOST_MB


def _memory_mb(what: str) -> float:
    with suppress(OSError):
        if found := re.search(rf"{what}:\s*(\d+) kB", Path("/proc/self/status").read_text(encoding="ascii")):
            return int(found[1]) / 1000
    return 0.0
