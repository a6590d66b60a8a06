"""Nights under every fault that a shack knows: all is accounted for, nothing is left touched.

Four nights here, and only faults of the instruments' own making at that; ``tests/benchmarks/season.py`` does
a hundred and twenty and watches memory.
"""

from pathlib import Path

import pytest

from tests.whole.season import run_season

pytestmark = pytest.mark.slow


@pytest.mark.timeout(280)
def test_four_nights_under_faults_are_accounted_for_pass_by_pass(tmp_path: Path) -> None:
    told = run_season(tmp_path, nights=4, seed=4, faults_a_night=8.0)
    assert not told.wrong, told
    assert sum(told.faults.values()) >= 10, told.faults
    assert told.outcomes["done"] > 20 and told.outcomes["failed"] + told.outcomes["skipped"] > 0, told
    assert max(told.handles) - min(told.handles) <= 2, told.handles
