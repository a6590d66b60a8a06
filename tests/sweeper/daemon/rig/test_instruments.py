"""Relays leave their rest only after the receiver was asked, and no board is where the receiver is."""

import socket
from pathlib import Path

import pytest

from drivers.errors import Refused, Transmitting
from sweeper.daemon.rig import relay_life
from sweeper.daemon.rig.instruments import AskingSwitch, open_switch
from sweeper.station import load
from tests.sweeper.daemon.rig.test_relay_life import station
from tests.sweeper.engine.bench import Board, Dial


def test_nothing_but_the_rest_is_selected_under_a_transmission(tmp_path: Path) -> None:
    board, dial = Board(), Dial(transmitting=True)
    outpost = station(tmp_path)
    switch = relay_life.CountedSwitch(AskingSwitch(board, dial, "antenna-bypass"), outpost)
    for path in ("antenna-stage", "load-bypass"):
        with pytest.raises(Transmitting):
            switch.select(path)
    with pytest.raises(Transmitting):
        relay_life.exercise(outpost, switch)
    assert board.standing == "antenna-bypass" and not switch.moves
    dial.transmitting = False
    switch.select("antenna-stage")
    dial.transmitting = True
    switch.select("antenna-bypass")  # the stage in a transmitter's way would be the greater harm
    assert board.standing == "antenna-bypass"


def test_a_transmission_that_begins_during_the_daily_exercise_ends_it_with_the_relays_at_rest(
    tmp_path: Path,
) -> None:
    dial = Dial()
    board = Board(before=lambda call: setattr(dial, "transmitting", call == "select antenna-stage"))
    switch = relay_life.CountedSwitch(AskingSwitch(board, dial, "antenna-bypass"), station(tmp_path))
    with pytest.raises(Transmitting):
        relay_life.exercise(station(tmp_path), switch)
    assert board.standing == "antenna-bypass"


def test_a_board_is_not_opened_where_the_receiver_is(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    outpost = station(tmp_path)
    switch = outpost.switch.options
    assert switch is not None
    there = outpost.switch.model_copy(
        update={"options": switch.model_copy(update={"link": "tcp://shack.example:4532"})}
    )
    moved = outpost.model_copy(update={"switch": there})

    def looked_up(host: str, port: object, flags: int = 0) -> list[tuple[object, ...]]:
        """As if a name server knew the shack for this machine: nothing without a look-up."""
        if flags & socket.AI_NUMERICHOST and not host[0].isdigit():
            raise socket.gaierror
        return [(socket.AF_INET, socket.SOCK_STREAM, 6, "", ("127.0.0.1", 0))]

    monkeypatch.setattr(socket, "getaddrinfo", looked_up)
    with pytest.raises(Refused, match="where the receiver is"):
        open_switch(moved)


def test_a_file_whose_board_is_where_the_receiver_is_is_refused(tmp_path: Path) -> None:
    file = tmp_path / "outpost.yaml"
    station(tmp_path)
    file.write_text(file.read_text().replace("tcp://127.0.0.1:5020", "tcp://localhost:4532"))
    with pytest.raises(Exception, match="where the receiver is"):
        load(file)
