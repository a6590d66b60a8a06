"""Passes through a server of 8-bit samples: whole ones, and what every fault of such a server does to one.

As in the fault matrix: nothing bent is stored, the relays rest, the next pass is whole once the fault is mended.
"""

import io
import os
import select
import socket
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import polars as pl
import pytest

from sweeper.clock import SystemClock
from sweeper.simulation import saltmarsh
from sweeper.simulation.receivers.sample_server import SampleServer
from tests.whole.sampled_rig import Rig, bent, sampled_rig

pytestmark = [pytest.mark.wires, pytest.mark.clock]

STATION = """\
station: {{name: Saltmarsh, latitude: 56.2, longitude: 8.1, environment: rural}}
receiver:
  driver: iq-tcp
  link: "{receiver_link}"
  sample_rate_hz: 256000
  gain_db: {{0: 40, 20000000: 55}}
  range_hz: [100000, 30000000]
  latency_s: 0.05
  averaging_s: 0.05
  timeout_s: 5
  mode: USB
  bandwidth_hz: 2400
  settle_s: 0.02
  readings: 4
  interval_s: 0.01
  meter: {{unit: raw}}
switch:
  driver: modbus
  link: "{switch_link}"
  settle_s: 0.03
  break_s: 0
  paths: {{antenna-bypass: {{0: off, 1: off}}, antenna-stage: {{0: on, 1: off}}}}
stage: {{rated_gain_db: 15, rated_noise_figure_db: 3}}
plan: {{edges_a_pass: 0}}
bands:
  - {{name: 10 m, channels: [{{hz: 28070000, for: noise}}, {{hz: 28199000, for: carrier}}]}}
"""
WHOLE = 4 * 2 * 4


@pytest.fixture
def rig(tmp_path: Path) -> Iterator[Rig]:
    with sampled_rig(STATION, saltmarsh(), SystemClock(), tmp_path) as there:
        yield there


def test_a_pass_is_whole_and_shows_the_stage_on_noise_and_carrier(rig: Rig) -> None:
    record, rows = rig.one_pass()
    assert (record.outcome, len(rows)) == ("done", WHOLE), record.because
    for purpose in ("noise", "carrier"):
        levels = rows.filter(pl.col("for") == purpose).group_by("route").agg(pl.col("reading").mean())
        by_route = dict(levels.iter_rows())
        assert by_route["stage"] > by_route["bypass"] + 5.0
    assert rig.served.board.path == "antenna-bypass"
    assert rig.served.forbidden == ()


FAULTS: dict[str, Callable[[SampleServer], None]] = {
    "hangs up": lambda server: server.hang_up(),
    "silent": lambda server: setattr(server, "silent", True),
    "all zero": bent(np.zeros_like),
    "stands still": bent(lambda pairs: np.full_like(pairs, 128)),
    "under a step": bent(lambda pairs: (pairs > 127).astype(np.uint8) + 127),
}


@pytest.mark.parametrize("nth", [1, 3, 5])
@pytest.mark.parametrize("fault", FAULTS)
def test_a_fault_of_the_server_costs_the_pass_and_bends_nothing(rig: Rig, fault: str, nth: int) -> None:
    rig.served.receiver_log.when("tune", lambda: FAULTS[fault](rig.server), nth=nth)
    record, rows = rig.one_pass()
    assert record.outcome == "failed"
    assert record.because.startswith("receiver: ")
    assert not rig.served.receiver_log.waiting, record.because
    assert rows.is_empty()
    assert rig.served.board.path == "antenna-bypass"
    rig.mend()
    record, rows = rig.one_pass()
    assert (record.outcome, len(rows)) == ("done", WHOLE), record.because


def test_a_server_that_changes_its_rate_is_found_out(rig: Rig) -> None:
    rig.served.receiver_log.when("setting", lambda: setattr(rig.server, "pace", 0.5))
    record, rows = rig.one_pass()
    assert (record.outcome, len(rows)) == ("failed", 0)
    assert "million samples a second" in record.because


def test_a_server_that_is_not_there_or_speaks_otherwise_fails_the_pass(rig: Rig) -> None:
    rig.server.header = b"HTTP/1.1 400 Bad Request\r\n"
    record, rows = rig.one_pass()
    assert record.outcome == "failed"
    assert "not as a server of 8-bit samples does" in record.because
    assert rows.is_empty()


@pytest.fixture
def to_serve(tmp_path: Path) -> tuple[list[str], list[str]]:
    """The command that serves a station file on free ports, and its links: receiver, relays."""
    links = []
    for _ in range(2):
        with socket.create_server(("127.0.0.1", 0)) as free:
            links.append(f"tcp://127.0.0.1:{free.getsockname()[1]}")
    file = tmp_path / "station.yaml"
    file.write_text(STATION.format(receiver_link=links[0], switch_link=links[1]))
    return [str(Path(sys.executable).parent / "sweeper"), "simulate", str(file)], links


def test_simulate_serves_samples_where_the_station_file_looks_for_them(
    to_serve: tuple[list[str], list[str]],
) -> None:
    command, links = to_serve
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as serving:
        try:
            assert serving.stdout is not None
            assert links[0] in serving.stdout.readline()
            with socket.create_connection(
                ("127.0.0.1", int(links[0].rsplit(":", 1)[1])), timeout=60
            ) as client:
                assert client.recv(4, socket.MSG_WAITALL) == b"RTL0"
        finally:
            serving.terminate()


def test_devices_of_the_simulated_house_are_unplugged_at_its_terminal(
    to_serve: tuple[list[str], list[str]],
) -> None:
    terminal, slave = os.openpty()
    with subprocess.Popen(to_serve[0], stdin=slave, stdout=slave, stderr=slave) as serving:
        os.close(slave)
        with os.fdopen(terminal, "r+b", buffering=0) as person:
            said = _said(person, "unplugs it, or plugs it in again.")
            assert "1 dimmer in the hall, 2 charger in the shed, 3 line modem." in said
            person.write(b"3\n")
            _said(person, "line modem: unplugged")
            person.write(b"3 9\n")
            _said(person, "line modem: plugged in")
            _said(person, "No device has that number: 1 to 3.")
            serving.terminate()
            assert serving.wait(60) == 0


def _said(terminal: io.FileIO, wanted: str) -> str:
    """What is said up to `wanted`."""
    said = ""
    while wanted not in said:
        assert select.select([terminal], [], [], 120)[0], said
        said += terminal.read(1).decode("utf-8", "replace")
    return said
