"""What holds for every test: in CI nothing is skipped, and nothing unexpected reaches a receiver."""

import os

import pytest


@pytest.hookimpl(hookwrapper=True)
def pytest_runtest_makereport(item: pytest.Item, call: pytest.CallInfo[None]):
    """Where CI runs, everything that a test needs is installed: a skip there hides a missing step."""
    outcome = yield
    report = outcome.get_result()
    if report.skipped and os.environ.get("CI") == "true" and not hasattr(report, "wasxfail"):
        report.outcome = "failed"
        report.longrepr = f"skipped where nothing may be skipped: {report.longrepr}"
