"""A simulated station on real wires, and the installed daemon as a process on it, with signals."""

import contextlib
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

from sweeper.daemon.live.client import ask
from sweeper.daemon.live.messages import Answer, Command, Request
from sweeper.errors import UserFacingError
from sweeper.plan import one_pass
from sweeper.simulation import saltmarsh, serve
from sweeper.simulation.serve import Served
from sweeper.station import load
from sweeper.store import Store
from tests.clocks import evening

SWEEPER = str(Path(sys.executable).with_name("sweeper"))
DEADLINE_S = 150.0
"""Generous: a busy machine may be ten times slower than an idle one."""

STATION = """\
station: {{name: Outpost, latitude: 56.2, longitude: 8.1, environment: rural}}
receiver:
  driver: hamlib
  link: {receiver}
  timeout_s: 0.5
  reconnect_s: 0.5
  mode: USB
  bandwidth_hz: 2400
  settle_s: {settle_s}
  readings: {readings}
  interval_s: 0.002
  quiet_time_s: {quiet_s}
  meter: {{unit: dB-over-S9, s9_dbm: -73, curve: []}}
switch:
  driver: modbus
  link: {switch}
  timeout_s: 0.5
  reconnect_s: 0.5
  unit: 1
  settle_s: 0.01
  rest: antenna-bypass
  rated_operations: {rated}
  paths:
    antenna-bypass: {{0: off, 1: off}}
    antenna-stage: {{0: on, 1: off}}
    load-bypass: {{0: off, 1: on}}
    load-stage: {{0: on, 1: on}}
stage: {{rated_gain_db: 15, rated_noise_figure_db: 3}}
bands:
  - name: 40 m
    channels:
      - {{hz: 7038500, for: noise}}
      - {{hz: 7204000, for: carrier}}
  - name: 20 m
    channels:
      - {{hz: 14112000, for: noise}}
{more}
"""

BY_SAMPLES = """\
station: {{name: Outpost, latitude: 56.2, longitude: 8.1, environment: rural}}
receiver:
  driver: iq-tcp
  link: {receiver}
  sample_rate_hz: 256000
  gain_db: 60
  range_hz: [100000, 30000000]
  latency_s: 0.05
  timeout_s: 30
  settle_s: {settle_s}
  quiet_time_s: {quiet_s}
  spectrum: {{seconds: 0.2}}
switch:
  driver: modbus
  link: {switch}
  settle_s: 0.01
  rest: antenna-bypass
  rated_operations: {rated}
  paths: {{antenna-bypass: {{0: off}}, antenna-stage: {{0: on}}}}
stage: {{rated_gain_db: 15, rated_noise_figure_db: 3}}
bands:
  - {{name: 10 m, edges_hz: [28010000, 28200000]}}
{more}
"""
"""The same place where whole bands are seen at once."""


def until(condition: Callable[[], object], what: str, deadline_s: float = DEADLINE_S) -> None:
    """Wait for a condition; AssertionError with what did not come when the deadline passes."""
    end = time.monotonic() + deadline_s
    while not condition():
        assert time.monotonic() < end, f"waited {deadline_s:g} s in vain for {what}"
        time.sleep(0.005)


@dataclass
class Unattended:
    """A station under test: its wires, its file, its data."""

    served: Served
    file: Path
    data: Path

    @property
    def folder(self) -> Path:
        return self.data / "Outpost"

    def readings_of(self, number: int) -> int:
        """Of a whole pass of all bands."""
        station = load(self.file)
        return len(one_pass(station, number)) * station.receiver.readings

    @contextlib.contextmanager
    def running(self, *options: object, **environment: str) -> Iterator["subprocess.Popen[str]"]:
        """The daemon as a process; killed at the end if it still lives."""
        process = subprocess.Popen(
            [SWEEPER, "run", str(self.file), "--data", str(self.data), *map(str, options)],
            stdout=subprocess.DEVNULL,
            stderr=subprocess.PIPE,
            text=True,
            # polars, imported by the test, leaves its allocator's settings in the environment.
            env={
                **{name: value for name, value in os.environ.items() if name != "_RJEM_MALLOC_CONF"},
                **environment,
            },
        )
        try:
            yield process
        finally:
            if process.poll() is None:
                process.kill()
            if process.stderr is not None:
                process.stderr.close()
            process.wait(DEADLINE_S)

    def ask(self, command: Command, text: str = "") -> Answer:
        return ask(self.folder, Request(command=command, text=text))

    def answers(self) -> bool:
        try:
            return self.ask("status").ok
        except UserFacingError:
            return False

    def resting(self) -> bool:
        return not any(self.served.board.coils)

    def store(self) -> Store:
        return Store(self.data, "Outpost", 8.1, read_only=True)


@contextlib.contextmanager
def unattended(
    folder: Path,
    *,
    schedule: str = "",
    settle_s: float = 0.01,
    readings: int = 4,
    quiet_s: float = 1.0,
    rated: int = 100_000,
    more: str = "",
    receiver: str = "rigctl-net",
    switch: str = "modbus-tcp",
    text: str = STATION,
) -> Iterator[Unattended]:
    """The station of `text` served until the block ends. `schedule` is YAML for its entries; empty: pass after pass."""
    with serve(saltmarsh(seed=1), evening(), receiver=receiver, switch=switch) as served:
        file = folder / "outpost.yaml"
        file.write_text(
            text.format(
                receiver=served.receiver_link,
                switch=served.switch_link,
                settle_s=settle_s,
                readings=readings,
                quiet_s=quiet_s,
                rated=rated,
                more=(f"schedule: {schedule}\n" if schedule else "") + more,
            ),
            encoding="utf-8",
        )
        yield Unattended(served, file, folder / "data")


def ended(process: "subprocess.Popen[str]", how: signal.Signals | None = None) -> tuple[int, str]:
    """Send a signal, if any, and wait for the end: exit code and what it said on standard error."""
    if how is not None:
        process.send_signal(how)
    _, said = process.communicate(timeout=DEADLINE_S)
    return process.returncode, said
