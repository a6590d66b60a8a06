"""A station is restored from another process than the one that left it, however that ended."""

import pytest

from drivers.contracts import Tuning
from drivers.errors import InUse, LinkLost, Transmitting
from drivers.waiting import Deadline
from sweeper.daemon.rig.borrow import borrowed_rig
from sweeper.daemon.rig.in_flight import SAVED_STATE, mark_in_flight
from sweeper.daemon.rig.lock import hold_rig
from sweeper.daemon.rig.relay_life import operations_of_the_busiest
from sweeper.daemon.rig.restore import in_time, restore_station
from sweeper.engine.settings import LEAVE_S, RELAYS_SHARE
from sweeper.store import Store, StoreError
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


@pytest.mark.parametrize("theirs", [Tuning(3_573_000, "USB", 1801), Tuning(3_573_000, "LSB", 2400)])
def test_a_pass_band_or_a_mode_of_somebody_elses_is_no_mode_of_the_programs(
    outpost: Outpost, theirs: Tuning
) -> None:
    assert (outpost.station.receiver.mode, outpost.station.channels()[0].bandwidth_hz) == ("USB", 2400)
    killed(outpost)
    outpost.dial.tuning_now = theirs
    assert restore(outpost)[0] == []
    assert outpost.dial.tuning_now == theirs


def test_a_receiver_that_tells_its_mode_in_small_letters_or_no_pass_band_is_still_the_programs(
    outpost: Outpost,
) -> None:
    killed(outpost)
    outpost.dial.tuning_now = Tuning(3_573_000, outpost.station.receiver.mode.lower(), None)
    assert restore(outpost)[0] == []
    assert outpost.dial.tuning_now == Tuning(3_573_000, FOUND.mode, FOUND.bandwidth_hz)


def test_a_dial_that_never_left_its_place_gets_its_mode_back(outpost: Outpost) -> None:
    killed(outpost)
    outpost.dial.tuning_now = Tuning(FOUND.hz, "CW", 1801)
    assert restore(outpost)[0] == [] and outpost.dial.tuning_now == FOUND


def test_settings_are_restored_also_where_no_dial_was_saved(outpost: Outpost) -> None:
    killed(outpost)
    mark_in_flight(outpost.store, {"agc": "slow"}, 1, EVENING)
    assert restore(outpost)[0] == [] and outpost.dial.agc == "slow"


@pytest.mark.parametrize(
    "saved", [{"tuning": {"hz": "14074000"}, "agc": "slow"}, {"tuning": 14_074_000}, {"tuning": {}}, ["slow"]]
)
def test_what_was_never_saved_here_is_not_set(outpost: Outpost, saved: object) -> None:
    killed(outpost)
    outpost.store.remember(SAVED_STATE, saved)
    assert restore(outpost)[0] == []
    assert "restore" not in outpost.dial.calls and outpost.board.standing == "antenna-bypass"


def test_a_store_that_cannot_be_read_keeps_no_relay_from_its_rest(
    outpost: Outpost, monkeypatch: pytest.MonkeyPatch
) -> None:
    def unreadable(self: Store, key: str) -> object:
        raise StoreError("the disk does not answer")

    killed(outpost)
    monkeypatch.setattr(Store, "recall", unreadable)
    assert restore(outpost, unwritten=True) == ([], "")
    assert outpost.board.standing == "antenna-bypass" and "restore" not in outpost.dial.calls


def test_a_disk_that_takes_nothing_keeps_no_receiver_from_being_restored(
    outpost: Outpost, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(self: Store, key: str, value: object) -> None:
        raise StoreError("no space left")

    killed(outpost)
    monkeypatch.setattr(Store, "remember", full)
    assert restore(outpost, unwritten=True)[0] == [] and outpost.dial.tuning_now == FOUND
    assert restore(outpost, unwritten=True)[0] == []  # once more than needed


def test_a_hand_at_the_switch_is_waited_for_and_a_board_is_given_its_time(outpost: Outpost) -> None:
    with in_time(outpost.station):
        assert Deadline(1e6, "switch").remaining() == pytest.approx(LEAVE_S, abs=1.0)
    with in_time(outpost.station, RELAYS_SHARE):
        assert Deadline(1e6, "switch").remaining() == pytest.approx(LEAVE_S * RELAYS_SHARE, abs=1.0)
    switch = outpost.station.switch.model_copy(update={"driver": "person"})
    with in_time(outpost.station.model_copy(update={"switch": switch})):
        assert Deadline(1e6, "switch").remaining() > 1e5


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


@pytest.mark.parametrize("stuck", [False, True])
def test_a_board_is_let_go_however_it_came_to_rest(
    outpost: Outpost, monkeypatch: pytest.MonkeyPatch, stuck: bool
) -> None:
    closed: list[str] = []
    monkeypatch.setattr(outpost.board, "close", lambda: closed.append(outpost.board.standing), raising=False)
    killed(outpost)
    outpost.board.stuck = stuck
    assert restore(outpost)[0] == (["switch"] if stuck else [])
    assert closed == ["load-stage" if stuck else "antenna-bypass"]


@pytest.mark.parametrize("transmitting", [False, True])
def test_a_receiver_is_let_go_whether_it_was_restored_or_left(
    outpost: Outpost, monkeypatch: pytest.MonkeyPatch, transmitting: bool
) -> None:
    killed(outpost)
    outpost.dial.transmitting = transmitting
    closed: list[str] = []
    monkeypatch.setattr(outpost.dial, "close", lambda: closed.append(outpost.dial.agc), raising=False)
    restore(outpost)
    assert closed == ["off" if transmitting else "slow"]


@pytest.mark.parametrize("stuck", [False, True])
def test_a_move_back_to_rest_is_one_of_the_relays_life_also_where_it_did_not_answer(
    outpost: Outpost, stuck: bool
) -> None:
    """No pass was in flight, so nothing else is counted; where they stand at rest already, none moves."""
    outpost.board.standing, outpost.board.stuck = "load-stage", stuck
    restore(outpost)
    assert operations_of_the_busiest(outpost.store.folder) == 1
    outpost.board.standing, outpost.board.stuck = "antenna-bypass", False
    assert restore(outpost) == ([], "")
    assert operations_of_the_busiest(outpost.store.folder) == 1
