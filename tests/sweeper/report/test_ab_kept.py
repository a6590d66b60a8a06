"""Kept A/B tests stand in the report apart from the nights; whatever else lies in their folder is left out."""

import json
import os
from pathlib import Path

import pytest

from sweeper.report.ab_kept import kept_tests
from sweeper.store import StoreError, keep_ab_test, kept_ab_tests

RESULT = {
    "format": "sweeper-ab-1", "from": "now", "at": "2026-11-26T17:32:10Z", "hz": 9_750_000.0, "edges": 24, "flags": [],
    "verdict": "stage", "snr_change_db": {"value": 2.14, "low": 1.2, "high": 3.04},
}  # fmt: skip


def test_a_test_is_a_row_with_its_hour_frequency_and_interval() -> None:
    table = kept_tests([json.dumps(RESULT)], "Europe/Copenhagen")
    assert table is not None
    (row,) = table.rows
    assert row[0] == "Thursday 26 November 2026, 18:32"
    assert row[1:3] == ("9750", "+2.1 (+1.2 to +3.0)") and row[4] == "24"


def test_the_latest_stands_first_and_what_is_no_result_is_left_out() -> None:
    later = {
        **RESULT,
        "at": "2026-11-27T06:00:00Z",
        "hz": None,
        "snr_change_db": None,
        "verdict": "undecided",
    }
    strange = ["{}", "no", "[1]", json.dumps({**RESULT, "verdict": "<b>"}), json.dumps({**RESULT, "hz": "7"})]
    strange += [
        json.dumps({**RESULT, **bad})
        for bad in (
            {"hz": 10**400}, {"hz": 1e300}, {"edges": 10**400}, {"edges": 1e300}, {"edges": None}, {"flags": 1},
            {"at": "0001-01-01T00:00:00+23:00"}, {"at": "9999-12-31T23:59:59-23:00"}, {"at": "2026-11-26T17:32:10"},
            {"at": 5}, {"verdict": []}, {"snr_change_db": 1},
            {"snr_change_db": {"value": 10**400, "low": 0, "high": 1}}, {"snr_change_db": [1]},
        )
    ]  # fmt: skip
    strange += ["[" * 100_000, "9" * 5000, json.dumps({**RESULT, "at": "\ud800"})]
    table = kept_tests([json.dumps(RESULT), json.dumps(later), *strange], "UTC")
    assert table is not None and len(table.rows) == 2
    assert table.rows[0][1:3] == ("–", "–")
    assert kept_tests(strange, "UTC") is None


def test_what_is_kept_is_read_back_in_order_and_never_written_over(tmp_path: Path) -> None:
    for at in ("2026-11-27T06:00:00Z", "2026-11-26T17:32:10Z", "2026-11-26T17:32:10Z"):
        keep_ab_test(tmp_path, "Saltmarsh", at, json.dumps({**RESULT, "at": at}))
    texts = kept_ab_tests(tmp_path / "Saltmarsh")
    assert [json.loads(text)["at"] for text in texts] == [
        "2026-11-26T17:32:10Z", "2026-11-26T17:32:10Z", "2026-11-27T06:00:00Z",
    ]  # fmt: skip
    assert kept_ab_tests(tmp_path / "nowhere") == ()


def test_what_lies_in_its_folder_and_is_no_small_file_is_left_out(tmp_path: Path) -> None:
    keep_ab_test(tmp_path, "Saltmarsh", "2026-11-26T17:32:10Z", json.dumps(RESULT))
    folder = tmp_path / "Saltmarsh" / "ab"
    os.mkfifo(folder / "a-pipe.json")
    (folder / "a-device.json").symlink_to("/dev/zero")
    (folder / "a-folder.json").mkdir()
    (folder / "no-text.json").write_bytes(b"\xff\xfe\x00")
    (folder / "long.json").write_bytes(b" " * 1_000_000)
    assert len(kept_ab_tests(tmp_path / "Saltmarsh")) == 1


def test_nothing_is_kept_through_a_link_that_leads_elsewhere(tmp_path: Path) -> None:
    (tmp_path / "elsewhere").mkdir()
    (tmp_path / "Saltmarsh").mkdir()
    (tmp_path / "Saltmarsh" / "ab").symlink_to(tmp_path / "elsewhere")
    with pytest.raises(StoreError):
        keep_ab_test(tmp_path, "Saltmarsh", "2026-11-26T17:32:10Z", json.dumps(RESULT))
    assert list((tmp_path / "elsewhere").iterdir()) == []
