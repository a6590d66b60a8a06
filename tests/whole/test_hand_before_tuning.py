"""A hand at the dial after a pass has kept the receiver's state and before it tunes for the first time, on the wire.

Whoever comes then is given way to as at any other time, and finds the receiver where they left it.
"""

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import pytest

from tests.whole.faulty_station import DIAL_BEFORE, RECEIVERS, WHOLE, FaultyStation, faulty_station

pytestmark = pytest.mark.wires

HANDS = {
    "dial and mode": (10_005_000, "AM"),
    "dial": (10_005_000, DIAL_BEFORE[1]),
    "mode": (DIAL_BEFORE[0], "AM"),
}
"""What they set the receiver to."""
LOOKS = {"rigctl-net": 4, "net-plain": 7, "net-no-state": 7, "ts480": 3, "ic7300": 3, "scpi": 4}
"""Which question of a pass for dial or mode begins the last look before the first tuning: one later is too late."""


def once_kept(station: FaultyStation, happen: Callable[[], None], patch: pytest.MonkeyPatch) -> None:
    """As soon as the store holds the state to go back to; nothing has been prepared yet."""
    keep, come = station.store.remember_all, [happen]

    def kept(values: Mapping[str, Any]) -> None:
        keep(values)
        if come and any(values.values()):
            come.pop()()

    patch.setattr(station.store, "remember_all", kept)


def once_relays_are_asked(
    station: FaultyStation, happen: Callable[[], None], patch: pytest.MonkeyPatch
) -> None:
    """All is prepared, and the relays are on their way to the first path."""
    once_kept(station, lambda: station.served.switch_log.when("read", happen), patch)


MOMENTS = {"kept": once_kept, "relays": once_relays_are_asked}


@pytest.mark.parametrize("hand", HANDS)
@pytest.mark.parametrize("moment", MOMENTS)
@pytest.mark.parametrize("receiver", RECEIVERS)
def test_a_hand_between_keeping_the_state_and_the_first_tuning_keeps_the_dial(
    receiver: str, moment: str, hand: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    theirs = HANDS[hand]
    came: list[bool] = []
    with faulty_station(tmp_path, receiver, "modbus-tcp") as station:

        def come() -> None:
            came.append(True)
            station.served.receiver.turn_dial(*theirs)

        MOMENTS[moment](station, come, monkeypatch)
        record = station.one_pass()
        assert came == [True]
        assert record.outcome == "skipped" and record.because.startswith("somebody tuned the receiver to ")
        assert (station.dial, station.at_rest, record.left_over) == (theirs, True, ())
        assert station.stored(record) == []
        after = station.one_pass()
        assert (after.outcome, station.dial) == ("done", theirs)
        assert station.served.forbidden == ()


@pytest.mark.parametrize("receiver", RECEIVERS)
def test_the_last_look_before_the_first_tuning_still_sees_a_hand(receiver: str, tmp_path: Path) -> None:
    theirs = HANDS["dial and mode"]
    with faulty_station(tmp_path, receiver, "modbus-tcp") as station:
        log = station.served.receiver_log
        log.when("dial", lambda: station.served.receiver.turn_dial(*theirs), LOOKS[receiver])
        record = station.one_pass()
        assert (record.outcome, station.dial) == ("skipped", theirs)


@pytest.mark.parametrize("receiver", RECEIVERS)
def test_a_look_whose_answer_is_lost_costs_no_pass(receiver: str, tmp_path: Path) -> None:
    with faulty_station(tmp_path, receiver, "modbus-tcp", receiver_timeout_s=0.6) as station:
        station.served.receiver_log.when("dial", station.served.faults.receiver.drop, LOOKS[receiver])
        record = station.one_pass()
        assert (record.outcome, len(station.stored(record)), station.dial) == ("done", WHOLE, DIAL_BEFORE)
