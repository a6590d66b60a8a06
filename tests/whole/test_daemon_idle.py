"""A daemon that waits is light enough for a small computer in a shack."""

from pathlib import Path

import pytest

from tests.whole.idle import waited

pytestmark = [pytest.mark.clock, pytest.mark.slow]


def test_waiting_takes_less_than_120_mb_also_after_a_finished_day_was_written(tmp_path: Path) -> None:
    idle = waited(tmp_path, 0.0)
    assert idle.rss_mb < 120 and idle.rss_after_day_mb < 120, idle
