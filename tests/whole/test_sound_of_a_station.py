"""The whole simulated station by ear: dial by rigctl's protocol, relays by Modbus, its sound through a sound server."""

import contextlib
import os
import shutil
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from drivers.errors import BadReply
from drivers.samples.sound import SoundSource, open_sound
from sweeper.clock import SystemClock
from sweeper.simulation import Served, saltmarsh, serve
from sweeper.simulation.receivers.audio import Audio
from sweeper.simulation.world.world import Listening
from tests.drivers.samples.sound_server import sound_server

pytestmark = [
    pytest.mark.wires,
    pytest.mark.clock,
    pytest.mark.skipif(shutil.which("pulseaudio") is None, reason="PulseAudio is not installed"),
]


@pytest.fixture(scope="module", autouse=True)
def server() -> Iterator[None]:
    with sound_server("rx 48000 1"):
        yield


@pytest.fixture(scope="module")
def station() -> Iterator[Served]:
    with serve(saltmarsh(), SystemClock(), sound="rx") as served:
        served.receiver.mode, served.receiver.agc_off = "USB", True
        served.receiver.tune(7_038_500)
        yield served


@pytest.fixture(scope="module")
def heard(station: Served) -> Iterator[SoundSource]:
    source = open_sound({"device": "rx.monitor"})
    yield source
    source.close()


def level_db(source: SoundSource, seconds: float = 1.0) -> float:
    """Noise in the middle of the pass band, of full scale in 1 Hz."""
    block = source.take(seconds, time.monotonic() + 0.3)
    power = np.abs(np.fft.rfft(block.samples * np.hanning(len(block.samples)))) ** 2
    hz = np.fft.rfftfreq(len(block.samples), 1 / block.rate_hz)
    density = 2 * power[(hz > 600) & (hz < 2400)].mean() / block.rate_hz
    return float(10 * np.log10(density / (0.375 * len(block.samples))))


def wanted_db(served: Served) -> float:
    bench = served.receiver
    at = Listening(bench.hz, bench.mode, 2400, *bench.heard_through())
    means = saltmarsh().means(SystemClock().now().timestamp(), at)
    return float(10 * np.log10(means.noise_w / 2400 * 1e3) - Audio().full_scale_dbm)


def test_sound_follows_relays_and_dial_as_planted(station: Served, heard: SoundSource) -> None:
    """Within 0.1 dB of what was played, averaged over the paths; a single stay of 4 s scatters by 0.05 dB."""
    off_db = []
    for hz in (7_038_500, 28_070_000):
        station.receiver.tune(hz)
        for stage in (False, True):
            for load in (False, True):
                station.receiver.set_coil(0, stage)
                station.receiver.set_coil(1, load)
                off_db.append(level_db(heard, 4.0) - wanted_db(station))
    assert np.abs(off_db).max() < 0.3
    assert abs(np.mean(off_db)) < 0.1


def test_a_step_is_heard_once_and_after_it_was_made(station: Served, heard: SoundSource) -> None:
    """A relay's step stands in the sound at a moment that the block's own times allow, however late the player is."""
    station.receiver.set_coil(1, False)
    heard.take(0.5, time.monotonic() + 3.0)
    for coil in (True, False, True):
        before = heard.take(0.5, time.monotonic() + 0.3)
        at = time.monotonic()
        station.receiver.set_coil(1, coil)
        levels, ends = [_level(before.samples)], [before.captured[1]]
        give_up = at + 60
        while abs(levels[-1] - levels[0]) < 3.0:
            assert time.monotonic() < give_up, "the step is not heard"
            block = heard.take(0.1, 0.0)
            levels.append(_level(block.samples))
            ends.append(block.captured[1])
        assert ends[-1] > at  # no sound of the new path is said to be from before the relay moved
        assert np.ptp(levels[: max(len(levels) - 2, 1)]) < 2.0  # a block may hold both
        after = [_level(heard.take(0.1, 0.0).samples) for _ in range(5)]
        assert np.ptp(after) < 2.0
        assert abs(np.mean(after) - levels[0]) > 4.0


def _level(samples: np.ndarray) -> float:
    return float(10 * np.log10(np.mean(samples.astype(float) ** 2)))


def test_the_commands_own_station_is_heard(tmp_path: Path) -> None:
    """`sweeper simulate STATION --sound SINK` plays until it is stopped."""
    from tests.drivers.switches.conftest import free_port

    text = Path("configs/stations/saltmarsh.yaml").read_text(encoding="utf-8")
    for port in ("4532", "5020"):
        text = text.replace(port, str(free_port()))
    file = tmp_path / "saltmarsh.yaml"
    file.write_text(text, encoding="utf-8")
    subprocess.run(
        ["pactl", "load-module", "module-null-sink", "sink_name=cmd", "rate=48000", "channels=1"],
        check=True,
        capture_output=True,
    )
    program = [str(Path(sys.executable).with_name("sweeper")), "simulate", str(file), "--sound", "cmd"]
    command = subprocess.Popen(program, stdout=subprocess.PIPE, env=os.environ)
    try:
        assert b"sound in cmd" in command.stdout.readline()
        source = open_sound({"device": "cmd.monitor"})
        give_up, block = time.monotonic() + 60, None
        while block is None:
            assert time.monotonic() < give_up
            with contextlib.suppress(BadReply):  # it is silent until the player is there
                block = source.take(0.5, 0.0)
        source.close()
    finally:
        command.terminate()
        assert command.wait(60) == 0
        command.stdout.close()
