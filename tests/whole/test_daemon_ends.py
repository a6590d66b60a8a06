"""Every way a run can end or begin badly leaves relays at rest and the receiver with its listener."""

import signal
from pathlib import Path

import pytest

from sweeper.daemon.rig.relay_life import operations_of_the_busiest
from tests.whole.unattended import Unattended, ended, unattended, until

pytestmark = [pytest.mark.clock, pytest.mark.crash]

THEIRS = (6_155_000, "AM")


def with_listener(station: Unattended) -> None:
    station.served.receiver.turn_dial(*THEIRS)


def restored(station: Unattended) -> bool:
    receiver = station.served.receiver
    return (receiver.hz, receiver.mode) == THEIRS and station.resting() and not station.served.forbidden


def away(station: Unattended) -> None:
    until(lambda: not station.resting(), "a relay away from rest")


@pytest.mark.parametrize(
    "how", [signal.SIGINT, pytest.param(signal.SIGTERM, marks=pytest.mark.quick), signal.SIGHUP]
)
def test_a_signal_in_the_middle_of_a_pass_ends_it_at_once_and_leaves_the_station_as_found(
    tmp_path: Path, how: signal.Signals
) -> None:
    with unattended(tmp_path, readings=400) as station:
        with_listener(station)
        with station.running() as process:
            away(station)
            code, said = ended(process, how)
        assert code == 0, said
        assert restored(station)
        (record,) = station.store().passes()
        assert record.outcome == "skipped" and "asked to stop" in record.because
        assert station.store().readings().collect().is_empty()


def test_a_dead_receiver_does_not_keep_the_relays_from_their_rest(tmp_path: Path) -> None:
    with unattended(tmp_path) as station:
        with_listener(station)
        with station.running() as process:
            away(station)
            ended(process, signal.SIGKILL)
        station.served.board.set_coil(0, True)  # and somebody's hand, for good measure
        station.served.faults.receiver.unplug()
        with station.running("--passes", 1) as process:
            code, said = ended(process)
        assert code == 1 and "receiver" in said
        assert station.resting()
        station.served.faults.receiver.plug()
        with station.running("--passes", 1) as process:
            assert ended(process)[0] == 0
        assert restored(station)


def test_a_dead_board_does_not_keep_the_receiver_from_its_listener(tmp_path: Path) -> None:
    with unattended(tmp_path) as station:
        with_listener(station)
        with station.running() as process:
            away(station)
            ended(process, signal.SIGKILL)
        station.served.faults.switch.unplug()
        with station.running("--passes", 1) as process:
            code, said = ended(process)
        assert code == 1 and "switch" in said
        assert (station.served.receiver.hz, station.served.receiver.mode) == THEIRS
        station.served.faults.switch.plug()
        with station.running("--passes", 1) as process:
            assert ended(process)[0] == 0
        assert restored(station)


@pytest.mark.quick
def test_rest_puts_back_what_a_killed_daemon_left(tmp_path: Path) -> None:
    from tests.whole.unattended import SWEEPER

    with unattended(tmp_path) as station:
        with_listener(station)
        with station.running() as process:
            away(station)
            ended(process, signal.SIGKILL)
        assert not station.resting()
        import subprocess

        order = [SWEEPER, "rest", station.file, "--data", station.data]
        said = subprocess.run(order, check=True, timeout=30, capture_output=True, text=True)
        assert said.stdout == "The relays rest at antenna-bypass.\n"
        assert restored(station)
        # What the service manager's unit put right is no pass forgotten, and no move of a relay uncounted.
        (record,) = station.store().passes()
        assert record.number == 1 and record.outcome == "failed" and "ended in the middle" in record.because
        counted = operations_of_the_busiest(station.folder)
        assert counted > 0
        subprocess.run(order, check=True, timeout=30, capture_output=True)
        assert len(station.store().passes()) == 1 and operations_of_the_busiest(station.folder) == counted
        with station.running("--passes", 1) as process:
            assert ended(process)[0] == 0
        assert [(each.number, each.outcome) for each in station.store().passes()] == [
            (1, "failed"),
            (2, "done"),
        ]


