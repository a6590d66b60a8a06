"""Two whole passes through whatever answers hamlib's network protocol, or one sentence about what is missing."""

import re
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path

import pytest

from sweeper.clock import SystemClock
from sweeper.daemon.run.campaign import Campaign, run_passes
from sweeper.simulation import saltmarsh, serve
from sweeper.station import load
from sweeper.store import Store
from sweeper.words import PassRecord
from tests.clocks import evening
from tests.whole.peers import rigctld

pytestmark = [pytest.mark.wires, pytest.mark.clock]

STATION = """\
station: {{name: Saltmarsh, latitude: 56.2, longitude: 8.1, environment: rural}}
receiver: {{driver: hamlib, link: "{receiver}", timeout_s: 1.0, mode: USB, bandwidth_hz: 2400, settle_s: 0.01,
  readings: 2, interval_s: 0.001, meter: {{unit: {unit}}}{more}}}
switch: {{driver: modbus, link: "{switch}", settle_s: 0.01,
  paths: {{antenna-bypass: {{0: off}}, antenna-stage: {{0: on}}}}}}
stage: {{}}
bands: [{{name: 40 m, channels: [{{hz: 7038500, for: noise}}, {{hz: 7042100, for: noise}}]}}]
"""
READINGS = 4 * 2 * 2


@contextmanager
def kinds(name: str) -> Iterator[str]:
    """The link of a server: one of the simulated kinds, or Debian's rigctld for one of its own simulated rigs."""
    with ExitStack() as running:
        if name.startswith("net-"):
            yield running.enter_context(serve(saltmarsh(), evening(), receiver=name)).receiver_link
            return
        arguments = ("-P", "RIG") if "line" in name else ("--vfo",) if "every command" in name else ()
        port = running.enter_context(rigctld(6 if "without" in name else 1, arguments=arguments))
        if "another" in name:  # hamlib's own client of its own protocol, model 2
            port = running.enter_context(rigctld(2, f"127.0.0.1:{port}"))
        yield f"tcp://127.0.0.1:{port}"


def two_passes(name: str, folder: Path, more: str) -> list[tuple[PassRecord, int]]:
    with kinds(name) as link, serve(saltmarsh(), evening()) as served:
        unit = "raw" if name == "net-plain" else "dB-over-S9"
        file = folder / "station.yaml"
        file.write_text(STATION.format(receiver=link, switch=served.switch_link, unit=unit, more=more))
        station = load(file)
        with Store(folder / "data", station.station.name, station.station.longitude) as store:
            records = run_passes(Campaign(station, store, SystemClock()), [None, None])
            stored = store.readings().collect()
            counts = [(record, stored.filter(stored["pass"] == record.number).height) for record in records]
        assert served.board.path == "antenna-bypass"
        assert served.forbidden == ()
    return counts


VOUCHED = ", receive_only: true"


@pytest.mark.parametrize(
    ("name", "more"),
    [
        ("net-plain", VOUCHED),
        ("net-no-state", ""),
        ("net-silent", ""),
        ("rigctld: dummy", VOUCHED),
        ("rigctld: dummy with a line to ask", ""),
        ("rigctld: dummy with a VFO on every command", VOUCHED),
        ("rigctld: another rigctld", VOUCHED),
    ],
)
def test_two_passes_are_whole(name: str, more: str, tmp_path: Path) -> None:
    for record, readings in two_passes(name, tmp_path, more):
        assert (record.outcome, record.because, record.left_over) == ("done", "", ()), record.because
        assert readings == READINGS


@pytest.mark.parametrize(
    ("name", "more", "told"),
    [
        ("net-plain", "", "does not tell whether it transmits. .*write receive_only: true"),
        ("rigctld: dummy", "", "does not tell whether it transmits. .*write receive_only: true"),
        (
            "rigctld: dummy without VFOs",
            "",
            "it stayed at 145000000 Hz when told to tune to 70(38500|42100) Hz",
        ),
        ("net-no-level", VOUCHED, "this server has no meter: it does not know get_level STRENGTH"),
        ("net-plain", f"{VOUCHED}, level: RAWSTR", "does not know get_level RAWSTR"),
    ],
)
def test_what_is_missing_is_said(name: str, more: str, told: str, tmp_path: Path) -> None:
    for record, readings in two_passes(name, tmp_path, more):
        assert record.outcome == "failed"
        assert readings == 0
        assert re.search(told, record.because), record.because
