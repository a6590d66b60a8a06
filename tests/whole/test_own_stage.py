"""No relay at all: the receiver's own preamplifier is the stage, over the one serial line that the receiver has."""

import csv
import io
from pathlib import Path
from statistics import mean

import pytest

from sweeper.simulation import saltmarsh, serve
from tests.clocks import evening
from tests.whole.test_main_job import sweeper

pytestmark = [pytest.mark.clock, pytest.mark.wires]

STATION = """\
station: {{name: Desk, latitude: 56.2, longitude: 8.1, environment: rural}}
receiver:
  driver: dialect
  dialect: {dialect}
  link: {link}
  mode: USB
  bandwidth_hz: 2400
  settle_s: 0.2
  readings: 8
  interval_s: 0.02
  meter: {{unit: dB-over-S9}}
switch:
  driver: own-stage
  receiver: dialect
  dialect: {dialect}
  link: {link}
  settle_s: 0.1
  rest: antenna-bypass
  rated_operations: 100000
  paths:
    antenna-bypass: {{preamplifier: off}}
    antenna-stage: {{preamplifier: {on}}}
stage: {{rated_gain_db: 12}}
bands:
  - {{name: 40 m, channels: [{{hz: 7038500, for: noise}}]}}
"""


@pytest.mark.parametrize(("dialect", "on"), [("icr8600", "on"), ("k3", "on")])
def test_a_pass_switches_the_receivers_own_preamplifier_and_leaves_it_at_rest(
    tmp_path: Path, dialect: str, on: str
) -> None:
    with serve(saltmarsh(), evening(), receiver=dialect) as served:
        file = tmp_path / "desk.yaml"
        file.write_text(STATION.format(dialect=dialect, link=served.receiver_link, on=on))
        served.receiver.turn_dial(6_155_000, "AM")
        ran = sweeper("run", file, "--passes", 1)
        assert ran.returncode == 0, ran.stderr
        assert (served.receiver.hz, served.receiver.mode) == (6_155_000, "AM")
        assert not served.receiver.preamplifier
        assert not served.receiver_log.forbidden
    rows = list(csv.DictReader(io.StringIO(sweeper("export", file, "--format", "csv").stdout)))
    level = {
        route: mean(float(row["reading"]) for row in rows if row["route"] == route)
        for route in ("bypass", "stage")
    }
    assert level["stage"] > level["bypass"] + 5.0
