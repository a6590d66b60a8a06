"""Kept A/B tests stand in the report apart from the nights; whatever else lies in their folder is left out."""

import json
from pathlib import Path

from sweeper.report.ab_kept import kept_tests
from sweeper.store import keep_ab_test, kept_ab_tests

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
