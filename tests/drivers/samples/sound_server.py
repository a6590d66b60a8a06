"""A real sound server, PulseAudio without hardware, and a player that says when it played what."""

import contextlib
import fcntl
import os
import subprocess
import tempfile
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager

import numpy as np
import pytest
from numpy.typing import NDArray

DEADLINE_S = 60
RATE_HZ = 48_000
PIECE = 480
F_SETPIPE_SZ = 1031
Sound = Callable[[int], NDArray[np.float64]]
"""(index of the piece) → `PIECE` samples a channel, of full scale, shape (PIECE,) or (PIECE, channels)."""


def told(*arguments: str) -> str:
    done = subprocess.run(
        arguments, env={**os.environ, "LC_ALL": "C"}, capture_output=True, timeout=DEADLINE_S, check=True
    )
    return done.stdout.decode()


@contextmanager
def sound_server(*sinks: str) -> Iterator[None]:
    """PulseAudio with null sinks, each as ``name rate channels``, in a folder of its own, in which whoever is started
    meanwhile looks for it.
    """
    kept = tempfile.TemporaryDirectory(prefix="sound", ignore_cleanup_errors=True)
    with kept as folder, pytest.MonkeyPatch.context() as patch:
        patch.delenv("PULSE_SERVER", raising=False)
        patch.setenv("XDG_RUNTIME_DIR", folder)
        with _pulseaudio(sinks):
            yield


@contextmanager
def _pulseaudio(sinks: Sequence[str]) -> Iterator[None]:
    loads = ["module-native-protocol-unix"]
    for sink in sinks:
        name, rate, channels = sink.split()
        loads.append(f"module-null-sink sink_name={name} rate={rate} channels={channels}")
    server = subprocess.Popen(
        ["pulseaudio", "-n", "--daemonize=no", "--exit-idle-time=-1", *(f"-L {load}" for load in loads)],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    try:
        wait_for(lambda: subprocess.run(["pactl", "info"], capture_output=True).returncode == 0)
        yield
    finally:
        server.terminate()
        server.wait(DEADLINE_S)


class Player:
    """Plays pieces of sound into a sink in real time, `latency_ms` ahead: the more the less it minds a busy machine.

    Below 100 ms each piece is played when it is due, and `played` tells when that was.
    """

    def __init__(self, sink: str, sound: Sound, channels: int = 1, latency_ms: int = 1000) -> None:
        self._sound, self._paced = sound, latency_ms < 100
        self._player = subprocess.Popen(
            [
                "pacat",
                "--raw",
                f"--device={sink}",
                "--format=s16le",
                f"--rate={RATE_HZ}",
                f"--channels={channels}",
                f"--latency-msec={latency_ms}",
            ],
            stdin=subprocess.PIPE,
        )
        fcntl.fcntl(self._player.stdin.fileno(), F_SETPIPE_SZ, 4096)
        self._over = threading.Event()
        self.played: list[float] = []
        self._thread = threading.Thread(target=self._play, daemon=True)
        self._thread.start()

    def _play(self) -> None:
        began, piece = time.monotonic(), 0
        while not self._over.is_set():
            whole = np.clip(np.rint(np.asarray(self._sound(piece)) * 32768), -32768, 32767).astype("<i2")
            try:
                self._player.stdin.write(whole.tobytes())
                self._player.stdin.flush()
            except (BrokenPipeError, ValueError):
                return
            self.played.append(time.monotonic())
            piece += 1
            if not self._paced:
                continue  # the pipe keeps it to the sound's own pace
            began = max(began, time.monotonic() - 0.05)
            began += PIECE / RATE_HZ
            time.sleep(max(began - time.monotonic(), 0.0))

    def close(self) -> None:
        self._over.set()
        self._player.kill()
        self._thread.join(DEADLINE_S)
        with contextlib.suppress(BrokenPipeError):
            self._player.stdin.close()
        self._player.wait(DEADLINE_S)


def noise(level: float = 0.05, channels: int = 1, seed: int = 1) -> Sound:
    """White noise with this rms, of full scale."""
    dice = np.random.default_rng(seed)
    shape = (PIECE,) if channels == 1 else (PIECE, channels)
    return lambda piece: level * dice.standard_normal(shape)


def wait_for(condition: Callable[[], bool]) -> None:
    give_up = time.monotonic() + DEADLINE_S
    while not condition():
        assert time.monotonic() < give_up, "the sound server does not come up"
        time.sleep(0.02)
