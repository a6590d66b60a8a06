"""What goes wrong while `sweeper ab` listens at a receiver: one sentence with what to do, and the rig as it was."""

import json
import os
import shutil
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import suppress
from pathlib import Path

import numpy as np
import pytest

from sweeper.clock import SystemClock
from sweeper.simulation.serve import Served, serve
from sweeper.simulation.world.saltmarsh import saltmarsh
from tests.drivers.samples.sound_server import PIECE, Player, noise, sound_server, told
from tests.whole.browser import SWEEPER
from tests.whole.test_ab_now import CARRIER_HZ, at_home, lines_of, started, true_change_db

__all__ = ["at_home"]
pytestmark = [pytest.mark.slow, pytest.mark.clock]
DEADLINE_S = 240


@pytest.fixture(scope="module", autouse=True)
def sounding() -> Iterator[None]:
    if shutil.which("pulseaudio") is None:
        pytest.skip("pulseaudio is not installed")
    with sound_server("rx 48000 1", "mute 48000 1", "two 48000 2"):
        yield


@pytest.fixture
def playing() -> Iterator[Callable[..., None]]:
    players: list[Player] = []
    yield lambda *what, **how: players.append(Player(*what, **how))
    for each in players:
        each.close()


@pytest.fixture
def bench() -> Iterator[Served]:
    """The simulated station, its sound at an input that can be unplugged; in AM on a carrier."""
    card = told(
        "pactl", "load-module", "module-null-sink", "sink_name=usb", "rate=48000", "channels=1"
    ).strip()
    with serve(saltmarsh(), SystemClock(), sound="usb") as served:
        served.receiver.agc_off = True
        served.receiver.turn_dial(CARRIER_HZ, "AM")
        yield served
    with suppress(subprocess.CalledProcessError):  # it may have been unplugged
        told("pactl", "unload-module", card)


def attended(*arguments: str, **environment: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [SWEEPER, "ab", *arguments],
        env={**os.environ, **environment},
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        timeout=DEADLINE_S,
    )


def sentence(done: subprocess.CompletedProcess[str]) -> str:
    """The last thing that it said."""
    assert done.stdout == "" and "Traceback" not in done.stderr
    return done.stderr.strip().splitlines()[-1]


def test_silence_is_told_with_where_to_look() -> None:
    done = attended("--sound", "mute.monitor")
    assert done.returncode == 1
    assert "gives silence" in sentence(done) and "squelch" in sentence(done)


def test_a_channel_that_is_not_there_or_dead_or_another_receivers(playing: Callable[..., None]) -> None:
    assert "no channel 3: 2 come in" in sentence(attended("--sound", "two.monitor", "--channel", "3"))
    dice = np.random.default_rng(6)
    playing(
        "two", lambda piece: np.stack([np.zeros(PIECE), 0.1 * dice.standard_normal(PIECE)], 1), channels=2
    )
    dead = attended("--sound", "two.monitor", "--channel", "1")
    assert dead.returncode == 1 and "Name channel 2, or mend the plug" in sentence(dead)


def test_two_receivers_on_two_channels_are_not_taken_for_one(playing: Callable[..., None]) -> None:
    playing("two", noise(channels=2), channels=2)
    done = attended("--sound", "two.monitor")
    assert done.returncode == 1 and "--channel 1" in sentence(done)


def test_a_card_that_another_program_has_to_itself(tmp_path: Path) -> None:
    held = tmp_path / "arecord"
    held.write_text(
        f"#!{sys.executable}\nimport sys\nsys.exit('arecord: main:830: audio open error: Device or resource busy')\n"
    )
    held.chmod(0o755)
    done = attended("--sound", "hw:CARD=CODEC,DEV=0", PATH=str(tmp_path))
    assert done.returncode == 1
    assert "another program has hw:CARD=CODEC,DEV=0 to itself" in sentence(done)


def test_who_walks_away_gets_no_claim(playing: Callable[..., None]) -> None:
    playing("rx", noise())
    done = attended("--sound", "rx.monitor", "--by-hand", "--minutes", "0.5")
    assert done.returncode == 1
    assert sentence(done).startswith("Nothing is claimed: the switch was never flipped")


def test_a_cable_that_is_pulled_leaves_relay_dial_and_mode_as_they_were(bench: Served, at_home: Path) -> None:
    """In AM it listens in USB 1 kHz below meanwhile, and AM is put back, too."""
    with started(str(at_home), "--sound", "usb.monitor", stdin=subprocess.DEVNULL) as process:
        end = time.monotonic() + DEADLINE_S
        while bench.receiver.path != "antenna-stage":
            assert time.monotonic() < end and process.poll() is None
            time.sleep(0.02)
        assert (bench.receiver.hz, bench.receiver.mode) == (CARRIER_HZ - 1000, "USB")
        for line in told("pactl", "list", "short", "modules").splitlines():
            if "sink_name=usb" in line:
                told("pactl", "unload-module", line.split()[0])
        said = process.communicate(timeout=DEADLINE_S)[1].decode()
    assert process.returncode == 1
    assert "usb.monitor" in said.splitlines()[-1], said
    assert (bench.receiver.hz, bench.receiver.mode) == (CARRIER_HZ, "AM")
    assert bench.receiver.path == "antenna-bypass" and not bench.forbidden


def test_a_hand_that_presses_twice_comes_late_and_flips_unasked_is_told_the_truth_or_nothing(
    bench: Served,
) -> None:
    bench.receiver.turn_dial(CARRIER_HZ - 1000, "USB")
    stage, flips, said = False, 0, []
    asked = ("--sound", "usb.monitor", "--by-hand", "--minutes", "1", "--json", "--agc-off")
    with started(*asked) as process:
        assert process.stdin is not None and process.stdout is not None
        for line in lines_of(process):
            said += [line] if line else []
            if "NEXT Switch " not in line:
                continue
            flips += 1
            if flips % 4 == 3:  # flipped to and fro before it was asked for
                bench.receiver.set_coil(0, not stage)
                time.sleep(0.3)
                bench.receiver.set_coil(0, stage)
            time.sleep(2.0 if flips % 5 == 4 else 0.3)
            stage = not stage
            bench.receiver.set_coil(0, stage)
            time.sleep(0.4)
            with suppress(BrokenPipeError):  # it may have ended since it said that
                process.stdin.write(b"  " if flips % 3 == 2 else b" ")
        text = process.stdout.read()
    assert flips >= 3 and process.returncode in (0, 1), said
    if process.returncode == 0:
        it = json.loads(text)["snr_change_db"]
        assert it is None or it["low"] <= true_change_db() <= it["high"], said
    else:
        assert "laim" in said[-1] or "begin again" in said[-1], said
