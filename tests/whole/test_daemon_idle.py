"""A daemon that waits is light enough for a small computer in a shack."""

from pathlib import Path

import pytest

from tests.whole.idle import after_days, waited

pytestmark = [pytest.mark.clock, pytest.mark.slow]


def test_waiting_takes_less_than_120_mb_also_after_a_finished_day_was_written(tmp_path: Path) -> None:
    idle = waited(tmp_path, 0.0)
    assert idle.rss_mb < 120 and idle.rss_after_day_mb < 120, idle


def test_it_takes_no_more_after_many_late_days(tmp_path: Path) -> None:
    rss_mb, files = after_days(tmp_path, 5)
    assert files >= 5 and rss_mb < 120, rss_mb
