"""The power may fail at every write and every sync: no pass is lost, seen in half or doubled."""

import os
from pathlib import Path

import pytest

from tests.clocks import seed
from tests.sweeper.store.cuts import cut_everywhere

pytestmark = pytest.mark.crash

PASSES = 30 if "SWEEPER_KILLS" in os.environ else 3


@pytest.mark.parametrize("passes", [pytest.param(1, marks=pytest.mark.quick), PASSES])
@pytest.mark.timeout(900)
def test_a_power_cut_at_any_write_and_any_sync_loses_nothing_that_was_promised(
    tmp_path: Path, passes: int, capsys: pytest.CaptureFixture[str]
) -> None:
    left = cut_everywhere(tmp_path, passes, seed(), lotteries=1 if passes == 1 else 2)
    with capsys.disabled():
        print(
            f"\n{left.cuts} power cuts, {left.images} different disks after them {dict(left.states)}, seed {seed()}"
        )
    assert left.broken == []
    # Every kind of disk was seen, or the test has shown less than it says.
    assert len(left.states) == 3
    assert left.cuts > 20 * passes
