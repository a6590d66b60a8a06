"""What the simulated receiver's loudspeaker socket gives: as much as stands at its input, at its place."""

import math

import numpy as np
import pytest

from sweeper.clock import JumpingClock
from sweeper.simulation.receivers.audio import Audio, Hearing
from sweeper.simulation.world.bench import Bench
from sweeper.simulation.world.saltmarsh import saltmarsh
from sweeper.simulation.world.world import Listening, World

pytestmark = pytest.mark.slow

RATE_HZ = 48_000


class Heard:
    """A bench and its sound, as it comes, at a standing clock."""

    def __init__(self) -> None:
        self.world: World = saltmarsh()
        self.clock = JumpingClock(self.world.first_evening)
        self.bench = Bench(self.world, self.clock)
        self.bench.mode, self.bench.bandwidth_hz, self.bench.agc_off = "USB", 2400, True
        self.hearing = Hearing(self.world, self.bench, self.clock)

    def sound(self, seconds: float = 4.0) -> np.ndarray:
        for _ in range(5):
            self.hearing.next()  # the filter's own length, and the gain control's
        return np.concatenate([self.hearing.next() for _ in range(round(100 * seconds))]).astype(np.float64)

    def spectrum(self, seconds: float = 4.0) -> np.ndarray:
        """Power per hertz, one second a transform: the bin is the frequency in hertz."""
        whole = self.sound(seconds).reshape(-1, RATE_HZ) * np.sqrt(8 / 3) * np.hanning(RATE_HZ)
        return 2 * np.mean(np.abs(np.fft.rfft(whole)) ** 2, axis=0) / RATE_HZ**2


@pytest.mark.parametrize("load", [False, True])
@pytest.mark.parametrize("stage", [False, True])
def test_noise_is_as_dense_as_what_stands_at_the_receivers_input(load: bool, stage: bool) -> None:
    heard = Heard()
    heard.bench.tune(7_038_500)
    heard.bench.set_coil(0, stage)
    heard.bench.set_coil(1, load)
    heard.clock.sleep(1.0)
    density = heard.spectrum(24.0)[600:2400].mean()
    at = Listening(7_038_500, "USB", 2400, *heard.bench.heard_through())
    means = heard.world.means(heard.clock.now().timestamp(), at)
    wanted = means.noise_w / 2400 * 1e3 * 10 ** (-heard.hearing.audio.full_scale_dbm / 10)
    assert 10 * math.log10(density / wanted) == pytest.approx(0.0, abs=0.1)


@pytest.mark.quick
@pytest.mark.parametrize(("mode", "dial_hz"), [("USB", 9_999_000), ("LSB", 10_001_000), ("CW", 10_000_000)])
def test_a_carrier_sounds_where_the_dial_puts_it(mode: str, dial_hz: int) -> None:
    heard = Heard()
    heard.bench.mode = mode
    heard.bench.bandwidth_hz = 500 if mode == "CW" else 2400
    heard.bench.tune(dial_hz)
    loudest_hz = int(np.argmax(heard.spectrum()))
    assert loudest_hz == pytest.approx(600 if mode == "CW" else 1000, abs=1)


def test_gain_control_levels_the_sound_and_off_does_not() -> None:
    changes_db = {}
    for agc in ("off", "fast"):
        heard = Heard()
        heard.bench.agc_off = agc == "off"
        heard.hearing.audio = Audio(full_scale_dbm=-75.0)
        heard.bench.tune(7_038_500)
        levels = []
        for stage in (False, True):
            heard.bench.set_coil(0, stage)
            heard.clock.sleep(1.0)
            levels.append(np.mean(heard.sound() ** 2))
        changes_db[agc] = 10 * math.log10(levels[1] / levels[0])
    assert changes_db["off"] == pytest.approx(14.7, abs=0.3)
    assert changes_db["fast"] < 4.0


def test_what_a_card_adds_is_there_and_full_scale_holds() -> None:
    heard = Heard()
    heard.hearing.audio = Audio(card_dbfs_per_hz=-100.0, hum_dbfs=-40.0)
    spectrum = heard.spectrum()
    assert 10 * math.log10(spectrum[5000:20000].mean()) == pytest.approx(-100.0, abs=0.1)
    assert spectrum[[50, 100]].min() > 1000 * spectrum[150]
    heard.hearing.audio = Audio(full_scale_dbm=-130.0)
    assert np.abs(heard.sound(0.5)).max() <= 1.0


def test_speech_and_static_come_through_the_relays() -> None:
    heard = Heard()
    heard.bench.tune(7_038_500)
    quiet = np.mean(heard.sound() ** 2)
    heard.hearing.audio = Audio(speech_dbm=-80.0, clicks_per_s=5.0)
    assert np.mean(heard.sound() ** 2) > 10 * quiet
    heard.bench.set_coil(1, True)
    heard.clock.sleep(1.0)
    assert np.mean(heard.sound() ** 2) < quiet


def test_the_receivers_gain_wanders() -> None:
    heard = Heard()
    heard.hearing.audio = Audio(drift_db=1.0)
    heard.bench.set_coil(1, True)
    heard.clock.sleep(1.0)
    levels = []
    for _ in range(5):
        heard.clock.sleep(60.0)
        levels.append(10 * math.log10(np.mean(heard.sound() ** 2)))
    assert 1.0 < max(levels) - min(levels) < 2.2
