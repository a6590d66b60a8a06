"""Fault × instrument × moment: the cells of the fault matrix as they came out; stop orders meanwhile.

Two parts of `tests.benchmarks.reliability`, which writes what they return.
"""

import subprocess
import sys
import tempfile
import xml.etree.ElementTree as xml
from collections.abc import Mapping, Sequence
from pathlib import Path

from tests.whole.fault_cells import (
    LASTING,
    OWN_STAGE_MOMENTS,
    PASSING,
    RECEIVER_MOMENTS,
    STREAM_FAULTS,
    STREAM_MOMENTS,
    SWITCH_MOMENTS,
    Cell,
    stream_cells,
    wire_cells,
)
from tests.whole.stopping import Case, Took, all_of, cases

ROOT = Path(__file__).resolve().parents[2]
MATRIX = "tests/whole/test_fault_matrix.py"
OF_SAMPLES = "tests/whole/test_fault_matrix_samples.py"
AT_REST_WITHIN_S = 5.0

HEADING = """
## Every fault at every moment

What `{file}` found in this run. A cell is how many of the faults left nothing behind, of how many: readings stored are
all true, relays rest, the receiver is as found, the next pass is whole. The faults of one reply: {passing}. Those that
stay until they are mended: {lasting}. *Between passes* is the idle daemon, and the first reply of the next greeting.
A dash: the instrument has no such moment. A receiver's own stage shares the receiver's wire.
A server of samples sends all the time and answers nothing, so it has faults and moments of its own (`{of_samples}`):
{streams}; what clips or is garbled is stored and flagged.
"""


def fault_matrix() -> tuple[int, list[str], str]:
    """Tests run, those that failed, and the table by instrument and moment."""
    failed, ran = _outcomes()
    cells = wire_cells(PASSING) + wire_cells(LASTING) + stream_cells()
    lines = []
    for part, title, moments in (
        ("receiver", "receiver", RECEIVER_MOMENTS),
        ("switch", "relay board", SWITCH_MOMENTS),
        ("own stage", "receiver's own stage", OWN_STAGE_MOMENTS),
        ("samples", "server of samples", STREAM_MOMENTS),
    ):
        mine = [cell for cell in cells if cell.part == part]
        lines += ["", f"| {title} | " + " | ".join(moments) + " |", "| --- |" + " --- |" * len(moments)]
        for instrument in dict.fromkeys(cell.instrument for cell in mine):
            found = [
                _cell([each for each in mine if (each.instrument, each.moment) == (instrument, moment)], ran)
                for moment in moments
            ]
            lines.append(f"| {instrument} | " + " | ".join(found) + " |")
    heading = HEADING.format(
        file=MATRIX,
        passing=", ".join(PASSING),
        lasting=", ".join(LASTING),
        of_samples=OF_SAMPLES,
        streams=", ".join(STREAM_FAULTS),
    )
    return len(ran), failed, heading + "\n".join(lines) + "\n"


def _outcomes() -> tuple[list[str], dict[str, bool]]:
    """Names of the tests that failed, and of each cell whether it held."""
    with tempfile.TemporaryDirectory() as folder:
        results = Path(folder) / "results.xml"
        command = [
            sys.executable,
            "-m",
            "pytest",
            "-q",
            "-n",
            "2",
            f"--junitxml={results}",
            MATRIX,
            OF_SAMPLES,
        ]
        subprocess.run(command, cwd=ROOT, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, check=False)
        tests = list(xml.parse(results).getroot().iter("testcase"))
    failed, ran = [], {}
    for test in tests:
        name = str(test.get("name"))
        held = not any(test.find(word) is not None for word in ("failure", "error", "skipped"))
        failed += [] if held else [name]
        ran[name] = held
    return failed, ran


def _cell(cells: Sequence[Cell], ran: Mapping[str, bool]) -> str:
    if not cells:
        return "–"
    held = sum(any(held and name.endswith(f"[{cell}]") for name, held in ran.items()) for cell in cells)
    return f"{held} of {len(cells)}"


def stop_orders(quick: bool) -> tuple[str, list[str], str]:
    """How many orders were given, what took too long, and the longest times."""
    some = cases()[:: len(cases()) // 8] if quick else cases()
    took = all_of(some, at_once=6)
    given = {case: each for case, each in took.items() if each is not None}
    slow = [
        f"{case}: {each.rest_s:.1f} s"
        for case, each in given.items()
        if not each.at_rest or each.rest_s > AT_REST_WITHIN_S
    ]
    return (
        f"{len(given)} orders ({len(took) - len(given)} passes were over before)",
        slow,
        _longest(given),
    )


def _longest(given: Mapping[Case, Took]) -> str:
    rest, end = (max(given.items(), key=lambda pair: getattr(pair[1], name)) for name in ("rest_s", "end_s"))
    return (
        f"relays at rest after {rest[1].rest_s:.1f} s at most ({rest[0]}), "
        f"the pass with its last try to restore over after {end[1].end_s:.1f} s at most ({end[0]})"
    )
