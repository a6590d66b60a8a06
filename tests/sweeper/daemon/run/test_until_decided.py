"""A run until decided: it goes on while a band is open, and ends when none is."""

from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from sweeper import analysis
from sweeper.analysis import Outlook
from sweeper.daemon.run.orders import Orders
from sweeper.daemon.run.until_decided import UntilDecided
from sweeper.station import load
from sweeper.store import Store
from sweeper.words import PassRecord

STATION = sorted((Path(__file__).parents[4] / "configs" / "stations").glob("*.yaml"))[0]
BANDS = list(dict.fromkeys(channel.band for channel in load(STATION).channels()))
BEGUN = datetime(2026, 1, 10, 20, tzinfo=UTC)


def done(number, hours=0.0):
    ended = BEGUN + timedelta(hours=hours)
    return PassRecord(number, ended - timedelta(minutes=2), ended, "done", "", 4)


@pytest.fixture
def watching(tmp_path, monkeypatch):
    """The observer, its orders, and the outlook it will be told, open at first."""
    station, orders = load(STATION), Orders()
    told = {"outlook": [Outlook("40 m", (20,), 3, None, "about 3 more nights should settle it")], "looks": 0}

    def outlook(summaries, facts):
        told["looks"] += 1
        return tuple(told["outlook"])

    monkeypatch.setattr(analysis, "outlook", outlook)
    store = Store(tmp_path / "data", station.station.name, station.station.longitude)
    yield UntilDecided(station, store, orders), orders, told
    store.close()


def test_an_open_band_keeps_the_run_going(watching):
    observer, orders, _ = watching
    observer.finished(done(1), ())
    assert not orders.stopping


def test_the_last_verdict_ends_it(watching):
    observer, orders, told = watching
    told["outlook"] = [Outlook(band, (), 0, None, "") for band in BANDS[:-1]]
    observer.finished(done(1), ())
    assert not orders.stopping  # of one band nothing is stored yet
    told["outlook"] = [Outlook(band, (), 0, None, "") for band in BANDS]
    observer.finished(done(2, hours=2), ())
    assert orders.stopping


def test_nothing_measured_is_not_decided(watching):
    observer, orders, told = watching
    told["outlook"] = []
    observer.finished(done(1), ())
    assert not orders.stopping


def test_it_looks_once_an_hour_and_only_after_passes_that_are_done(watching):
    observer, _, told = watching
    for number in range(12):
        observer.finished(done(number, number / 6), ())
    observer.finished(PassRecord(13, BEGUN, BEGUN + timedelta(hours=9), "failed", "no answer", 0), ())
    assert told["looks"] == 2


def test_open_bands_come_in_every_pass_and_decided_ones_now_and_then(watching):
    observer, _, told = watching
    assert observer.bands_due() is None
    told["outlook"] = [Outlook("40 m", (20,), 3, None, ""), Outlook("80 m", (), 0, None, "")]
    observer.finished(done(1), ())
    due = [observer.bands_due() for _ in range(36)]
    assert all("40 m" in bands for bands in due)
    assert 2 <= sum("80 m" in bands for bands in due) <= 6
    assert all("20 m" in bands for bands in due)  # nothing is stored of it yet
