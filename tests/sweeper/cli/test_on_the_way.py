"""What `run` says: at once what is going to happen, and where a pass has got to."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from io import StringIO
from pathlib import Path

from sweeper.cli.on_the_way import Shown, beginning
from sweeper.clock import JumpingClock
from sweeper.station import load
from sweeper.words import ANTENNA_STAGE, Channel, PassRecord, Visit
from tests.sweeper.station.files import written

EVENING = datetime(2026, 11, 1, 16, tzinfo=UTC)


def test_a_run_says_what_it_is_going_to_do(tmp_path: Path) -> None:
    station = load(written(tmp_path))
    now = beginning(station, EVENING, 3, tmp_path / "data")
    assert now.startswith("Saltmarsh: 3 passes now. 2 channels through 4 paths: about ")
    assert f"Readings go to {tmp_path / 'data'}." in now and "Ctrl-C ends it" in now
    assert "1 pass now" in beginning(station, EVENING, 1, tmp_path)
    assert "by the schedule, the next one 01 November 16:" in beginning(station, EVENING, None, tmp_path)
    unscheduled = station.model_copy(update={"schedule": ()})
    assert "pass after pass, as there is no schedule" in beginning(unscheduled, EVENING, None, tmp_path)


def test_a_pass_under_way_is_shown_visit_by_visit_and_gone_afterwards() -> None:
    clock, terminal = JumpingClock(EVENING), StringIO()
    shown = Shown(terminal, clock)
    visit = Visit(Channel("40 m", 7_038_500, "noise", 2400), ANTENNA_STAGE)
    shown.begins(7, 10)
    clock.sleep(2.0)
    shown.visited(visit, ())
    last = terminal.getvalue().split("\r\x1b[K")[-1]
    assert last == "pass 7: visit 1 of 10, 40 m, 7038.5 kHz, antenna-stage; 18 s left"
    shown.finished(PassRecord(7, EVENING, EVENING + timedelta(minutes=1), "done", "", 4), ())
    assert terminal.getvalue().endswith("\r\x1b[K")


def test_names_cannot_steer_the_terminal() -> None:
    terminal = StringIO()
    shown = Shown(terminal, JumpingClock(EVENING))
    shown.begins(1, 10)
    channel = replace(Channel("40 m", 7_038_500, "noise", 2400), band="\x1b[2Jgone")
    shown.visited(Visit(channel, ANTENNA_STAGE), ())
    assert "\x1b[2J" not in terminal.getvalue() and "\\u001b[2Jgone" in terminal.getvalue()
