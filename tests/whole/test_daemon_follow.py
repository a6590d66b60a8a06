"""Following the dial on real wires, alone and beside a daemon."""

import contextlib
import signal
import subprocess
import threading
from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path

import pytest

from sweeper.analysis import BandFinding, Findings, PeriodFinding
from sweeper.clock import SystemClock
from sweeper.daemon.follow import Pace, follow
from sweeper.daemon.run.orders import Orders
from sweeper.station import load
from tests.clocks import EVENING
from tests.whole.unattended import DEADLINE_S, SWEEPER, Unattended, ended, unattended, until

pytestmark = [pytest.mark.clock, pytest.mark.slow]

ALL_DAY = tuple(PeriodFinding(hour, 30, 5, None, None, None, "stage", (), "because") for hour in range(24))
STAGE_ON_40 = Findings(
    "Outpost",
    EVENING,
    EVENING,
    0.95,
    1.0,
    (BandFinding("40 m", None, None, None, None, (), ALL_DAY, "stage"),),
)


IMPATIENT = Pace(look_s=0.05, still_s=0.4, hold_s=1.0, again_s=0.2)
"""What is followed in this process is looked at more often than a person would turn a dial."""


@contextlib.contextmanager
def following(station: Unattended) -> Iterator[list[str]]:
    """The dial followed in a thread until the block ends; what was told."""
    told: list[str] = []
    orders = Orders()
    work = threading.Thread(
        target=follow,
        args=(load(station.file), station.folder, STAGE_ON_40, SystemClock(), orders, told.append, IMPATIENT),
    )
    work.start()
    try:
        yield told
    finally:
        orders.stop()
        work.join(DEADLINE_S)
        assert not work.is_alive()


@pytest.mark.quick
def test_the_stage_goes_in_where_it_helps_and_out_elsewhere_and_at_the_end(tmp_path: Path) -> None:
    with unattended(tmp_path) as station:
        bench = station.served.receiver
        bench.turn_dial(3_573_000, "LSB")
        with following(station) as told:
            until(lambda: told, "the first word")
            assert station.resting() and "nothing was measured near" in told[0]
            bench.turn_dial(7_074_000)
            until(lambda: bench.path == "antenna-stage", "the stage to go in")
            bench.turn_dial(14_074_000)
            until(station.resting, "the stage to go out")
            assert bench.hz == 14_074_000 and bench.mode == "LSB"
        assert station.resting() and not station.served.forbidden


def test_while_a_transmitter_is_on_nothing_moves_and_afterwards_the_stage_stays_out(tmp_path: Path) -> None:
    with unattended(tmp_path, quiet_s=60) as station:
        bench = station.served.receiver
        bench.turn_dial(7_074_000, "LSB")
        bench.transmitting = True
        with following(station) as told:
            until(lambda: told, "the first word")
            moved = bench.relay_operations
            asked = station.served.receiver_log.count
            until(
                lambda: station.served.receiver_log.count > asked + 40,
                "looks past the time to settle",
            )
            assert bench.relay_operations == moved == 0
            bench.transmitting = False
            asked = station.served.receiver_log.count
            until(
                lambda: station.served.receiver_log.count > asked + 40,
                "looks after the transmission",
            )
            assert station.resting() and any(said.startswith("stage out for now (40 m") for said in told)


def test_a_pulled_cable_ends_in_bypass_and_following_goes_on_when_it_is_back(
    tmp_path: Path,
) -> None:
    with unattended(tmp_path) as station:
        bench = station.served.receiver
        bench.turn_dial(7_074_000, "LSB")
        with following(station) as told:
            until(lambda: bench.path == "antenna-stage", "the stage to go in")
            station.served.faults.receiver.unplug()
            until(station.resting, "bypass")
            until(lambda: any("Trying again" in each for each in told), "the fault to be told")
            assert any("receiver" in each for each in told)
            assert all(one != other for one, other in pairwise(told)), "the same fault is told once"
            station.served.faults.receiver.plug()
            until(lambda: bench.path == "antenna-stage", "the stage to go in again", 60)


def test_following_waits_for_a_pass_that_is_under_way(tmp_path: Path) -> None:
    with unattended(tmp_path, readings=150) as station:
        station.served.receiver.turn_dial(7_074_000, "LSB")
        with station.running("--passes", 1) as process:
            until(lambda: not station.resting(), "a relay away from rest")
            with following(station) as told:
                until(lambda: told, "the first word")
                assert "another command" in told[0] and process.poll() is None
                assert ended(process, signal.SIGTERM)[0] == 0
                until(lambda: station.served.receiver.path == "antenna-stage", "the stage to go in")


def test_a_daemon_leaves_its_passes_out_while_somebody_listens_with_follow(tmp_path: Path) -> None:
    with unattended(tmp_path, schedule="[{every: 2 s}]") as station:
        with station.running("--passes", 3) as process:
            assert ended(process)[0] == 0
        listener = subprocess.Popen(
            [SWEEPER, "follow", station.file, "--data", station.data],
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
        )
        try:
            assert listener.stdout is not None and listener.stdout.readline()
            with station.running() as process:
                until(lambda: len(station.store().passes()) >= 5, "passes due meanwhile")
                left_out = station.store().passes()[3:]
                assert {record.outcome for record in left_out} == {"skipped"}
                assert all("another command" in record.because for record in left_out)
                listener.send_signal(signal.SIGINT)
                listener.communicate(timeout=DEADLINE_S)
                assert listener.returncode == 0
                until(lambda: station.store().passes()[-1].outcome == "done", "measuring to go on")
                assert ended(process, signal.SIGTERM)[0] == 0
        finally:
            if listener.poll() is None:
                listener.kill()
                listener.communicate(timeout=DEADLINE_S)
        assert station.resting()
