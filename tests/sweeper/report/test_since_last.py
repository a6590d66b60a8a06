"""A report carries its findings, and the next one says what changed since."""

from datetime import timedelta
from pathlib import Path

import pytest

from sweeper.analysis import Findings, findings_object
from sweeper.report.since_last import carried, carried_json, changed, previous_findings
from tests.sweeper.report import sample


def carrying(file: Path, found: Findings, previous: dict[str, object] | None = None) -> None:
    """A page that carries findings, without its pictures."""
    carried = carried_json(found, previous)
    file.write_text(f'<script type="application/json" id="findings">{carried}</script>', encoding="utf-8")


def test_the_next_report_says_what_moved_and_writing_it_twice_does_not_forget(tmp_path: Path) -> None:
    file = tmp_path / "report.html"
    first = sample.findings("</script>", "40 m", verdict="undecided")
    second = sample.findings("</script>", "40 m", verdict="stage", end=first.end + timedelta(days=1))
    carrying(file, first)
    for _ in range(2):
        before = previous_findings(file, second, "UTC")
        lines = changed(second, before, "UTC").lines
        assert len(lines) == 2
        assert lines[1].endswith("now “stage in”, was “not settled yet”.")
        carrying(file, second, dict(before or {}))


def test_a_report_drawn_anew_after_a_pass_still_compares_with_the_night_before(tmp_path: Path) -> None:
    file = tmp_path / "report.html"
    first = sample.findings(verdict="undecided")
    carrying(file, first)
    for hours in (20, 24, 43):  # from 13:00 to 12:00: the next night, noon to noon
        now = sample.findings(verdict="stage", end=first.end + timedelta(hours=hours))
        before = previous_findings(file, now, "UTC")
        assert before == carried(findings_object(first)), hours
        carrying(file, now, dict(before))


def test_a_report_carries_what_the_next_one_compares_with(markup: str, tmp_path: Path) -> None:
    file = tmp_path / "report.html"
    file.write_text(markup, encoding="utf-8")
    later = sample.findings("80 m", "40 m", end=sample.findings().end + timedelta(days=1))
    assert previous_findings(file, later, "UTC") == carried(findings_object(sample.findings()))


@pytest.mark.parametrize(
    "text",
    [
        "",
        "<html></html>",
        '<script type="application/json" id="findings">{"findings": 3}</script>',
        '<script type="application/json" id="findings">{"findings": {}, "previous": null}</script>',
        '<script type="application/json" id="findings">{</script>',
        '<script type="application/json" id="findings">{"findings": {"format": "sweeper-findings-1", "station": '
        '"Saltmarsh", "to": "x", "bands": [{"band": "40 m", "periods": [{"hour_utc": 1, "verdict": "<b>"}]}]}, '
        '"previous": null}</script>',
    ],
)
def test_somebody_elses_page_is_no_earlier_report(tmp_path: Path, text: str) -> None:
    file = tmp_path / "report.html"
    file.write_text(text, encoding="utf-8")
    assert previous_findings(file, sample.findings(), "UTC") is None


def test_the_report_of_another_station_is_no_earlier_report(tmp_path: Path) -> None:
    file = tmp_path / "report.html"
    carrying(file, sample.findings(name="Elsewhere"))
    assert previous_findings(file, sample.findings(), "UTC") is None
