"""What a look at the rig found is kept until another look finds it mended."""

from datetime import UTC, datetime
from pathlib import Path

import pytest

from sweeper.daemon.last_check import NAME, LastCheck

WHEN = datetime(2026, 11, 2, 18, 0, tzinfo=UTC)


def test_it_comes_back_as_it_was_kept(tmp_path: Path) -> None:
    last = LastCheck(WHEN, ("switch: a relay sticks.",), ("On 10 m the meter is blind.",))
    last.keep(tmp_path)
    assert LastCheck.of(tmp_path) == last
    failed, blind = last.sentences()
    assert "02 Nov 2026" in failed and failed.endswith("mended: switch: a relay sticks.")
    assert blind == "On 10 m the meter is blind."


def test_a_later_look_takes_the_place_of_an_earlier_one(tmp_path: Path) -> None:
    LastCheck(WHEN, ("switch: a relay sticks.",)).keep(tmp_path)
    LastCheck(WHEN).keep(tmp_path)
    last = LastCheck.of(tmp_path)
    assert last is not None and last.sentences() == ()


@pytest.mark.parametrize(
    "text",
    [
        "", "[]", "{}", "null", '{"at": 3, "failed": [], "meter": []}',
        '{"at": "2026-11-02T18:00:00+00:00", "failed": "all", "meter": []}',
        '{"at": "2026-11-02T18:00:00+00:00", "failed": [7], "meter": []}', "[" * 100_000, "\x00",
    ],
)  # fmt: skip
def test_a_file_that_somebody_spoiled_tells_nothing(text: str, tmp_path: Path) -> None:
    (tmp_path / NAME).write_text(text)
    assert LastCheck.of(tmp_path) is None
