"""`find-source` in the simulated town: a scripted person at the sockets, real relays and samples over the wire."""

from pathlib import Path

import pytest

from sweeper.attended.watch import watch_at
from sweeper.clock import JumpingClock
from sweeper.errors import UserFacingError
from sweeper.noise.search import Answer, Verdict, search
from sweeper.simulation import saltmarsh, serve
from sweeper.simulation.world.devices import SwitchedSupply
from sweeper.station import load
from sweeper.store import Store
from tests.whole.test_noise_of_a_night import STATION

pytestmark = pytest.mark.wires
CHARGER = SwitchedSupply("the charger", 43_200.0, 0.5e-6)
TRIED = ("the kettle", "the charger")
QUICK = STATION.replace("seconds: 0.5", "seconds: 0.1")  # lines need no longer


def searched(tmp_path: Path, obeys: bool) -> tuple[Verdict, str]:
    """What the search says, and where the relays lie afterwards."""
    world = saltmarsh(1, devices=(CHARGER,))
    clock = JumpingClock(world.first_evening)
    with serve(world, clock, receiver="iq-tcp") as served:
        file = tmp_path / "station.yaml"
        file.write_text(QUICK.format(receiver_link=served.receiver_link, switch_link=served.switch_link))
        station = load(file)

        def person(words: str) -> Answer:
            if obeys and "charger" in words:
                (world.unplugged.add if words.startswith("Switch off") else world.unplugged.discard)(
                    CHARGER.name
                )
            return "done"

        with Store(tmp_path / "data", "Saltmarsh", 8.1) as store, watch_at(station, store, clock) as watch:
            (source,) = watch.seen_now()
            told = search(source.name, lambda: watch.level_db(source), person, TRIED)
        assert served.forbidden == ()
        return told, served.board.path


def test_it_names_the_charger(tmp_path: Path) -> None:
    told, path = searched(tmp_path, obeys=True)
    assert told.device == "the charger" and told.confidence > 0.95
    assert "kHz went away each time the charger was off" in told.sentence
    assert path == "antenna-bypass"


def test_a_person_who_switches_nothing_hears_no_name(tmp_path: Path) -> None:
    told, _ = searched(tmp_path, obeys=False)
    assert told.device is None and "followed none of the 2" in told.sentence


def test_a_station_with_a_meter_is_told_what_it_needs(tmp_path: Path) -> None:
    from drivers.config_files import station_file

    station = load(station_file("saltmarsh"))
    with (
        Store(tmp_path, "Saltmarsh", 8.1) as store,
        pytest.raises(UserFacingError, match=r"receiver\.audio"),
        watch_at(station, store, JumpingClock(saltmarsh().first_evening)),
    ):
        pass
