"""Every switch driver is found by its name, and its section of a station file is checked before anything opens."""

from pathlib import Path

import pytest

from sweeper.plan import one_pass
from sweeper.station import StationFileError, load

SECTIONS = {
    "modbus": """
  link: /dev/ttyUSB1
  baud: 19200
  parity: even
  paths:
    antenna-bypass: {0: off, 1: off}
    antenna-stage: {0: on, 1: off}
    load-bypass: {0: off, 1: on}""",
    "board": """
  link: /dev/ttyUSB1
  dialect: three-byte
  paths:
    antenna-bypass: {1: off}
    antenna-stage: {1: on}""",
    "http": """
  link: https://relays.example
  ca_file: /etc/ssl/own.pem
  user: saltmarsh
  password_env: RELAY_PASSWORD
  auth: digest
  set: {method: POST, path: "/relay/{relay}", body: '{"on": {state}}'}
  ask: {path: "/relay/{relay}"}
  value_at: /on
  words: {on: true, off: false}
  paths:
    antenna-bypass: {1: off, 2: off}
    antenna-stage: {1: on, 2: off}""",
    "mqtt": """
  link: mqtts://broker.example
  set_topic: shed/relay/{relay}/set
  state_topic: shed/relay/{relay}/state
  alive: {topic: shed/alive, says: online}
  on: ON
  off: OFF
  paths:
    antenna-bypass: {1: off, 2: off}
    antenna-stage: {1: on, 2: off}""",
    "gpio": """
  link: /dev/gpiochip0
  active: low
  paths:
    antenna-bypass: {17: off, LOAD: off}
    antenna-stage: {17: on, LOAD: off}""",
    "line": """
  link: /dev/ttyUSB1
  paths:
    antenna-bypass: {rts: off, dtr: off}
    antenna-stage: {rts: on, dtr: off}""",
    "person": """
  timeout_s: 120
  paths:
    antenna-bypass: both switches to the left
    antenna-stage: the stage's switch to the right""",
    "joint": """
  parts:
    mast: {driver: modbus, link: "tcp://192.0.2.7:502"}
    shack: {driver: line, link: /dev/ttyUSB1}
  paths:
    antenna-bypass: {mast: {0: off}, shack: {rts: off}}
    antenna-stage: {mast: {0: on}, shack: {rts: off}}
    load-bypass: {mast: {0: off}, shack: {rts: on}}""",
}

STATION = """\
station: {{name: Saltmarsh, latitude: 56.2, longitude: 8.1, environment: rural}}
receiver:
  driver: hamlib
  link: tcp://127.0.0.1:4532
  mode: USB
  bandwidth_hz: 2400
  settle_s: 0.15
  readings: 8
  interval_s: 0.05
  meter: {{unit: dB-over-S9, s9_dbm: -73}}
switch:
  driver: {driver}
  settle_s: 0.03{section}
stage: {{rated_gain_db: 15, rated_noise_figure_db: 3}}
bands:
  - name: 40 m
    channels: [{{hz: 7038500, for: noise}}]
"""


def station_file(folder: Path, driver: str, section: str) -> Path:
    file = folder / "station.yaml"
    file.write_text(STATION.format(driver=driver, section=section), encoding="utf-8")
    return file


@pytest.mark.parametrize("driver", SECTIONS)
def test_a_section_is_understood_and_planned_with(tmp_path: Path, driver: str) -> None:
    station = load(station_file(tmp_path, driver, SECTIONS[driver]))
    paths = [str(visit.path) for visit in one_pass(station, 2)]
    assert paths == ["antenna-bypass", "antenna-stage", "antenna-stage", "antenna-bypass"]


@pytest.mark.parametrize(
    ("driver", "right", "wrong", "says"),
    [
        ("modbus", "1: on}", "x: on}", "switch"),
        ("board", "three-byte", "four-byte", "one-byte, text-line, three-byte"),
        ("http", "https:", "ftp:", "https://HOST"),
        ("mqtt", "{relay}/set", "all/set", "{relay}"),
        ("gpio", "/dev/gpiochip0", "gpiochip0", "/dev/gpiochip0"),
        ("line", "antenna-bypass: {rts: off", "antenna-bypass: {rts: on", "fall when the program ends"),
        ("joint", "driver: modbus", "driver: steam", "no switch driver 'steam'"),
        ("modbus", "parity: even", "parity: evne", "even"),
    ],
)
def test_a_mistake_is_told_with_its_line(
    tmp_path: Path, driver: str, right: str, wrong: str, says: str
) -> None:
    section = SECTIONS[driver].replace(right, wrong, 1)
    with pytest.raises(StationFileError) as told:
        load(station_file(tmp_path, driver, section))
    assert all(problem.line >= 11 for problem in told.value.problems)
    assert says in str(told.value)
