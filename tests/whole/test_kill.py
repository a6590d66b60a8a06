"""Killed at any moment: the next start rests the relays first and finds the receiver as it was; no stored pass is gone.

Twenty kills here; ``tests/benchmarks/reliability.py`` does three hundred.
"""

import os
from pathlib import Path

import pytest

from tests.clocks import seed
from tests.whole.killing import kill_at_random, kill_while_spectra_are_written

pytestmark = [pytest.mark.crash, pytest.mark.clock]

KILLS = int(os.environ.get("SWEEPER_KILLS", "12"))


@pytest.mark.timeout(120 + 6 * KILLS)
def test_a_kill_at_any_moment_loses_no_stored_pass_and_leaves_the_station_as_found_at_the_next_start(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with capsys.disabled():
        print(f"\n{KILLS} kills, seed {seed()}")
    told = kill_at_random(tmp_path, KILLS, seed())
    assert told.kills == KILLS
    assert not told.wrong and not told.lost, (seed(), told)
    # Kills that never met a relay away from rest would have shown nothing.
    assert told.hit["relays away from rest"] >= 1, (seed(), told.hit)
    assert told.committed >= KILLS


@pytest.mark.timeout(120 + 10 * KILLS)
def test_a_kill_while_spectra_are_written_leaves_each_pass_with_all_of_them_or_none(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    kills = max(KILLS // 2, 2)
    with capsys.disabled():
        print(f"\n{kills} kills, seed {seed()}")
    told = kill_while_spectra_are_written(tmp_path, kills, seed())
    assert told.kills == kills
    assert not told.wrong and not told.lost, (seed(), told)
    assert told.committed >= kills
