"""Fault × instrument × moment, each on the wire: what is stored, where the relays are, what the person is told, and
that the next pass is whole.

The cells are generated: every fault that a wire can have at every moment of every instrument, and every state that
the rig can be in. The meter stands still at one value, so a reading that a fault has bent would show.
"""

import re
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from sweeper.simulation import Served
from sweeper.simulation.wires.faults import WireFaults
from sweeper.words import PassRecord
from tests.whole.fault_cells import (
    DEADLINES_S,
    GIVES_UP,
    LASTING,
    OWN_STAGE_MOMENTS,
    PASSING,
    RECEIVER_MOMENTS,
    SWITCH_MOMENTS,
    Cell,
    asks_about_transmitter,
    wire_cells,
)
from tests.whole.faulty_station import (
    CHANNELS_HZ,
    DIAL_BEFORE,
    PATIENT_S,
    READINGS,
    RECEIVERS,
    SWITCHES,
    WHOLE,
    FaultyStation,
    faulty_station,
)

pytestmark = pytest.mark.wires

ELSEWHERE = (10_005_000, "AM")
"""Where somebody turns the dial to."""


def state_cells(moments: tuple[str, ...], receivers: tuple[str, ...] = tuple(RECEIVERS)) -> list[Cell]:
    return [Cell("receiver", receiver, "state", moment) for receiver in receivers for moment in moments]


each = pytest.mark.parametrize


def one_of_each_driver(cells: list[Cell]) -> list[Any]:
    """The same cells; of each instrument a lost reply in the middle of its work is in the README's command too."""
    quick = {("drop", "reading"), ("drop", "pulling in")}
    return [
        pytest.param(cell, marks=pytest.mark.quick) if (cell.fault, cell.moment) in quick else cell
        for cell in cells
    ]


