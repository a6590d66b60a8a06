"""The morning's message at a service on this computer: what is in it, what is in no log, and that it holds no pass."""

import base64
import stat
import subprocess
import sys
import threading
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path

import pytest

from sweeper.clock import JumpingClock
from sweeper.daemon.run.campaign import Campaign
from sweeper.daemon.run.loop import keep_schedule
from sweeper.daemon.run.schedule_cursor import after_of
from sweeper.notify import Sender, Watch
from sweeper.schedule import next_times
from sweeper.simulation import saltmarsh, serve
from sweeper.station import Station, load
from sweeper.store import Store
from tests.sweeper.notify.sink import Sink, addresses_file, sink
from tests.sweeper.station.files import written

pytestmark = pytest.mark.slow

SWEEPER = str(Path(sys.executable).with_name("sweeper"))
DEADLINE_S = 150.0


def station_of(folder: Path, receiver: str, switch: str, addresses: Path) -> Path:
    return written(
        folder,
        ("tcp://127.0.0.1:4532", receiver),
        ("tcp://127.0.0.1:5020", switch),
        ("every: 10 min, from: sunset - 1 h, to: sunrise + 1 h", "every: 30 min, from: '18:00', to: '20:00'"),
        ("schedule:", f"notify: {{file: {addresses}}}\nschedule:"),
    )


class Evening:
    """A simulated station measured by its schedule from before its window until after it, on a clock that jumps."""

    def __init__(self, folder: Path, to: Sink) -> None:
        self.folder, self.said = folder, list[str]()
        world = saltmarsh(seed=1)
        start = world.first_evening.replace(hour=17, minute=30)
        self.clock = JumpingClock(start)
        with serve(world, self.clock) as served:
            file = station_of(
                folder, served.receiver_link, served.switch_link, addresses_file(folder, to.address)
            )
            self.station: Station = load(file)
            place = self.station.station
            with Store(folder / "data", place.name, place.longitude) as self.store:
                self.sender = Sender(file, folder / "data", self.said.append, limit_s=DEADLINE_S)
                watch = Watch(self.clock, place.longitude, self.sender.send)
                campaign = Campaign(self.station, self.store, self.clock, observers=[watch])
                keep_schedule(
                    campaign,
                    after_of(lambda after, count: tuple(next_times(self.station, after, count))),
                    start + timedelta(hours=20),
                )
                self.passes = self.store.passes()


@pytest.fixture(scope="module")
def told(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Evening, Sink]]:
    with sink() as to:
        evening = Evening(tmp_path_factory.mktemp("evening"), to)
        evening.sender.close(DEADLINE_S)
        yield evening, to


def test_the_message_says_what_the_night_brought(told: tuple[Evening, Sink]) -> None:
    evening, to = told
    assert evening.said == []
    morning = to.messages[0]
    assert morning["title"] == "Saltmarsh: morning"
    assert "passes done" in morning["message"] and "40 m" in morning["message"]
    assert morning["attachments"] == []  # text first: not every service takes a picture
    (picture,) = to.messages[1]["attachments"]
    assert picture["mimetype"] == "image/png"
    assert base64.b64decode(picture["base64"]).startswith(b"\x89PNG\r\n")
    assert len(to.messages) == 2


def test_a_service_that_does_not_answer_holds_no_pass(tmp_path: Path) -> None:
    released = threading.Event()
    with sink(holds=released) as to:
        evening = Evening(tmp_path, to)
        done = [record.outcome for record in evening.passes]
        released.set()
        evening.sender.close(DEADLINE_S)
    assert done and set(done) == {"done"}


@pytest.fixture
def station(tmp_path: Path) -> Path:
    return station_of(tmp_path, "tcp://127.0.0.1:4532", "tcp://127.0.0.1:5020", tmp_path / "notify.txt")


def test_a_message_can_be_tried_and_no_token_is_shown(station: Path, tmp_path: Path) -> None:
    def tried() -> subprocess.CompletedProcess[str]:
        command = [SWEEPER, "check", str(station), "--message"]
        return subprocess.run(command, capture_output=True, text=True, check=False, timeout=DEADLINE_S)

    assert "cannot be read" in tried().stderr
    with sink() as to:
        file = addresses_file(tmp_path, to.address)
        answer = tried()
        assert answer.returncode == 0 and "A test message went to 1 address." in answer.stdout
        assert to.messages[0]["message"] == "Messages from this station arrive here."
        file.chmod(file.stat().st_mode | stat.S_IRGRP)
        answer = tried()
        assert answer.returncode == 2 and "chmod 600" in answer.stderr and len(to.messages) == 1
    with sink(status=500) as to:
        file.unlink()
        addresses_file(tmp_path, to.address, "carrier-pigeon://secret-token@nowhere")
        answer = tried()
    assert answer.returncode == 1
    assert "Apprise knows no service for address 2" in answer.stderr
    assert "did not take a message" in answer.stderr
    assert "secret-token" not in answer.stderr + answer.stdout
