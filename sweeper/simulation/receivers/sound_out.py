"""The simulated receiver's sound played into a sound server's sink, in real time, by `pacat` as a child."""

import fcntl
import shutil
import subprocess
import threading
from contextlib import suppress
from typing import IO

import numpy as np

from sweeper.clock import Clock
from sweeper.simulation.receivers.audio import Hearing

AHEAD_MS = 60
"""What the sound server keeps in hand, so that a busy machine does not interrupt the sound."""
PIPE_BYTES = 4096
SET_PIPE_SIZE = 1031
"""F_SETPIPE_SZ of Linux, which Python names from 3.10 on some systems only."""
BEHIND_S = 0.2


class Playing:
    """Plays until it is closed. The delay from a relay to the sink's sound is some 80 ms."""

    def __init__(self, hearing: Hearing, sink: str, clock: Clock) -> None:
        """ValueError where `pacat` is not installed."""
        program = shutil.which("pacat")
        if program is None:
            raise ValueError("pacat is not installed; on Debian: apt install pulseaudio-utils")
        self._hearing, self._clock = hearing, clock
        self._child = subprocess.Popen(
            [
                program,
                "--raw",
                f"--device={sink}",
                "--format=float32le",
                f"--rate={hearing.rate_hz}",
                "--channels=1",
                f"--latency-msec={AHEAD_MS}",
            ],
            stdin=subprocess.PIPE,
            process_group=0,
        )
        self._over = threading.Event()
        self._thread = threading.Thread(target=self._play, args=(self._child.stdin,), daemon=True)
        self._thread.start()

    def close(self) -> None:
        """End the sound; never raises."""
        self._over.set()
        self._child.kill()
        self._thread.join(10.0)
        if self._child.stdin is not None:
            with suppress(BrokenPipeError):
                self._child.stdin.close()
        self._child.wait()

    def _play(self, pipe: IO[bytes]) -> None:
        with suppress(OSError):
            fcntl.fcntl(pipe.fileno(), SET_PIPE_SIZE, PIPE_BYTES)  # else up to 0.3 s of sound waits in it
        due_s = self._clock.monotonic()
        while not self._over.is_set():
            sound = np.ascontiguousarray(self._hearing.next(), "<f4")
            try:
                pipe.write(sound.tobytes())
                pipe.flush()
            except (BrokenPipeError, ValueError):
                return
            due_s = max(due_s + len(sound) / self._hearing.rate_hz, self._clock.monotonic() - BEHIND_S)
            self._clock.sleep(max(due_s - self._clock.monotonic(), 0.0))
