"""A right station file as text, and how to spoil it for a test."""

from pathlib import Path

RIGHT = """\
station:
  name: Saltmarsh
  latitude: 56.2
  longitude: 8.1
  environment: rural
receiver:
  driver: hamlib
  link: tcp://127.0.0.1:4532
  mode: USB
  bandwidth_hz: 2400
  settle_s: 0.15
  readings: 8
  interval_s: 0.05
  range_hz: [150000, 30000000]
  meter:
    unit: dB-over-S9
    s9_dbm: -73
    curve: []
switch:
  driver: modbus
  link: tcp://127.0.0.1:5020
  unit: 1
  settle_s: 0.03
  rest: antenna-bypass
  rated_operations: 100000
  paths:
    antenna-bypass: {0: off, 1: off}
    antenna-stage: {0: on, 1: off}
    load-bypass: {0: off, 1: on}
    load-stage: {0: on, 1: on}
stage:
  rated_gain_db: 15
  rated_noise_figure_db: 3
bands:
  - name: 40 m
    channels:
      - {hz: 7038500, for: noise}
      - {hz: 7202000, for: carrier}
schedule:
  - {every: 10 min, from: sunset - 1 h, to: sunrise + 1 h}
analysis:
  worthwhile_db: 1.0
  confidence: 0.95
"""


def written(folder: Path, *changes: tuple[str, str]) -> Path:
    """The right station file with texts replaced, each of which must occur."""
    text = RIGHT
    for old, new in changes:
        assert text.count(old) >= 1, f"{old!r} is not in the station file"
        text = text.replace(old, new, 1)
    file = folder / "saltmarsh.yaml"
    file.write_text(text, encoding="utf-8")
    return file
