"""How soon `ab` has a spectrum on the screen, and what it takes of a processor: real sound at 48 kHz, a scripted hand.

    python -m tests.benchmarks.ab_screen [--quick] [--minutes 2] [--write docs/ab-now.md]

A sound server without hardware plays noise and a carrier, whose level a hand at a pseudo-terminal changes when it is
asked to. The processor's time is that of the program and of what it captures with.
"""

import argparse
import fcntl
import os
import pty
import select
import shutil
import struct
import sys
import termios
import time
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from tests.benchmarks.written import write_between
from tests.drivers.samples.sound_server import PIECE, RATE_HZ, Player, sound_server

SWEEPER = str(Path(sys.executable).with_name("sweeper"))
ROWS, COLUMNS = 24, 80
DRAWN = tuple("▂▃▄▅▆▇█")
REACTION_S = 1.0
STAGE_DB = 12.0


@dataclass
class Played:
    """Noise and a carrier, and all of it louder with the stage in."""

    stage: bool = False
    dice: np.random.Generator = field(default_factory=lambda: np.random.default_rng(1))

    def piece(self, nth: int) -> NDArray[np.float64]:
        at_s = (nth * PIECE + np.arange(PIECE)) / RATE_HZ
        heard = 0.002 * self.dice.standard_normal(PIECE) + 0.005 * np.cos(2000.0 * np.pi * at_s)
        return heard * (10 ** (STAGE_DB / 20) if self.stage else 1.0)


@dataclass
class Shown:
    """What came of a run, in seconds: the first spectrum by the clock and by the processor's time; from then on the
    processor's time and how long it `lasted_s`.
    """

    first_s: float
    loaded_s: float
    processor_s: float
    lasted_s: float
    flips: int


def taken_s(pid: int) -> float:
    """Processor seconds of a process and of its children, those that still run among them."""
    found = 0.0
    for stat in Path("/proc").glob("[0-9]*/stat"):
        try:
            named, _, rest = stat.read_text().rpartition(")")
        except OSError:
            continue
        fields = rest.split()
        if pid in (int(named.split(" ", 1)[0]), int(fields[1])):
            found += sum(int(each) for each in fields[11:15]) / os.sysconf("SC_CLK_TCK")
    return found


def attended(minutes: float, played: Played) -> Shown:
    """One test, from the command to its end."""
    began = time.monotonic()
    pid, screen = pty.fork()
    if pid == 0:
        os.environ["TERM"] = "xterm"
        os.execv(SWEEPER, [SWEEPER, "ab", "--sound", "rx.monitor", "--by-hand", "--minutes", str(minutes)])
    fcntl.ioctl(screen, termios.TIOCSWINSZ, struct.pack("HHHH", ROWS, COLUMNS, 0, 0))
    shown = Shown(0.0, 0.0, 0.0, 0.0, 0)
    due_s = float("inf")
    while True:
        text = ""
        if select.select([screen], [], [], 0.05)[0]:
            try:
                text = os.read(screen, 1 << 16).decode("utf-8", "ignore")
            except OSError:  # the other end is closed
                break
        now_s = time.monotonic() - began
        if not shown.first_s and any(each in text for each in DRAWN):
            shown.first_s, shown.loaded_s = now_s, taken_s(pid)
        if shown.first_s and now_s > shown.first_s + shown.lasted_s + 1.0:
            shown.processor_s, shown.lasted_s = taken_s(pid) - shown.loaded_s, now_s - shown.first_s
        if "Switch IN now" in text or "Switch OUT now" in text:
            due_s = min(due_s, now_s + REACTION_S)
        if now_s >= due_s:
            played.stage, due_s = not played.stage, float("inf")
            shown.flips += 1
            os.write(screen, b" ")
    os.waitpid(pid, 0)
    os.close(screen)
    return shown


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--quick", action="store_true", help="half a minute, once")
    parser.add_argument("--minutes", type=float, default=2.0)
    parser.add_argument("--starts", type=int, default=3)
    parser.add_argument("--write", type=Path, help="page to put the figures into")
    asked = parser.parse_args()
    if shutil.which("pulseaudio") is None:
        print("pulseaudio is not installed: nothing measured")
        return 0
    played = Played()
    minutes = [0.5] if asked.quick else [0.5] * (asked.starts - 1) + [asked.minutes]
    with sound_server(f"rx {RATE_HZ} 1"):
        player = Player("rx", played.piece, latency_ms=80)
        try:
            found = [attended(each, played) for each in minutes]
        finally:
            player.close()
    last = found[-1]
    first = min(found, key=lambda each: each.first_s)
    told = (
        f"First spectrum on the screen {first.first_s:.1f} s after the command, {first.loaded_s:.1f} s of them the "
        f"processor's (the quickest of {len(found)}, {os.getloadavg()[0]:.0f} programs wanting one of "
        f"{os.cpu_count()} processors); over {last.lasted_s:.0f} s with {last.flips} flips program and capture took "
        f"{100 * last.processor_s / last.lasted_s:.1f} % of one processor."
    )
    print(told)
    assert last.lasted_s > 10.0 and last.flips >= 2, found
    if asked.write is not None:
        write_between(asked.write, "ab_screen", told)
    return 0


if __name__ == "__main__":
    sys.exit(main())
