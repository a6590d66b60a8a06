"""`sweeper ab` as somebody at a receiver runs it: real sound, a scripted hand at the switch, the station's relay."""

import json
import math
import os
import select
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path

import pytest

from drivers.config_files import station_file
from sweeper.clock import SystemClock
from sweeper.simulation.serve import Served, serve
from sweeper.simulation.world.saltmarsh import saltmarsh
from sweeper.simulation.world.world import Listening
from tests.drivers.samples.sound_server import sound_server
from tests.whole.browser import SWEEPER

pytestmark = [pytest.mark.slow, pytest.mark.clock]
DEADLINE_S = 240
CARRIER_HZ = 10_000_000


@pytest.fixture(scope="module", autouse=True)
def sounding() -> Iterator[None]:
    if shutil.which("pulseaudio") is None:
        pytest.skip("pulseaudio is not installed")
    with sound_server("rx 48000 1"):
        yield


@pytest.fixture
def bench() -> Iterator[Served]:
    with serve(saltmarsh(), SystemClock(), sound="rx") as served:
        served.receiver.mode, served.receiver.agc_off = "USB", True
        served.receiver.tune(CARRIER_HZ - 1000)
        yield served


@pytest.fixture
def at_home(bench: Served, tmp_path: Path) -> Path:
    file = tmp_path / "home.yaml"
    text = station_file("saltmarsh").read_text(encoding="utf-8")
    for ours, theirs in (
        ("tcp://127.0.0.1:4532", bench.receiver_link),
        ("tcp://127.0.0.1:5020", bench.switch_link),
    ):
        assert ours in text
        text = text.replace(ours, theirs)
    file.write_text(text, encoding="utf-8")
    return file


def true_change_db() -> float:
    """What the stage does to S/N there and then, by the world itself."""
    now_s, told = SystemClock().now().timestamp(), []
    for route in ("bypass", "stage"):
        means = saltmarsh().means(now_s, Listening(CARRIER_HZ - 1000, "USB", 2400, "antenna", route))
        told.append(max(watts for watts, _ in means.carriers) / means.noise_w)
    return 10.0 * math.log10(told[1] / told[0])


def started(*arguments: str, stdin: int = subprocess.PIPE) -> subprocess.Popen[bytes]:
    return subprocess.Popen(
        [SWEEPER, "ab", *arguments],
        stdin=stdin,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        env=dict(os.environ),
        bufsize=0,
    )


def lines_of(process: subprocess.Popen[bytes]) -> Iterator[str]:
    """What it says on standard error, line by line, until it ends; the silence between as empty lines."""
    assert process.stderr is not None
    end, rest = time.monotonic() + DEADLINE_S, b""
    handle = process.stderr.fileno()
    while time.monotonic() < end:
        if not select.select([handle], [], [], 0.2)[0]:
            yield ""
            continue
        piece = os.read(handle, 4096)
        if not piece:
            return
        *whole, rest = (rest + piece).split(b"\n")
        yield from (line.decode() for line in whole)
    raise AssertionError("it did not end")


def test_a_hand_at_the_switch_gets_a_true_sentence(bench: Served) -> None:
    began, said, stage = time.monotonic(), list[tuple[float, str]](), False
    with started("--sound", "rx.monitor", "--by-hand", "--minutes", "2", "--json", "--agc-off") as process:
        assert process.stdin is not None and process.stdout is not None
        for line in lines_of(process):
            said += [(time.monotonic() - began, line)] if line else []
            keys = b""
            if "NEXT Switch " in line:
                stage = not stage
                bench.receiver.set_coil(0, stage)
                time.sleep(0.4)
                keys = b" "
            elif "NEXT Leave the stage out" in line:
                keys = b"q"
            if keys:
                with suppress(BrokenPipeError):  # it may have ended since it said that
                    process.stdin.write(keys)
        result = json.loads(process.stdout.read())
    assert process.returncode == 0, said
    print(
        f"first state after {said[0][0]:.2f} s; {result['edges']} edges; {result['reason']}", file=sys.stderr
    )
    it = result["snr_change_db"]
    assert result["from"] == "now" and it is not None, result["reason"]
    assert it["low"] <= true_change_db() <= it["high"]


def test_the_stations_relay_answers_and_is_at_rest_afterwards(bench: Served, at_home: Path) -> None:
    bench.receiver.turn_dial(7_074_000, "LSB")
    asked = ["--sound", "rx.monitor", "--hz", str(CARRIER_HZ), "--minutes", "2", "--json", "--keep"]
    done = subprocess.run(
        [SWEEPER, "ab", str(at_home), *asked],
        stdin=subprocess.DEVNULL,
        capture_output=True,
        timeout=DEADLINE_S,
    )
    assert done.returncode == 0, done.stderr
    result = json.loads(done.stdout)
    it = result["snr_change_db"]
    assert it is not None and it["low"] <= true_change_db() <= it["high"], result["reason"]
    assert bench.receiver.path == "antenna-bypass" and not bench.forbidden
    assert (bench.receiver.hz, bench.receiver.mode) == (7_074_000, "LSB")
    (kept,) = at_home.with_suffix(".data").glob("Saltmarsh/ab/*.json")
    assert json.loads(kept.read_text())["hz"] == CARRIER_HZ


@pytest.mark.parametrize("order", [signal.SIGTERM, signal.SIGINT])
def test_an_order_to_stop_rests_the_relay_at_once(
    bench: Served, at_home: Path, order: signal.Signals
) -> None:
    asked = (str(at_home), "--sound", "rx.monitor", "--hz", str(CARRIER_HZ))
    with started(*asked, stdin=subprocess.DEVNULL) as process:
        end = time.monotonic() + 60
        while bench.receiver.path != "antenna-stage":
            assert time.monotonic() < end and process.poll() is None
            time.sleep(0.02)
        process.send_signal(order)
        ordered_s = time.monotonic()
        while bench.receiver.path != "antenna-bypass":
            assert time.monotonic() < ordered_s + 20
            time.sleep(0.01)
        rested_s = time.monotonic() - ordered_s
        _, told = process.communicate(timeout=60)
    assert process.returncode == 1 and b"nothing is claimed" in told
    print(f"at rest after {rested_s:.2f} s", file=sys.stderr)


def test_a_wrong_input_is_told_with_those_there_are_and_nothing_is_switched(
    bench: Served, at_home: Path
) -> None:
    before = bench.receiver.relay_operations
    done = subprocess.run(
        [SWEEPER, "ab", str(at_home), "--sound", "no such card"],
        stdin=subprocess.DEVNULL,
        capture_output=True,
        timeout=60,
    )
    assert done.returncode == 1 and b"rx.monitor" in done.stderr
    assert bench.receiver.relay_operations == before
