"""Every test is run by somebody: by the README's command, or by the gate's after it."""

import itertools
import re
from pathlib import Path

from tests.tiers import MARKERS, QUICK

GATE = Path(__file__).parents[1] / ".ci" / "run"


def test_the_gate_runs_what_the_readmes_command_leaves_out_and_nothing_twice() -> None:
    (rest,) = re.findall(r'^\.venv/bin/pytest .*-m "(.+)"$', GATE.read_text(encoding="utf-8"), re.MULTILINE)
    for chosen in itertools.product((False, True), repeat=len(MARKERS)):
        marks = dict(zip(MARKERS, chosen, strict=True))
        assert eval(QUICK, {}, marks) is not eval(rest, {}, marks), (
            marks
        )  # pytest's words for it are Python's
