"""What needs somebody's hand is a kind on the record and in the troubles told, whatever words the sentence has."""

import errno
import os
from pathlib import Path

import pytest

from drivers.errors import LinkLost, RelaySticks
from sweeper.daemon.run.campaign import hand_of
from sweeper.daemon.run.observers import Observer
from sweeper.store.errors import DiskError
from sweeper.store.files import write_whole
from sweeper.words import Hand
from tests.whole.faulty_station import faulty_station


class Told(Observer):
    def __init__(self) -> None:
        self.hands: list[Hand] = []

    def trouble(self, sentence: str, hand: Hand = "") -> None:
        self.hands.append(hand)


def test_a_relay_that_sticks_is_on_the_record(tmp_path: Path) -> None:
    with faulty_station(tmp_path, "rigctl-net", "modbus-tcp") as station:
        station.served.board.stick(0)
        record = station.one_pass()
        assert (record.outcome, record.hand) == ("failed", "relay")
        station.served.board.loosen(0)
        assert station.one_pass().hand == ""


def test_a_disk_that_takes_nothing_is_told_with_its_kind(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with faulty_station(tmp_path, "rigctl-net", "modbus-tcp") as station:
        told = Told()
        station.campaign.observer.add(told)

        def full(*_: object) -> None:
            raise DiskError("it takes nothing")

        monkeypatch.setattr(station.store, "write_pass", full)
        monkeypatch.setattr(station.store, "write_again", full)
        station.campaign.attempt()
        assert station.campaign.attempt().hand == "disk"
        assert set(told.hands) == {"disk"}
        monkeypatch.undo()
        station.campaign.attempt()


@pytest.mark.parametrize("number", [errno.ENOSPC, errno.EROFS, errno.EIO, errno.EDQUOT])
def test_what_the_system_says_of_a_disk_is_of_that_kind(
    number: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    fault = OSError(number, os.strerror(number))
    assert hand_of(fault) == "disk"

    def refuse(*_: object) -> None:
        raise fault

    monkeypatch.setattr("sweeper.store.files.replace_whole", refuse)
    with pytest.raises(DiskError) as refused:
        write_whole(tmp_path / "file", b"")
    assert refused.value.hand == "disk"


def test_other_faults_need_no_hand() -> None:
    assert hand_of(LinkLost("disk", "a relay was told to be on, and the disk is full.")) == ""
    assert hand_of(OSError(errno.EMFILE, "Too many open files")) == ""
    assert hand_of(RelaySticks("board", "")) == "relay"
