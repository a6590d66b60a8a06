"""A season's mishaps come at their moments, last as long as they say, and come the same way twice."""

from collections import Counter
from datetime import UTC, datetime, timedelta
from threading import Event

import pytest

from sweeper.simulation import saltmarsh, serve
from sweeper.simulation.season import A_SEASON, EventfulClock, Mishap, arm, mishaps

START = datetime(2026, 3, 1, 14, tzinfo=UTC)


def test_the_clock_stops_at_each_event_on_its_way() -> None:
    clock = EventfulClock(START)
    seen = []
    clock.after(30.0, lambda: seen.append(clock.monotonic()))
    clock.after(10.0, lambda: seen.append(clock.monotonic()))
    clock.after(3600.0, lambda: seen.append(clock.monotonic()))
    clock.sleep(60.0)
    assert seen == [10.0, 30.0]
    assert clock.monotonic() == 60.0
    clock.sleep(3540.0)
    assert seen[-1] == 3600.0


def test_an_event_that_wakes_the_sleeper_ends_the_sleep() -> None:
    clock = EventfulClock(START)
    wake = Event()
    clock.after(5.0, wake.set)
    clock.after(8.0, wake.clear)
    assert clock.sleep(20.0, wake)
    assert clock.monotonic() == 5.0


def test_a_season_is_the_same_twice_and_as_busy_as_asked() -> None:
    season = mishaps(4, START, nights=400)
    assert season == mishaps(4, START, nights=400)
    assert list(season) == sorted(season)
    counts = Counter(mishap.what for mishap in season)
    for what, rate in A_SEASON.items():
        # Poisson: the standard deviation of a count is the root of its mean (common knowledge of statistics).
        assert abs(counts[what] - 400 * rate) < 4 * (400 * rate) ** 0.5
    assert all(START <= mishap.at < START + timedelta(days=400) for mishap in season)


def test_mishaps_begin_and_end() -> None:
    clock = EventfulClock(START)
    with serve(saltmarsh(), clock) as served:
        bench = served.receiver

        def at(seconds: float) -> datetime:
            return START + timedelta(seconds=seconds)

        season = [
            Mishap(at(10), "frozen meter", 10.0),
            Mishap(at(12), "stuck relay", 10.0),
            Mishap(at(30), "transmission", 5.0),
            Mishap(at(40), "operator", 20.0, 3_600_000.0),
            Mishap(at(70), "receiver rebooted"),
            Mishap(at(80), "board rebooted"),
            Mishap(at(90), "clock step", 0.0, -30.0),
        ]
        arm(clock, served, season)
        clock.sleep(15.0)
        assert bench.frozen
        bench.set_coil(0, True)
        assert bench.path == "antenna-bypass"
        clock.sleep(10.0)
        assert not bench.frozen
        bench.set_coil(0, True)
        assert bench.path == "antenna-stage"
        clock.sleep(7.0)
        assert bench.transmitting
        clock.sleep(10.0)
        assert (bench.transmitting, bench.hz) == (False, 3_600_000)
        clock.sleep(20.0)
        assert bench.hz == 7_074_000
        clock.sleep(20.0)
        assert bench.hz == 14_000_000
        assert bench.path == "antenna-bypass"
        clock.sleep(20.0)
        assert clock.now() == at(102.0 - 30.0)


@pytest.mark.parametrize("which", ["receiver", "board"])
def test_an_unplugged_part_is_plugged_in_again(which: str) -> None:
    import socket

    clock = EventfulClock(START)
    with serve(saltmarsh(), clock) as served:
        link = served.receiver_link if which == "receiver" else served.switch_link
        host, port = link.removeprefix("tcp://").split(":")
        mishap = Mishap(START + timedelta(seconds=5), f"{which} unplugged", 60.0)  # type: ignore[arg-type]
        arm(clock, served, [mishap])
        socket.create_connection((host, int(port)), timeout=5.0).close()
        clock.sleep(10.0)
        with pytest.raises(OSError):
            socket.create_connection((host, int(port)), timeout=5.0)
        clock.sleep(60.0)
        socket.create_connection((host, int(port)), timeout=5.0).close()


def test_a_smaller_saltmarsh_keeps_what_its_bands_have() -> None:
    small = saltmarsh(bands=("80 m", "40 m"))
    assert small.bands == ("80 m", "40 m")
    night = [START.date()]
    assert small.truth("40 m", 19, night) == saltmarsh().truth("40 m", 19, night)