def test_a_pass_cut_short_is_written_down_by_the_next_start(tmp_path: Path) -> None:
    with unattended(tmp_path) as station:
        with station.running() as process:
            away(station)
            ended(process, signal.SIGKILL)
        with station.running("--passes", 1) as process:
            code, said = ended(process)
        assert code == 0 and "Pass 1, begun at" in said
        cut, measured = station.store().passes()
        assert cut.outcome == "failed" and measured.outcome == "done"
        assert cut.started < measured.started and operations_of_the_busiest(station.folder) > 0


def test_after_a_crash_a_dial_that_somebody_has_turned_since_stays_theirs(tmp_path: Path) -> None:
    with unattended(tmp_path) as station:
        with_listener(station)
        with station.running() as process:
            away(station)
            ended(process, signal.SIGKILL)
        station.served.receiver.turn_dial(3_573_000, "LSB")
        with station.running("--passes", 1) as process:
            assert ended(process)[0] == 0
        assert (station.served.receiver.hz, station.served.receiver.mode) == (3_573_000, "LSB")


def test_the_only_pass_asked_for_was_left_out_and_the_exit_code_says_so(tmp_path: Path) -> None:
    with unattended(tmp_path) as station:
        station.served.receiver.transmitting = True
        with station.running("--passes", 1) as process:
            code, said = ended(process)
        assert code == 1 and "transmitter" in said
        assert [record.outcome for record in station.store().passes()] == ["skipped"]


def test_after_a_crash_a_dial_that_was_only_turned_gets_its_mode_back_and_stays_there(tmp_path: Path) -> None:
    with unattended(tmp_path) as station:
        with_listener(station)
        with station.running() as process:
            away(station)
            until(lambda: station.served.receiver.mode != THEIRS[1], "the program's mode")
            ended(process, signal.SIGKILL)
        station.served.receiver.turn_dial(6_070_000)
        with station.running("--passes", 1) as process:
            assert ended(process)[0] == 0
        assert (station.served.receiver.hz, station.served.receiver.mode) == (6_070_000, THEIRS[1])


def test_a_second_daemon_on_the_same_station_is_refused_with_a_sentence(tmp_path: Path) -> None:
    with unattended(tmp_path) as station, station.running() as first:
        until(station.answers, "the first daemon")
        with station.running("--passes", 1) as second:
            code, said = ended(second)
        assert code != 0 and "Traceback" not in said
        assert len(said.strip().splitlines()) == 1, said
        assert first.poll() is None
        assert ended(first, signal.SIGTERM)[0] == 0


def test_a_pulled_cable_fails_its_passes_with_a_reason_and_the_next_ones_are_simply_there(
    tmp_path: Path,
) -> None:
    with unattended(tmp_path) as station:
        with_listener(station)
        with station.running() as process:
            until(lambda: len(station.store().passes()) >= 2, "two passes")
            station.served.faults.receiver.unplug()
            until(lambda: station.store().passes()[-1].outcome == "failed", "a failed pass")
            until(station.resting, "relays at rest")
            station.served.faults.receiver.plug()
            failed = len(station.store().passes())
            until(
                lambda: any(record.outcome == "done" for record in station.store().passes()[failed:]),
                "a pass after the cable was back",
            )
            assert ended(process, signal.SIGTERM)[0] == 0
        assert restored(station)
        numbers = [record.number for record in station.store().passes()]
        assert numbers == list(range(1, len(numbers) + 1))


def test_a_keyed_transmitter_stops_the_pass_and_sends_the_relays_to_rest(tmp_path: Path) -> None:
    with unattended(tmp_path, readings=200) as station:
        with_listener(station)
        with station.running() as process:
            away(station)
            station.served.receiver.transmitting = True
            until(station.resting, "relays at rest")
            until(lambda: station.store().passes(), "the record")
            assert "transmitter" in station.store().passes()[0].because
            assert ended(process, signal.SIGTERM)[0] == 0
        assert station.store().readings().collect().is_empty()
        assert not station.served.forbidden
