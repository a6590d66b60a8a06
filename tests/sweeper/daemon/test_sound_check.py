"""`check` by sound: level, card, delay and gain control told in words, and the station left as found."""

import threading
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import pytest

from drivers.contracts import Block
from sweeper.cli.sound_level import bar
from sweeper.clock import JumpingClock
from sweeper.daemon.checkup import Item, check_rig
from sweeper.daemon.rig import instruments
from sweeper.daemon.sound_check import step_after
from sweeper.daemon.sound_level import levels
from sweeper.simulation import Served, saltmarsh, serve
from sweeper.simulation.receivers.audio import Audio, Hearing
from sweeper.station import load
from sweeper.store import Store
from tests.sweeper.engine.heard import Heard
from tests.whole.test_night_by_sound import STATION

pytestmark = pytest.mark.slow

RIGHT = Audio(full_scale_dbm=-22.0, card_dbfs_per_hz=-165.0)
Looked = Callable[..., list[Item]]


@pytest.fixture
def looked(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Looked]:
    """What a check finds at Saltmarsh on a clock that jumps, with the sound as told."""

    def check(audio: Audio = RIGHT, more: str = "", gain_control: bool = False) -> list[Item]:
        world = saltmarsh()
        clock = JumpingClock(world.first_evening)
        with serve(world, clock) as served:
            _stay_on(served, gain_control)
            hearing = Hearing(world, served.receiver, clock, rate_hz=12_000, block=120)
            hearing.audio = audio
            monkeypatch.setattr(instruments, "open_samples", lambda station: Heard(hearing, clock))
            text = STATION.format(receiver=served.receiver_link, switch=served.switch_link)
            file = tmp_path / "saltmarsh.yaml"
            file.write_text(text.replace("device: rx.monitor", f"device: rx.monitor{more}"), encoding="utf-8")
            store = Store(tmp_path / "data", "Saltmarsh", 8.1)
            found = list(check_rig(load(file), store, clock))
            store.close()
            assert (served.receiver.hz, served.receiver.mode) == (7_074_000, "LSB")
            assert served.receiver.path == "antenna-bypass"
        return found

    yield check


def _stay_on(served: Served, gain_control: bool) -> None:
    """A gain control that says it is off, and is not."""
    if gain_control:
        type(served.receiver).agc = property(lambda bench: "fast")


@pytest.fixture(autouse=True)
def gain_control_as_it_is() -> Iterator[None]:
    from sweeper.simulation.world.bench import Bench

    as_it_is = Bench.agc
    yield
    Bench.agc = as_it_is


def failed(items: list[Item]) -> str:
    return "; ".join(f"{item.part}: {item.found}" for item in items if not item.well)


def told(items: list[Item]) -> str:
    return "; ".join(f"{item.part}: {item.found}" for item in items if item.well)


def test_a_station_in_order(looked: Looked) -> None:
    items = looked()
    assert failed(items) == ""
    assert "gain control: off, as the receiver says" in told(items)
    assert "the quietest noise" in told(items)
    assert "with the stage the sound moves by up to 1" in told(items)
    assert "does not hold noise down" in told(items)
    assert "linear: with the stage noise moves by" in told(items)
    assert "restoring: relays at antenna-bypass" in told(items)


@pytest.mark.parametrize(
    ("audio", "words"),
    [
        (Audio(full_scale_dbm=-90.0), "turn it down"),
        (Audio(full_scale_dbm=-22.0, card_dbfs_per_hz=-135.0), "turn it up"),
    ],
)
def test_a_level_set_wrong_fails_with_where_to_turn(looked: Looked, audio: Audio, words: str) -> None:
    assert words in failed(looked(audio))


def test_a_gain_control_that_stays_on_is_found_whatever_it_says(looked: Looked) -> None:
    items = looked(Audio(full_scale_dbm=-70.0, card_dbfs_per_hz=-165.0), gain_control=True)
    assert "gain control: beside the carrier" in failed(items)
    assert "linear: with the stage noise moves by" in failed(items)


def test_without_the_gain_control_known_to_be_off_it_says_what_is_left(looked: Looked) -> None:
    items = looked(more="}\n  agc: fast  # ")
    assert "gain control: not known to be off" in told(items)
    assert "agc_off: true" in told(items)
    assert failed(items) == ""


def test_the_level_bar_tells_what_to_turn_and_puts_everything_back(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    world = saltmarsh()
    clock = JumpingClock(world.first_evening)
    with serve(world, clock) as served:
        hearing = Hearing(world, served.receiver, clock, rate_hz=12_000, block=120)
        monkeypatch.setattr(instruments, "open_samples", lambda station: Heard(hearing, clock))
        file = tmp_path / "saltmarsh.yaml"
        file.write_text(STATION.format(receiver=served.receiver_link, switch=served.switch_link), "utf-8")
        store, stop, seen = Store(tmp_path / "data", "Saltmarsh", 8.1), threading.Event(), []
        for each in levels(load(file), store, clock, stop):
            seen.append(each)
            hearing.audio = (RIGHT, Audio(card_dbfs_per_hz=-120.0), Audio(full_scale_dbm=-95.0))[
                len(seen) // 12
            ]
            if len(seen) == 35:
                stop.set()
        store.close()
        assert {str(each.path) for each in seen} == {"load-bypass", "antenna-stage"}
        assert {each.advice for each in seen} == {"right", "turn it up", "turn it down"}
        assert (served.receiver.hz, served.receiver.path) == (7_074_000, "antenna-bypass")
    assert any("turn it up" in bar(each) and "load-bypass" in bar(each) for each in seen)


@pytest.mark.parametrize("delay_s", [0.0, 0.12, 0.6])
def test_the_step_is_found_in_the_sound(delay_s: float) -> None:
    dice = np.random.default_rng(3)
    samples = dice.standard_normal(96_000).astype(np.float32) * 0.01
    at = round((0.5 + delay_s) * 48_000)
    samples[at:] *= 3.0
    block = Block(samples, 48_000.0, (99.5, 101.5))
    assert step_after(block, 100.0) == pytest.approx(delay_s, abs=0.03)
    assert step_after(Block(samples[at:], 48_000.0, (99.5, 101.0)), 100.0) is None
