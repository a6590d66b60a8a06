"""The one door of the analysis: its names come from the rooms that the type checker sees, and only when asked for."""

import ast
import subprocess
import sys
from pathlib import Path

import pytest

from sweeper import analysis


def test_every_name_of_the_door_leads_to_the_room_that_is_declared() -> None:
    tree = ast.parse(Path(analysis.__file__).read_text(encoding="utf-8"))
    declared = {
        (alias.asname, node.module)
        for node in ast.walk(tree)
        if isinstance(node, ast.ImportFrom) and node.module and node.module.startswith("sweeper.analysis.")
        for alias in node.names
    }
    assert {(name, f"sweeper.analysis.{module}") for name, module in analysis._MODULES.items()} == declared
    for name in analysis._MODULES:
        assert getattr(analysis, name) is not None


def test_a_name_that_is_not_there_is_told() -> None:
    with pytest.raises(ImportError, match="no_such_thing"):
        exec("from sweeper.analysis import no_such_thing")


@pytest.mark.parametrize(
    "started",
    [
        "from sweeper.analysis import Comparison, Findings, Interval, StationFacts",
        "import sweeper.reduction",  # its second process says how many threads polars may have, before polars is there
        "import sweeper.cli",
        "import sweeper.cli.app",
        "import sweeper.page.serving, sweeper.page.app, sweeper.report.answer",
        "import pkgutil, sweeper.daemon as d;"  # sound cannot be looked at without arrays, and is loaded when it is
        "[__import__(m.name) for m in pkgutil.walk_packages(d.__path__, 'sweeper.daemon.') if '.sound_' not in m.name]",
    ],
)
def test_nothing_that_starts_or_waits_loads_arrays_or_tables(started):
    assert not loaded(started, "numpy", "polars", "scipy")


def test_a_test_by_hand_shows_its_first_spectrum_before_what_compares_or_reads_a_station_is_there() -> None:
    heard = (
        "import numpy as np; from drivers.contracts import Block; import drivers.samples.sound, sweeper.cli.app;"
        "from sweeper.cli import ab_now; from sweeper.attended import at_station, listening, session;"
        "from sweeper.clock import SystemClock; from sweeper.words import ANTENNA_BYPASS;"
        "from sweeper.report import ab_live;"
        "one = session.Session(session.Asked(120.0, 3.0, True), 0.0);"
        "one.hear(Block(np.ones(7200, np.float32), 48000.0, (0.0, 0.15))); one.look();"
        "assert one.view(ANTENNA_BYPASS, None, None).out_curve.db"
    )
    assert not loaded(
        heard, "scipy", "polars", "ruamel", "sweeper.station", "sweeper.store", "sweeper.engine"
    )


def loaded(code: str, *names: str) -> str:
    """Which of these modules are there after `code` has run, as a new process tells it."""
    asked = f"import sys; {code}; print(*({set(names)} & set(sys.modules)))"
    done = subprocess.run([sys.executable, "-c", asked], check=True, capture_output=True, text=True)
    return done.stdout.strip()
