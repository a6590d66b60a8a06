"""What holds for every test: in CI nothing is skipped, and nothing unexpected reaches a receiver."""

import os
import sys
from collections.abc import Iterator

import pytest
from hypothesis import settings

settings.register_profile("a machine of any speed", parent=settings(), deadline=None)
settings.load_profile("a machine of any speed")


@pytest.hookimpl(hookwrapper=True)
def pytest_runtest_makereport(item: pytest.Item, call: pytest.CallInfo[None]):
    """Where CI runs, everything that a test needs is installed: a skip there hides a missing step."""
    outcome = yield
    report = outcome.get_result()
    if report.skipped and os.environ.get("CI") == "true" and not hasattr(report, "wasxfail"):
        report.outcome = "failed"
        report.longrepr = f"skipped where nothing may be skipped: {report.longrepr}"


@pytest.fixture(autouse=True)
def nothing_outside_the_allow_lists_reaches_an_instrument() -> Iterator[None]:
    """Every simulated instrument writes down what it hears; no test may make ours hear what its family forbids.

    Instruments that other people's programs talk to do not count, nor those in processes of their own.
    """
    before = len(_forbidden())
    yield
    assert _forbidden()[before:] == ()


def _forbidden() -> tuple[tuple[str, bytes], ...]:
    logs = sys.modules.get(
        "sweeper.simulation.wires.command_log"
    )  # a test without the simulation sends nothing to it
    return logs.forbidden_anywhere() if logs is not None else ()
