"""Calibrating a station whose levels come from its receiver's sound: full scale gets its dBm."""

import math
from pathlib import Path

import pytest

from sweeper.cli.calibrate_rig import meter_at_rig
from sweeper.clock import JumpingClock
from sweeper.daemon.rig import instruments
from sweeper.simulation import saltmarsh, serve
from sweeper.simulation.receivers.audio import Audio, Hearing
from sweeper.simulation.world.world import Listening
from sweeper.station import load
from sweeper.store import Store
from tests.sweeper.engine.heard import Heard
from tests.whole.test_main_job import sweeper
from tests.whole.test_night_by_sound import STATION

pytestmark = [pytest.mark.slow, pytest.mark.clock]


def test_what_is_read_is_the_sound_of_the_path(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    world = saltmarsh()
    clock = JumpingClock(world.first_evening)
    with serve(world, clock) as served:
        hearing = Hearing(world, served.receiver, clock, rate_hz=12_000, block=120)
        hearing.audio = Audio(full_scale_dbm=-25.0)
        monkeypatch.setattr(instruments, "open_samples", lambda station: Heard(hearing, clock))
        file = tmp_path / "saltmarsh.yaml"
        file.write_text(STATION.format(receiver=served.receiver_link, switch=served.switch_link), "utf-8")
        station = load(file)
        with Store(tmp_path / "data", "Saltmarsh", 8.1) as store:
            with meter_at_rig(station, store, None, of_noise=True, clock=clock) as read:
                noise = {path: read(path) for path in ("load-bypass", "load-stage")}
            with meter_at_rig(station, store, 28_200_000, clock=clock) as read:
                carrier = read()
        for path, values in noise.items():
            at = Listening(7_037_500, "USB", 2400, *path.split("-"))
            wanted = 10 * math.log10(world.means(0.0, at).noise_w / 2400 * 281 * 1e3) + 25.0
            assert sum(values) / len(values) == pytest.approx(wanted, abs=0.3)
        means = world.means(0.0, Listening(28_199_000, "USB", 2400, "antenna", "bypass"))
        assert carrier[0] == pytest.approx(10 * math.log10(means.carriers[0][0] * 1e3) + 25.0, abs=0.6)
        assert (served.receiver.hz, served.receiver.path) == (7_074_000, "antenna-bypass")


def test_levels_that_were_written_down_go_into_the_station_file(tmp_path: Path) -> None:
    file = tmp_path / "saltmarsh.yaml"
    file.write_text(STATION.format(receiver="tcp://127.0.0.1:4532", switch="tcp://127.0.0.1:5020"), "utf-8")
    levels = tmp_path / "levels.csv"
    levels.write_text("".join(f"{dbm},{dbm + 40:.1f},{dbm + 40.1:.1f}\n" for dbm in range(-120, -40, 10)))
    answer = sweeper("calibrate", file, "--levels", levels)
    assert answer.returncode == 0, answer.stderr
    meter = load(file).receiver.meter
    assert meter.unit == "raw"
    assert len(meter.curve) == 8
