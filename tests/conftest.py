"""What holds for every test: in CI nothing is skipped, and nothing unexpected reaches a receiver."""

import gc
import os
import sys
from collections.abc import Callable, Iterator
from datetime import datetime
from pathlib import Path

import pytest
from hypothesis import settings

from sweeper.clock import SystemClock
from tests.ahead import sitecustomize
from tests.parallel import pytest_xdist_make_scheduler as pytest_xdist_make_scheduler
from tests.parallel import spread
from tests.tiers import MARKERS, QUICK, all_longer

# Before NumPy and Polars are imported, here and in programs started from here: with matrices and tables this small,
# threads only wait for one another.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
os.environ.setdefault("POLARS_MAX_THREADS", "1")
# Programs are started by the hundred: without their bytecode each would be compiled again.
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
sys.dont_write_bytecode = False

settings.register_profile(
    "a machine of any speed", parent=settings(), deadline=None, derandomize="SWEEPER_SEED" not in os.environ
)
settings.load_profile("a machine of any speed")


@pytest.hookimpl(tryfirst=True)
def pytest_cmdline_main(config: pytest.Config) -> None:
    """`pytest` alone runs the quick tier, on all cores. Whoever names tests gets those, one after another."""
    named = config.option.markexpr or config.option.keyword
    if config.args_source is not pytest.Config.ArgsSource.TESTPATHS or named:
        return
    config.option.markexpr = QUICK
    # A worker reads the command line anew; it must not start workers, too.
    if not hasattr(config, "workerinput") and config.option.numprocesses is None:
        config.option.numprocesses = "auto"


def pytest_xdist_auto_num_workers() -> int:
    """One more than there are processors: many tests wait for a wire or a program that starts."""
    return len(os.sched_getaffinity(0)) + 1


def pytest_ignore_collect(collection_path: Path, config: pytest.Config) -> bool | None:
    """In the quick tier a module of which no test belongs to it is not even loaded."""
    if config.option.markexpr != QUICK or collection_path.suffix != ".py":
        return None
    return True if all_longer(collection_path.read_text(encoding="utf-8")) else None


@pytest.hookimpl(trylast=True)
def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    if hasattr(config, "workerinput"):
        items[:] = spread(items)


def pytest_configure(config: pytest.Config) -> None:
    gc.disable()  # nothing of what is collected is garbage: looking for some takes a seventh of the time
    for name, meaning in MARKERS.items():
        config.addinivalue_line("markers", f"{name}: {meaning}")


def pytest_collection_finish() -> None:
    gc.enable()


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


@pytest.fixture(autouse=True, scope="session")
def who_asked(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Callable[[], int]]:
    """How often the computer's clock was asked, here and in programs started from here."""
    asked = tmp_path_factory.mktemp("clock") / "asked"
    asked.touch()
    here = 0
    with pytest.MonkeyPatch.context() as patched:
        patched.setenv("SWEEPER_TESTS_ASKED", str(asked))
        patched.setenv("PYTHONPATH", str(Path(sitecustomize.__file__).parent), prepend=os.pathsep)
        sitecustomize.put_ahead()
        ahead = SystemClock.now

        def now(clock: SystemClock) -> datetime:
            nonlocal here
            here += 1
            return ahead(clock)

        patched.setattr(SystemClock, "now", now)
        yield lambda: here + asked.stat().st_size


@pytest.fixture(autouse=True)
def who_asks_the_clock_says_so(
    request: pytest.FixtureRequest, who_asked: Callable[[], int]
) -> Iterator[None]:
    """Such a test is marked `clock`, so that it is repeated at other hours (tests/whole/test_any_hour.py)."""
    before = who_asked()
    yield
    if request.node.get_closest_marker("clock") is None:
        assert who_asked() == before, "this test asks the computer's clock: mark it pytest.mark.clock"


def _forbidden() -> tuple[tuple[str, bytes], ...]:
    logs = sys.modules.get(
        "sweeper.simulation.wires.command_log"
    )  # a test without the simulation sends nothing to it
    return logs.forbidden_anywhere() if logs is not None else ()
