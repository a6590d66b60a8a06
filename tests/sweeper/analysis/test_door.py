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
        "import pkgutil, sweeper.daemon as d;"  # sound cannot be looked at without arrays, and is loaded when it is
        "[__import__(m.name) for m in pkgutil.walk_packages(d.__path__, 'sweeper.daemon.') if '.sound_' not in m.name]",
    ],
)
def test_nothing_that_starts_or_waits_loads_arrays_or_tables(started):
    code = f"import sys; {started}; sys.exit(bool({{'numpy', 'polars', 'scipy'}} & set(sys.modules)))"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
