"""A station is restored from another process than the one that left it, however that ended."""

import pytest

from drivers.contracts import Tuning
from drivers.errors import InUse, LinkLost, Transmitting
from sweeper.daemon.rig.borrow import borrowed_rig
from sweeper.daemon.rig.in_flight import mark_in_flight
from sweeper.daemon.rig.lock import hold_rig
from sweeper.daemon.rig.relay_life import operations_of_the_busiest
from sweeper.daemon.rig.restore import restore_station
from tests.sweeper.daemon.conftest import Outpost
from tests.sweeper.engine.bench import EVENING, FOUND


def killed(outpost: Outpost) -> None:
    """A pass ended without warning in the middle: the receiver on a channel of the program's, relays anywhere."""
    mark_in_flight(outpost.store, outpost.dial.remember(), 1, EVENING)
    receiver, channel = outpost.station.receiver, outpost.station.channels()[0]
    outpost.dial.tuning_now = Tuning(channel.hz, receiver.mode, channel.bandwidth_hz)
    outpost.dial.agc = "off"
    outpost.board.standing = "load-stage"


def restore(outpost: Outpost, unwritten: bool = False) -> tuple[list[str], str]:
    restored = restore_station(outpost.station, outpost.store, outpost.clock.now(), unwritten)
    return [fault.part for fault in restored.faults], restored.interrupted


def test_relays_rest_the_receiver_is_restored_and_the_pass_gets_its_record(outpost: Outpost) -> None:
    killed(outpost)
    faults, interrupted = restore(outpost)
    assert faults == [] and interrupted.startswith("Pass 1")
    assert outpost.board.standing == "antenna-bypass"
    assert (outpost.dial.tuning_now, outpost.dial.agc) == (FOUND, "slow")
    (record,) = outpost.store.passes()
    assert (record.number, record.outcome) == (1, "failed")
    assert operations_of_the_busiest(outpost.store.folder) > 0
    assert restore(outpost) == ([], "")  # and never again


def test_a_pass_that_waits_to_be_stored_is_not_called_interrupted(outpost: Outpost) -> None:
    killed(outpost)
    assert restore(outpost, unwritten=True) == ([], "")
    assert outpost.store.passes() == () and outpost.board.standing == "antenna-bypass"
    assert restore(outpost)[1].startswith("Pass 1")


def test_where_somebody_has_turned_the_dial_it_stays(outpost: Outpost) -> None:
    killed(outpost)
    outpost.dial.tune(3_573_000)
    assert restore(outpost)[0] == []
    # Mode and pass band were still the program's, so the listener gets back their own.
    assert outpost.dial.tuning_now == Tuning(3_573_000, FOUND.mode, FOUND.bandwidth_hz)
    assert outpost.dial.agc == "slow"


def test_a_mode_that_somebody_has_set_stays_too(outpost: Outpost) -> None:
    killed(outpost)
    outpost.dial.tuning_now = theirs = Tuning(3_573_000, "LSB", 1800)
    assert restore(outpost)[0] == []
    assert outpost.dial.tuning_now == theirs and outpost.dial.agc == "slow"


def test_while_it_transmits_the_receiver_is_left_and_restored_later(outpost: Outpost) -> None:
    killed(outpost)
    outpost.dial.transmitting = True
    assert restore(outpost)[0] == ["receiver"]
    assert outpost.board.standing == "antenna-bypass"  # the stage is out of its way all the same
    assert outpost.dial.tuning_now != FOUND
    outpost.dial.transmitting = False
    assert restore(outpost)[0] == [] and outpost.dial.tuning_now == FOUND


def test_a_board_out_of_reach_does_not_keep_the_receiver_from_being_restored(outpost: Outpost) -> None:
    killed(outpost)
    outpost.board.unplugged = True
    assert restore(outpost)[0] == ["switch"]
    assert outpost.dial.tuning_now == FOUND


def test_without_a_saved_state_the_receiver_is_not_even_asked(outpost: Outpost) -> None:
    assert restore(outpost) == ([], "")
    assert outpost.dial.calls == []


def test_a_borrowed_rig_is_restored_though_the_command_fails(outpost: Outpost) -> None:
    with (
        pytest.raises(LinkLost),
        borrowed_rig(outpost.station, outpost.store, outpost.clock) as rig,
    ):
        rig.receiver.tune(7_000_000)
        rig.switch.select("load-stage")
        raise LinkLost("receiver", "it does not answer.")
    assert (outpost.dial.tuning_now, outpost.board.standing) == (FOUND, "antenna-bypass")
    assert restore(outpost) == ([], "")  # nothing is left in flight


def test_a_rig_that_transmits_is_not_lent(outpost: Outpost) -> None:
    outpost.dial.transmitting = True
    with pytest.raises(Transmitting), borrowed_rig(outpost.station, outpost.store, outpost.clock):
        pass
    assert "prepare" not in outpost.dial.calls and "tune" not in outpost.dial.calls


def test_one_process_at_a_time_has_the_rig(outpost: Outpost) -> None:
    with (
        hold_rig(outpost.store.folder),
        pytest.raises(InUse, match="another command"),
        hold_rig(outpost.store.folder),
    ):
        pass
    with hold_rig(outpost.store.folder):
        pass