@pytest.fixture
def station(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[FaultyStation]:
    cell: Cell = request.getfixturevalue("cell")
    receiver = "rigctl-net" if cell.part == "switch" else cell.instrument
    switch = {"receiver": "modbus-tcp", "switch": cell.instrument, "own stage": "own-stage"}[cell.part]
    parts = ("receiver", "switch") if cell.part == "own stage" else (cell.part,)
    deadlines = {f"{part}_timeout_s": DEADLINES_S.get(cell.fault, PATIENT_S) for part in parts}
    with faulty_station(tmp_path, receiver, switch, **deadlines) as ready:
        yield ready
        assert ready.served.forbidden == ()


def pass_with(station: FaultyStation, cell: Cell, happen: Callable[[], None]) -> PassRecord:
    """A pass during which `happen` happens at the cell's moment, or before which, if that is between passes."""
    log = station.served.switch_log if cell.part == "switch" else station.served.receiver_log
    if cell.moment == "between passes":
        assert_whole(station, station.one_pass())
        happen()
    else:
        moments = {"receiver": RECEIVER_MOMENTS, "switch": SWITCH_MOMENTS, "own stage": OWN_STAGE_MOMENTS}
        first, last = moments[cell.part][cell.moment]
        if isinstance(first, tuple):
            log.when(first[0], lambda: log.when(last[0], happen, last[1]), first[1])
        else:
            log.when(first, happen, last)
    record = station.one_pass()
    assert log.waiting == 0, "the moment never came"
    return record


def wire(served: Served, cell: Cell) -> WireFaults:
    return served.faults.switch if cell.part == "switch" else served.faults.receiver


def assert_whole(station: FaultyStation, record: PassRecord) -> None:
    """Done: every reading stored, each of them true, and the station as it was found."""
    assert (record.outcome, record.because, record.left_over) == ("done", "", ())
    readings = station.stored(record)
    assert len(readings) == WHOLE
    assert len(set(readings)) == 1, "the meter stood still, so another value is none of its own"
    assert_restored(station)


def assert_given_up(station: FaultyStation, record: PassRecord, told: str) -> None:
    """Not done: nothing of it stored, and the person told where and what."""
    assert record.outcome in ("failed", "skipped")
    assert station.stored(record) == []
    assert re.search(told, record.because), record.because


def assert_restored(station: FaultyStation, dial: tuple[int, str] = DIAL_BEFORE) -> None:
    assert station.at_rest
    assert station.dial == dial


@each("cell", one_of_each_driver(wire_cells(PASSING)), ids=str)
def test_one_lost_or_bent_reply_costs_no_pass(cell: Cell, station: FaultyStation) -> None:
    record = pass_with(station, cell, lambda: PASSING[cell.fault](wire(station.served, cell)))
    if record.outcome == "done":
        assert_whole(station, record)
    else:
        assert (cell.instrument, cell.fault) in GIVES_UP, record.because
        assert_given_up(station, record, "receiver|relay board")
    wire(station.served, cell).mend()
    assert_whole(station, station.one_pass())


@each("cell", [cell for cell in wire_cells(LASTING) if cell.part == "receiver"], ids=str)
def test_a_receiver_that_is_gone_leaves_the_relays_at_rest(cell: Cell, station: FaultyStation) -> None:
    break_it, mend_it = LASTING[cell.fault]
    record = pass_with(station, cell, lambda: break_it(wire(station.served, cell)))
    if cell.moment == "restoring":  # all is measured, and stored
        assert (record.outcome, len(station.stored(record))) == ("done", WHOLE), record.because
    else:
        assert_given_up(station, record, "^receiver: .*(nothing came back|cannot open|no connection)")
    assert station.at_rest
    touched = station.dial != DIAL_BEFORE
    assert not touched or record.left_over == ("receiver",)
    mend_it(wire(station.served, cell))
    assert_whole(station, station.one_pass())


GONE = (
    "^relay board (at|behind) .*(nothing came back|no answer|cannot|no connection|nobody told|broker is gone)"
)


@each("cell", [cell for cell in wire_cells(LASTING) if cell.part == "switch"], ids=str)
def test_a_board_that_is_gone_is_told_and_its_relays_come_to_rest_once_it_is_back(
    cell: Cell, station: FaultyStation
) -> None:
    break_it, mend_it = LASTING[cell.fault]
    record = pass_with(station, cell, lambda: break_it(wire(station.served, cell)))
    assert_given_up(station, record, GONE)
    assert station.at_rest or record.left_over == ("relays",)
    assert station.dial == DIAL_BEFORE
    mend_it(wire(station.served, cell))
    assert_whole(station, station.one_pass())


@each("cell", [cell for cell in wire_cells(LASTING) if cell.part == "own stage"], ids=str)
def test_a_receiver_that_is_gone_with_its_own_stage_in_is_told_and_set_to_rest_once_it_is_back(
    cell: Cell, station: FaultyStation
) -> None:
    """One wire carries both, so that nothing can be set to rest before it is back: that is told, and done first."""
    break_it, mend_it = LASTING[cell.fault]
    record = pass_with(station, cell, lambda: break_it(wire(station.served, cell)))
    assert_given_up(station, record, "^receiver.*: .*(nothing came back|cannot open|no connection)")
    assert station.at_rest or "relays" in record.left_over
    assert station.dial == DIAL_BEFORE or "receiver" in record.left_over
    mend_it(wire(station.served, cell))
    assert_whole(station, station.one_pass())


@each("cell", state_cells(("tuning", "between passes")), ids=str)
def test_a_refused_frequency_is_told_with_the_frequency(cell: Cell, station: FaultyStation) -> None:
    refused = station.served.receiver.refused_hz
    record = pass_with(station, cell, lambda: refused.update(CHANNELS_HZ))
    assert_given_up(station, record, "receiver: ")
    assert_restored(station)
    refused.clear()
    assert_whole(station, station.one_pass())


def hand_cells() -> list[Cell]:
    asked = tuple(receiver for receiver in RECEIVERS if asks_about_transmitter(receiver))
    moments = ("settling", "reading", "between passes")
    return state_cells(moments) + state_cells(("switching while tuned",), asked)


@each("cell", hand_cells(), ids=str)
def test_a_pass_gives_way_to_a_hand_at_the_dial_and_leaves_it_there(
    cell: Cell, station: FaultyStation
) -> None:
    record = pass_with(station, cell, lambda: station.served.receiver.turn_dial(*ELSEWHERE))
    if cell.moment == "between passes":
        assert record.outcome == "done"  # nobody was disturbed: the dial was found there and put back there
    else:
        assert_given_up(station, record, "somebody (tuned|set) the receiver")
        assert record.outcome == "skipped"
    assert_restored(station, ELSEWHERE)
    assert station.one_pass().outcome == "done"
    assert_restored(station, ELSEWHERE)


TRANSMITTERS = tuple(receiver for receiver in RECEIVERS if asks_about_transmitter(receiver))


BEFORE_A_QUESTION = tuple(moment for moment in RECEIVER_MOMENTS if moment != "restoring")
"""What is keyed after the last question, while the answer to it is obeyed, nobody can know of."""


@each("cell", state_cells(BEFORE_A_QUESTION, TRANSMITTERS), ids=str)
def test_nothing_is_measured_or_switched_in_while_a_transmitter_is_on(
    cell: Cell, station: FaultyStation
) -> None:
    def key() -> None:
        station.served.receiver.transmitting = True

    record = pass_with(station, cell, key)
    assert_given_up(station, record, "receiver: .*transmitter is on")
    assert record.outcome == "skipped"
    assert station.at_rest
    assert station.dial == DIAL_BEFORE or record.left_over == ("receiver",)
    station.served.receiver.transmitting = False
    assert_whole(station, station.one_pass())


@each("cell", state_cells(("between passes",), ("rigctl-net", "ic7300", "scpi")), ids=str)
def test_a_meter_that_stands_still_all_through_a_pass_is_flagged(cell: Cell, station: FaultyStation) -> None:
    receiver = station.served.receiver
    receiver.frozen = False
    assert "stale" not in station.flags(station.one_pass())
    receiver.frozen = True
    record = station.one_pass()
    assert (record.outcome, station.flags(record)) == ("done", {"stale"})
    receiver.frozen = False
    assert "stale" not in station.flags(station.one_pass())


@each("cell", state_cells(("reading",), ("scpi",)), ids=str)
def test_a_fine_meter_that_stops_in_the_middle_is_flagged(cell: Cell, station: FaultyStation) -> None:
    """A meter in whole decibels may repeat itself on quiet channels; one in hundredths does not."""
    receiver = station.served.receiver
    receiver.frozen = False
    station.served.receiver_log.when("meter", lambda: setattr(receiver, "frozen", True), 2 * READINGS + 1)
    record = station.one_pass()
    assert (record.outcome, station.flags(record)) == ("done", {"stale"})


@each("cell", state_cells(("settling", "reading", "between passes")), ids=str)
def test_a_receiver_that_restarts_spoils_no_reading(cell: Cell, station: FaultyStation) -> None:
    record = pass_with(station, cell, station.served.receiver.reboot_receiver)
    if cell.moment == "between passes":
        assert record.outcome == "done"
    else:
        assert_given_up(station, record, "receiver")
    assert station.at_rest
    assert station.one_pass().outcome == "done"
    assert station.at_rest


def board_cells(*moments: str) -> list[Cell]:
    return [Cell("switch", board, "state", moment) for board in SWITCHES for moment in moments]


@each("cell", board_cells("pulling in", "between passes"), ids=str)
def test_a_relay_that_does_not_pull_in_is_told_and_nothing_is_measured(
    cell: Cell, station: FaultyStation
) -> None:
    record = pass_with(station, cell, lambda: station.served.board.stick(0))
    assert_given_up(station, record, "^relay board at .*was told to be on and reads off")
    assert record.outcome == "failed"
    assert_restored(station)
    station.served.board.loosen(0)
    assert_whole(station, station.one_pass())


@each("cell", board_cells("letting go"), ids=str)
def test_a_welded_relay_is_told_until_it_is_mended(cell: Cell, station: FaultyStation) -> None:
    record = pass_with(station, cell, lambda: station.served.board.stick(0))
    told = "^relay board at .*was told to be off and reads on"
    assert_given_up(station, record, told)
    assert record.left_over == ("relays",)
    assert station.dial == DIAL_BEFORE
    assert_given_up(station, station.one_pass(), told)
    station.served.board.loosen(0)
    assert_whole(station, station.one_pass())


READING_THROUGH = {"the bypass": 3, "the stage": 2 * len(CHANNELS_HZ) + 1}
"""The first readings of a pass are through the bypass, the next through the stage."""


@each("through", READING_THROUGH)
@each("cell", board_cells("reading back"), ids=str)
def test_relays_that_move_by_themselves_while_reading_spoil_no_pass(
    cell: Cell, through: str, station: FaultyStation
) -> None:
    """A board that loses its supply, or a hand at its buttons: readings of another path are none of this one."""
    board = station.served.board

    def somebody_moves() -> None:
        board.set_coil(0, not board.coils[0])

    station.served.receiver_log.when("meter", somebody_moves, READING_THROUGH[through])
    record = station.one_pass()
    assert_given_up(station, record, "relays no longer stand at")
    assert_restored(station)
    assert_whole(station, station.one_pass())


@each("cell", board_cells(*SWITCH_MOMENTS), ids=str)
def test_a_board_that_restarts_comes_back_at_rest(cell: Cell, station: FaultyStation) -> None:
    record = pass_with(station, cell, station.served.board.reboot_board)
    if record.outcome == "done":
        assert_whole(station, record)
    else:
        assert_given_up(station, record, "relay")
    assert_restored(station)
    assert_whole(station, station.one_pass())


@pytest.mark.quick
def test_the_matrix_is_as_large_as_it_claims() -> None:
    """At least 150 cells, each another fault, instrument or moment."""
    wires = wire_cells(PASSING) + wire_cells(LASTING)
    assert len(set(wires)) == len(wires) >= 150
