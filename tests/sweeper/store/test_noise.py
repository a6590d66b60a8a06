"""Lines of what made the noise: a file a month, read in order; a torn line spoils no other."""

import os
from datetime import UTC, datetime
from pathlib import Path

import pytest

from sweeper.store import StoreError, keep_noise, kept_noise

NOVEMBER, DECEMBER = datetime(2026, 11, 30, 23, tzinfo=UTC), datetime(2026, 12, 1, 1, tzinfo=UTC)


def test_lines_come_back_in_order_of_time(tmp_path: Path) -> None:
    for at, line in ((DECEMBER, "c"), (NOVEMBER, "a"), (NOVEMBER, "b")):
        keep_noise(tmp_path, at, line)
    assert [line for line in kept_noise(tmp_path) if line] == ["a", "b", "c"]
    assert sorted(file.name for file in (tmp_path / "noise").iterdir()) == ["2026-11.jsonl", "2026-12.jsonl"]


def test_a_line_after_a_torn_one_stands_by_itself(tmp_path: Path) -> None:
    keep_noise(tmp_path, NOVEMBER, "a")
    file = tmp_path / "noise" / "2026-11.jsonl"
    file.write_bytes(file.read_bytes() + b"to\xff")
    keep_noise(tmp_path, NOVEMBER, "b")
    assert [line for line in kept_noise(tmp_path) if line][::2] == ["a", "b"]


def test_nothing_there_is_nothing(tmp_path: Path) -> None:
    assert kept_noise(tmp_path) == []


@pytest.mark.parametrize("what", ["pipe", "folder", "link"])
def test_what_bears_the_files_name_is_not_waited_for(tmp_path: Path, what: str) -> None:
    (tmp_path / "noise").mkdir()
    file = tmp_path / "noise" / "2026-11.jsonl"
    if what == "pipe":
        os.mkfifo(file)
    elif what == "folder":
        file.mkdir()
    else:
        file.symlink_to(tmp_path / "elsewhere")
    with pytest.raises(StoreError):
        keep_noise(tmp_path, NOVEMBER, "a")
    assert kept_noise(tmp_path) == []
