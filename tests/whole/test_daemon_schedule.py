"""The daemon on its schedule, among people: every instant accounted for, and nobody fought over the dial."""

import fcntl
import json
import os
import re
import signal
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.whole.unattended import Unattended, ended, unattended, until

pytestmark = [pytest.mark.clock, pytest.mark.slow]

EVERY_2_S = "[{every: 2 s}]"


@pytest.fixture
def station(tmp_path: Path) -> Iterator[Unattended]:
    with unattended(tmp_path, schedule=EVERY_2_S) as served:
        served.served.receiver.turn_dial(6_155_000, "AM")
        yield served


def outcomes(station: Unattended) -> list[str]:
    return [record.outcome for record in station.store().passes()]


@pytest.mark.quick
def test_passes_come_when_they_are_due_and_between_them_the_receiver_is_its_listeners(
    station: Unattended,
) -> None:
    with station.running() as process:
        until(lambda: outcomes(station).count("done") >= 3, "three passes")
        until(lambda: station.ask("status").state.doing == "waiting", "the wait between passes")
        assert (station.served.receiver.hz, station.served.receiver.mode) == (6_155_000, "AM")
        assert station.resting()
        state = station.ask("status").state
        assert state.next_pass is not None and "next pass" in station.ask("status").sentence
        assert ended(process, signal.SIGTERM)[0] == 0
    started = [record.started for record in station.store().passes()]
    assert all(moment.timestamp() % 2 < 1.0 for moment in started)
    assert not station.served.forbidden


def test_somebody_at_the_dial_keeps_it_until_they_have_been_quiet(tmp_path: Path) -> None:
    with (
        unattended(tmp_path, schedule=EVERY_2_S, quiet_s=3.0, readings=60) as station,
        station.running() as process,
    ):
        until(lambda: not station.resting(), "a relay away from rest")
        station.served.receiver.turn_dial(3_573_000, "LSB")
        until(station.resting, "relays at rest")
        until(lambda: outcomes(station), "the record")
        assert station.store().passes()[-1].outcome == "skipped"
        theirs = (3_573_000, "LSB")
        until(lambda: station.ask("status").state.doing == "yielding", "the daemon to give way")
        assert (station.served.receiver.hz, station.served.receiver.mode) == theirs
        # Turned once more while it waits: the quiet time begins anew.
        station.served.receiver.turn_dial(3_575_000)
        until(lambda: "3575000" in station.store().passes()[-1].because, "the turn to be seen")
        until(lambda: station.served.receiver.hz == 7_038_500, "measuring to go on")
        until(lambda: "done" in outcomes(station), "a whole pass")
        station.ask("pause")  # between passes that follow each other at once there is hardly a moment to look
        until(lambda: station.ask("status").state.doing == "paused", "its end")
        assert (station.served.receiver.hz, station.served.receiver.mode) == (3_575_000, "LSB")
        assert ended(process, signal.SIGTERM)[0] == 0


def test_a_radio_that_another_program_holds_is_left_to_it(tmp_path: Path) -> None:
    with unattended(tmp_path, schedule=EVERY_2_S, receiver="ts480") as station:
        text = station.file.read_text().replace("driver: hamlib", "driver: dialect\n  dialect: ts480")
        station.file.write_text(text)
        held = os.open(station.served.receiver_link, os.O_RDWR | os.O_NOCTTY)
        fcntl.flock(held, fcntl.LOCK_EX | fcntl.LOCK_NB)  # as programs that share serial ports politely do
        try:
            with station.running() as process:
                until(lambda: "skipped" in outcomes(station), "a pass left out")
                assert "another program holds" in station.store().passes()[0].because
                assert set(outcomes(station)) == {"skipped"} and station.resting()
                assert station.served.receiver_log.count == 0
                fcntl.flock(held, fcntl.LOCK_UN)
                until(lambda: "done" in outcomes(station), "a pass once the radio was free", 40)
                code, said = ended(process, signal.SIGTERM)
        finally:
            os.close(held)
        assert code == 0 and not station.served.forbidden
        assert len([line for line in said.splitlines() if not line.startswith(("pass ", "yielding"))]) <= 2, (
            said
        )


def test_passes_due_while_paused_are_skipped_because_paused_and_a_pause_outlives_a_restart(
    station: Unattended,
) -> None:
    with station.running() as process:
        until(station.answers, "the daemon")
        station.ask("pause")
        until(
            lambda: "paused by hand" in [one.because for one in station.store().passes()],
            "a skipped pass",
        )
        ended(process, signal.SIGKILL)
    with station.running() as process:
        until(station.answers, "the daemon")
        until(lambda: station.ask("status").state.doing == "paused", "the pause to be remembered")
        before = len(station.store().passes())
        station.ask("resume")
        until(lambda: "done" in outcomes(station)[before:], "a pass after resuming")
        assert ended(process, signal.SIGTERM)[0] == 0


def test_every_instant_since_the_start_has_its_record(station: Unattended) -> None:
    with station.running() as process:
        until(lambda: outcomes(station).count("done") >= 2, "two passes")
        station.served.faults.switch.unplug()
        until(lambda: "failed" in outcomes(station), "a failed pass")
        station.served.faults.switch.plug()
        station.served.receiver.transmitting = True
        until(lambda: "skipped" in outcomes(station), "a pass left out")
        station.served.receiver.transmitting = False
        done = outcomes(station).count("done")
        until(lambda: outcomes(station).count("done") > done, "a pass after all that")
        assert ended(process, signal.SIGTERM)[0] == 0
    records = station.store().passes()
    assert [record.number for record in records] == list(range(1, len(records) + 1))
    assert all(record.because for record in records if record.outcome != "done")
    span_s = (records[-1].started - records[0].started).total_seconds()
    assert abs(len(records) - (span_s / 2 + 1)) <= 1.5


def test_relays_that_would_not_last_as_planned_slow_the_rhythm_and_say_so(tmp_path: Path) -> None:
    with unattended(tmp_path, schedule=EVERY_2_S, rated=1_000_000) as station:
        text = station.file.read_text().replace("rated_operations:", "planned_years: 1\n  rated_operations:")
        station.file.write_text(text)
        with station.running() as process:
            until(
                lambda: station.answers() and "relays last" in station.ask("status").sentence,
                "the slower rhythm",
            )
            told = station.ask("status").state
            # Every 2 s, two moves a pass of the stage relay at least: 86400 a day, where a million a year allows 2738.
            assert int(re.search(r"one pass in (\d+)", told.because)[1]) >= 86_400 // 2_738
            assert ended(process, signal.SIGTERM)[0] == 0


def test_worn_relays_are_warned_about_for_life_across_restarts(tmp_path: Path) -> None:
    with unattended(tmp_path, rated=10) as station:
        for _ in range(3):
            with station.running("--passes", 1) as process:
                assert ended(process)[0] == 0
        with station.running() as process:
            until(lambda: station.answers() and station.ask("status").state.wear, "the wear")
            wear = station.ask("status").state.wear
            assert wear.operations >= 6 and "of 10 rated operations" in wear.warning
            assert ended(process, signal.SIGTERM)[0] == 0
        # The board itself counted, too: no relay moved more often than was counted for the busiest.
        counted = sum(json.loads((station.folder / "relay-wear.json").read_text())["operations"].values())
        assert counted >= station.served.board.relay_operations
