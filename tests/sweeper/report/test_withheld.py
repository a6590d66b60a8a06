"""An hour in which something is wrong has a word of its own, everywhere: it does not wait for nights."""

from dataclasses import replace
from pathlib import Path

import pytest

from sweeper.page.seen import tonight_seen
from sweeper.page.tonight import Tonight
from sweeper.reduction import Reduced
from sweeper.report import terminal
from sweeper.report.page import write_html
from sweeper.report.plain import as_text
from tests.sweeper.page.test_seen import STATION
from tests.sweeper.report import sample

WHY = "No answer: the stage or the receiver behind it overloads, and overload looks like gain."


def overloaded_from_eight_to_ten():
    """40 m, undecided at all hours, withheld at 20 and 21 UTC."""
    found = sample.findings("40 m", verdict="undecided")
    periods = tuple(
        replace(period, flags=("overload", "withheld"), reason=WHY, snr_change_db=None)
        if period.hour_utc in (20, 21)
        else period
        for period in found.bands[0].periods
    )
    return replace(found, bands=(replace(found.bands[0], periods=periods),))


def test_the_terminal_tells_withheld_hours_from_early_ones(capsys: pytest.CaptureFixture[str]) -> None:
    terminal.show_findings(overloaded_from_eight_to_ten(), "UTC")
    told = capsys.readouterr().out
    (row,) = [line for line in told.splitlines() if line.startswith("40 m  ×")]
    assert "× overload: stage out 20–22" in row
    assert "not settled yet" in told


def test_the_report_has_a_badge_for_them_and_says_that_nights_do_not_help(tmp_path: Path) -> None:
    found = overloaded_from_eight_to_ten()
    write_html(found, sample.tables(found), sample.passes(), tmp_path / "report.html")
    page = (tmp_path / "report.html").read_text(encoding="utf-8")
    assert (
        '<b>× overload: stage out</b> <span class="where"><span class="span"><span class="lt">20–22</span>'
        '<span class="ut">20–22</span></span> </span></td><td class="change">–</td>'
    ) in page
    assert "more nights will not mend" in page
    assert page.count(f'<td class="wide">{WHY}') == 2


def test_mail_counts_them_apart() -> None:
    text = " ".join(as_text(overloaded_from_eight_to_ten()).split())
    assert "Not settled yet: 40 m 10 of 12 hours." in text
    assert "No answer: 40 m 2 of 12 hours; more nights will not help before what is wrong is mended." in text


def test_the_live_page_says_so_for_the_hour() -> None:
    found, tonight = overloaded_from_eight_to_ten(), Tonight()
    tonight.take(Reduced(found, (), lambda: sample.tables(found)), 20)
    (band,) = tonight_seen(tonight, STATION)["bands"]
    assert (band["state"], band["words"]) == ("fault", "× overload: stage out")
