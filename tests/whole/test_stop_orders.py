"""How long it takes from a stop order to relays at rest and to the end, and how long a dead rig may hold a pass.

Each wait here would last for a minute or more by itself. The whole matrix is run by the benchmark `reliability`.
"""

import threading
import time
from pathlib import Path

import pytest

from drivers.waiting import bounded
from sweeper.daemon.rig.instruments import longest_visit_s
from sweeper.daemon.run.campaign import run_passes
from sweeper.daemon.service.guard import AT_LEAST_S
from sweeper.engine.settings import GRACE_S, LEAVE_S, PATIENCE_S
from tests.whole.faulty_station import faulty_station
from tests.whole.stopping import Case, cases, stopped

pytestmark = pytest.mark.wires

AT_REST_WITHIN_S = 5.0

SOME = [case for case in cases() if case.fault == "hang" and case.moment in ("reading", "pulling in")]
SOME += [
    Case("receiver", "rigctl-net", "unplug", "tuning"),
    Case("switch", "modbus-tcp", "unplug", "pulling in"),
    Case("switch", "mqtt", "unplug", "pulling in"),
]


@pytest.mark.parametrize("case", SOME, ids=str)
def test_relays_are_at_rest_within_seconds_of_a_stop_order(case: Case) -> None:
    took = stopped(case)
    assert took is not None and took.at_rest
    assert took.rest_s < AT_REST_WITHIN_S
    assert took.end_s < 15.0


class Hurried:
    """A clock on which the waits of drivers pass ten times as fast."""

    def monotonic(self) -> float:
        return time.monotonic() * 10

    def sleep(self, seconds: float) -> None:
        time.sleep(seconds / 10)


@pytest.mark.parametrize("timeout_s", [10.0, 60.0])
def test_a_rig_of_which_nothing_answers_holds_a_pass_no_longer_than_is_told(
    timeout_s: float, tmp_path: Path
) -> None:
    """Receiver and board both hang in the middle of a pass: the pass, a last try, and the end."""
    clock, broke_s = Hurried(), []
    dead = {"receiver_timeout_s": timeout_s, "switch_timeout_s": timeout_s, "reconnect_s": 5.0}
    with faulty_station(tmp_path, "rigctl-net", "modbus-tcp", **dead) as station:

        def break_it() -> None:
            broke_s.append(clock.monotonic())
            station.served.faults.receiver.hang()
            station.served.faults.switch.hang()

        station.served.receiver_log.when("meter", break_it, 3)
        with bounded(clock=clock):
            record = station.campaign.attempt()
            pass_s = clock.monotonic() - broke_s[0]
            run_passes(station.campaign, [])  # what a program does before it ends
            end_s = clock.monotonic() - broke_s[0]
        silence_s = PATIENCE_S + longest_visit_s(station.station) + LEAVE_S
        machine_s = 40.0  # four seconds of a busy machine, on this clock
    assert record.outcome == "failed"
    assert record.left_over == ("relays", "receiver")
    assert silence_s < AT_LEAST_S
    assert pass_s < silence_s + machine_s
    assert end_s < silence_s + 2 * LEAVE_S + 2 * machine_s


def test_after_a_stop_order_a_dead_rig_holds_the_program_no_longer_than_the_grace(tmp_path: Path) -> None:
    dead = {"receiver_timeout_s": 10.0, "switch_timeout_s": 10.0, "reconnect_s": 5.0}
    with faulty_station(tmp_path, "rigctl-net", "modbus-tcp", **dead) as station:
        ordered_s: list[float] = []

        def order() -> None:
            ordered_s.append(time.monotonic())
            station.campaign.orders.stop()

        def break_it() -> None:
            station.served.faults.receiver.hang()
            station.served.faults.switch.hang()
            threading.Timer(0.3, order).start()

        station.served.receiver_log.when("meter", break_it, 3)
        (record,) = run_passes(station.campaign, [None])
        took_s = time.monotonic() - ordered_s[0]
    assert record.outcome == "skipped"
    assert took_s < 1.4 * GRACE_S
