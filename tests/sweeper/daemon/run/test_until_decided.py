"""A run until decided: it goes on while a band is open, and ends when none is."""

import threading
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from drivers.config_files import station_file
from sweeper.daemon.run.orders import Orders
from sweeper.daemon.run.until_decided import UntilDecided
from sweeper.station import Station, load
from sweeper.store import Store
from sweeper.words import PassRecord
from tests.whole.club import LOUD, send_station

pytestmark = pytest.mark.slow

BEGUN = datetime(2026, 1, 10, 20, tzinfo=UTC)


def done(number: int, hours: float = 0.0) -> PassRecord:
    ended = BEGUN + timedelta(hours=hours)
    return PassRecord(number, ended - timedelta(minutes=2), ended, "done", "", 4)


def at_once(look: Callable[[], None]) -> None:
    look()


def stored(data: Path, nights: int) -> Station:
    """A station so loud that a week settles every hour, with so many nights stored of 40 m and 20 m."""
    folder = send_station(data, LOUD, nights, hours=(20, 21))
    file = data / "station.yaml"
    file.write_bytes((folder / "station.yaml").read_bytes())
    return load(file)


@pytest.fixture(scope="module")
def a_week(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Station]:
    data = tmp_path_factory.mktemp("a week")
    return data, stored(data, 8)


@pytest.mark.slow
def test_the_last_verdict_ends_the_run(a_week: tuple[Path, Station]) -> None:
    data, station = a_week
    orders = Orders()
    UntilDecided(station, data, orders, at_once).finished(done(1), ())
    assert orders.stopping


def test_one_night_ends_nothing(tmp_path: Path) -> None:
    station, orders = stored(tmp_path, 1), Orders()
    observer = UntilDecided(station, tmp_path, orders, at_once)
    observer.finished(done(1), ())
    assert not orders.stopping
    assert all(observer.bands_due() == {"40 m", "20 m"} for _ in range(6))  # both are open


def test_a_band_of_which_nothing_is_stored_is_open(a_week: tuple[Path, Station], tmp_path: Path) -> None:
    text = (a_week[0] / "station.yaml").read_text(encoding="utf-8")
    more, orders = tmp_path / "station.yaml", Orders()
    more.write_text(f"{text}  - {{name: 80 m, channels: [{{hz: 3600000, for: noise}}]}}\n", encoding="utf-8")
    observer = UntilDecided(load(more), a_week[0], orders, at_once)
    assert observer.bands_due() is None
    observer.finished(done(1), ())
    assert not orders.stopping
    assert all("80 m" in (observer.bands_due() or ()) for _ in range(6))


def test_nothing_stored_is_not_decided(tmp_path: Path) -> None:
    station = load(station_file("saltmarsh"))
    with Store(tmp_path, station.station.name, station.station.longitude):
        pass
    orders = Orders()
    UntilDecided(station, tmp_path, orders, at_once).finished(done(1), ())
    assert not orders.stopping


def test_the_measuring_does_not_wait_for_a_look(a_week: tuple[Path, Station]) -> None:
    data, station = a_week
    orders, looks = Orders(), []
    observer = UntilDecided(station, data, orders, looks.append)
    observer.finished(done(1), ())
    assert len(looks) == 1 and not orders.stopping  # handed over, not done
    observer.finished(done(2, hours=3), ())
    assert len(looks) == 1  # one at a time
    looks[0]()
    assert orders.stopping


@pytest.mark.slow
def test_by_itself_it_looks_on_another_thread(a_week: tuple[Path, Station]) -> None:
    data, station = a_week
    orders, by = Orders(), []
    stop = orders.stop

    def noted() -> None:
        by.append(threading.get_ident())
        stop()

    orders.stop = noted  # type: ignore[method-assign]
    UntilDecided(station, data, orders).finished(done(1), ())
    give_up = time.monotonic() + 120
    while not orders.stopping and time.monotonic() < give_up:
        time.sleep(0.01)
    assert by and by[0] != threading.get_ident()


def test_it_looks_once_an_hour_and_only_after_passes_that_are_done(a_week: tuple[Path, Station]) -> None:
    data, station = a_week
    looks: list[None] = []

    def counted(look: Callable[[], None]) -> None:
        looks.append(None)
        look()

    observer = UntilDecided(station, data, Orders(), counted)
    for number in range(12):
        observer.finished(done(number, number / 6), ())
    observer.finished(PassRecord(13, BEGUN, BEGUN + timedelta(hours=9), "failed", "no answer", 0), ())
    assert len(looks) == 2


def test_a_store_that_cannot_be_read_does_not_end_the_run_and_is_tried_again(
    a_week: tuple[Path, Station], tmp_path: Path
) -> None:
    data, station = a_week
    orders, folder = Orders(), tmp_path / station.station.name
    folder.write_text("no folder", encoding="utf-8")
    observer = UntilDecided(station, tmp_path, orders, at_once)
    observer.finished(done(1), ())
    assert not orders.stopping
    folder.unlink()
    folder.symlink_to(data / station.station.name)
    observer.finished(done(2, hours=2), ())
    assert orders.stopping
