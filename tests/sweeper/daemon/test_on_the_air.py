"""Somebody transmits while the program has the rig: relays may go to rest, nothing else moves until it is over."""

import pytest

from drivers.errors import Transmitting
from sweeper.daemon.checkup import check_rig
from sweeper.daemon.follow import follow
from sweeper.daemon.rig.borrow import borrowed_rig
from tests.sweeper.daemon.conftest import Outpost
from tests.sweeper.daemon.test_follow import findings
from tests.sweeper.engine.bench import FOUND

SETS = {"tune", "set_mode", "restore", "prepare"}


def keyed_from(outpost: Outpost, call: str, nth: int = 1) -> list[str]:
    """Somebody presses the key at the `nth` call of that name; the list fills with what is called from then on."""
    seen, since = 0, []
    dial, board = outpost.dial, outpost.board

    def before(name: str) -> None:
        nonlocal seen
        if dial.transmitting:
            since.append(name)
        seen += name == call
        if seen == nth and name == call:
            dial.transmitting = True

    dial.before = board.before = before
    return since


def moved(calls: list[str]) -> set[str]:
    return {
        each
        for each in calls
        if each in SETS or (each.startswith("select") and each != "select antenna-bypass")
    }


def test_a_borrowed_rig_is_not_restored_under_a_transmission_but_at_the_next_start(outpost: Outpost) -> None:
    with (
        pytest.raises(Transmitting, match="next start"),
        borrowed_rig(outpost.station, outpost.store, outpost.clock) as rig,
    ):
        rig.receiver.prepare()
        rig.receiver.tune(7_038_500)
        rig.switch.select("antenna-stage")
        calls = keyed_from(outpost, "frequency_hz")
        rig.receiver.frequency_hz()
        with pytest.raises(Transmitting):
            rig.switch.select("load-stage")
    assert outpost.board.standing == "antenna-bypass" and not moved(calls)
    assert outpost.dial.tuning_now.hz == 7_038_500
    outpost.dial.transmitting, outpost.dial.before = False, lambda call: None
    assert outpost.campaign().settle() == ()
    assert outpost.dial.tuning_now == FOUND and outpost.dial.agc == "slow"


@pytest.mark.parametrize(
    ("call", "nth"), [("read_power", 1), ("frequency_hz", 2), ("select antenna-stage", 1)]
)
def test_a_check_stops_where_somebody_transmits(outpost: Outpost, call: str, nth: int) -> None:
    calls = keyed_from(outpost, call, nth)
    items = list(check_rig(outpost.station, outpost.store, outpost.clock))
    assert not items[-1].well
    assert outpost.board.standing == "antenna-bypass"
    assert "select load-bypass" not in calls and "restore" not in calls


def test_the_daily_exercise_gives_way(outpost: Outpost) -> None:
    campaign = outpost.campaign()
    assert campaign.settle() == ()
    outpost.clock.sleep(2 * 86_400)
    calls = keyed_from(outpost, "select antenna-stage")
    campaign.exercise()
    assert campaign.settled
    assert outpost.board.standing == "antenna-bypass" and not moved(calls)


def test_following_begins_when_the_transmission_is_over(outpost: Outpost) -> None:
    outpost.dial.transmitting = True
    looks = []

    def before(name: str) -> None:
        looks.append(name)
        assert not (name.startswith("select") and outpost.dial.transmitting)
        if looks.count("is_transmitting") == 5:
            outpost.dial.transmitting = False
        if looks.count("frequency_hz") == 3:
            outpost.orders.stop()

    outpost.dial.before = outpost.board.before = before
    told: list[str] = []
    follow(outpost.station, outpost.store.folder, findings(), outpost.clock, outpost.orders, told.append)
    assert any("transmitter is on" in sentence for sentence in told)
