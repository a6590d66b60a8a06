"""Every test is run by somebody: by the README's command, or by the gate's after it."""

import itertools
import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

from tests.tiers import MARKERS, QUICK, TOGETHER, WAITING, all_longer

pytestmark = pytest.mark.slow

GATE = Path(__file__).parents[1] / ".ci" / "run"


def test_the_gate_runs_what_the_readmes_command_leaves_out_and_nothing_twice() -> None:
    gate = GATE.read_text(encoding="utf-8")
    (rest,) = re.findall(r'^longer="(.+)"$', gate, re.MULTILINE)
    assert re.findall(r"pytest .*-m '\$longer' (\S+)\"", gate) == ["$waiting", "$others"]
    assert 'others="--ignore=${waiting// / --ignore=}"' in gate
    for chosen in itertools.product((False, True), repeat=len(MARKERS)):
        marks = dict(zip(MARKERS, chosen, strict=True))
        assert eval(QUICK, {}, marks) is not eval(rest, {}, marks), (
            marks
        )  # pytest's words for it are Python's


def test_a_module_that_the_readmes_command_does_not_load_has_no_test_for_it() -> None:
    left_out = [
        str(each)
        for each in sorted((GATE.parents[1] / "tests").rglob("test_*.py"))
        if all_longer(each.read_text(encoding="utf-8"))
    ]
    # In brackets, so that none of them is left out by that very rule.
    collect = [sys.executable, "-m", "pytest", "-q", "-n", "0", "--collect-only", "-m", f"({QUICK})"]
    ran = subprocess.run(
        [*collect, *left_out], cwd=GATE.parents[1], capture_output=True, text=True, check=False
    )
    assert ran.returncode == pytest.ExitCode.NO_TESTS_COLLECTED, ran.stdout[-2000:]
    assert len(left_out) > 50


@pytest.mark.parametrize(
    ("source", "longer"),
    [
        ("pytestmark = pytest.mark.slow\n", True),
        ("pytestmark = [pytest.mark.clock, pytest.mark.wires]\n", True),
        ("pytestmark = pytest.mark.clock\n", False),
        ("@pytest.mark.slow\ndef test_one():\n", False),
        ("pytestmark = pytest.mark.slow\n@pytest.mark.quick\ndef test_one():\n", False),
    ],
)
def test_a_module_is_left_out_by_its_own_mark_alone(source: str, longer: bool) -> None:
    assert all_longer(source) is longer


def test_modules_that_are_named_are_there() -> None:
    assert all((GATE.parents[1] / each).exists() for each in (*TOGETHER, *WAITING))


@pytest.mark.parametrize(("together", "workers"), [(("test_shared.py",), 1), ((), 2)])
def test_one_process_runs_what_shares_something_expensive(
    tmp_path: Path, together: tuple[str, ...], workers: int
) -> None:
    """Nothing else would tell that each worker draws the same night for itself, but the time."""
    (tmp_path / "conftest.py").write_text(
        "from tests import tiers\n"
        "from tests.parallel import pytest_xdist_make_scheduler\n"
        f"tiers.TOGETHER = {together!r}\n"
    )
    (tmp_path / "test_shared.py").write_text(
        "import os, pathlib, pytest\n"
        "@pytest.mark.parametrize('nth', range(12))\n"
        "def test_where(nth):\n"
        "    pathlib.Path(os.environ['PYTEST_XDIST_WORKER'] + '.ran').touch()\n"
    )
    run = [sys.executable, "-m", "pytest", "-q", "-n", "2", "-p", "no:cacheprovider", "test_shared.py"]
    root = str(GATE.parents[1])
    subprocess.run(run, cwd=tmp_path, env={**os.environ, "PYTHONPATH": root}, check=True, capture_output=True)
    assert len(list(tmp_path.glob("*.ran"))) == workers
