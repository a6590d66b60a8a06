"""A station whose receiver and relay board are in memory, for all that the daemon does around them."""

from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from types import SimpleNamespace

import pytest

from sweeper.clock import JumpingClock
from sweeper.daemon.rig import instruments
from sweeper.daemon.run.campaign import Campaign
from sweeper.daemon.run.observers import Observer
from sweeper.daemon.run.orders import Orders
from sweeper.station import Station, load
from sweeper.store import Store
from tests.sweeper.engine.bench import Board, Dial, a_clock
from tests.sweeper.station.files import written


@dataclass
class Outpost:
    """The station, its instruments, its store, and all that a campaign there needs."""

    station: Station
    store: Store
    dial: Dial = field(default_factory=Dial)
    board: Board = field(default_factory=Board)
    clock: JumpingClock = field(default_factory=a_clock)
    orders: Orders = field(default_factory=Orders)

    def campaign(self, *observers: Observer) -> Campaign:
        return Campaign(self.station, self.store, self.clock, self.orders, observers)


@pytest.fixture
def outpost(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Outpost]:
    station = load(written(tmp_path, ("[150000, 30000000]", "[100000, 30000000]")))
    with Store(tmp_path, station.station.name, station.station.longitude) as store:
        outpost = Outpost(station, store)
        at_hand = {station.receiver.driver: outpost.dial, station.switch.driver: outpost.board}
        monkeypatch.setattr(
            instruments, "driver", lambda name: SimpleNamespace(open=lambda options: at_hand[name])
        )
        yield outpost
