"""Station files whose values have another shape than they should: read or refused in words, whatever stands where.

For each way to measure: by a meter, by a receiver's sound, by samples over TCP and through SoapySDR.
"""

import copy
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from ruamel.yaml import YAML

from sweeper.plan import one_pass
from sweeper.station import StationFileError, load
from tests.sweeper.station.files import RIGHT

pytestmark = [pytest.mark.slow, pytest.mark.timeout(300)]

SAMPLES = """\
station: {name: Saltmarsh, latitude: 56.2, longitude: 8.1, environment: rural, timezone: Europe/Copenhagen}
receiver:
  driver: iq-tcp
  link: tcp://127.0.0.1:1
  sample_rate_hz: 1024000
  gain_db: {0: 40, 20000000: 55}
  ppm: 3
  direct_sampling: off
  converter_hz: 0
  range_hz: [100000, 30000000]
  latency_s: 0.02
  full_scale_dbm: -20
  settle_s: 0.01
  spectrum: {seconds: 0.2, step_hz: 31.25}
switch:
  driver: modbus
  link: tcp://127.0.0.1:2
  settle_s: 0.03
  rest: antenna-bypass
  paths: {antenna-bypass: {0: off, 1: off}, antenna-stage: {0: on, 1: off}, load-bypass: {0: off, 1: on}}
stage: {rated_gain_db: 15, rated_noise_figure_db: 3}
bands:
  - {name: 10 m, edges_hz: [28010000, 28390000], noise_edges_hz: [[28400000, 28500000]], carriers_hz: [28100000]}
  - {name: 20 m, edges_hz: [14010000, 14390000]}
plan: {load_every: 1, edges_a_pass: 2}
schedule: [{every: 10 min, from: "18:00", to: "06:00"}]
store: {keep_spectra_days: 14}
notify: {file: ~/addresses}
"""
SOUND = """\
station: {name: Saltmarsh, latitude: 56.2, longitude: 8.1, environment: rural}
receiver:
  driver: dial-by-hand
  receive_only: true
  mode: USB
  settle_s: 0.05
  audio: {device: rx.monitor, rate_hz: 48000, channel: 1, tone_hz: 1000, seconds: 1, delay_s: 0.2, agc_off: true}
switch:
  driver: line
  link: rfc2217://127.0.0.1:3
  settle_s: 0.03
  paths: {antenna-bypass: {rts: off}, antenna-stage: {rts: on}}
stage: {rated_gain_db: 15, rated_noise_figure_db: 3}
bands:
  - {name: 10 m, channels: [{hz: 28070000, for: noise}, {hz: 28870000, for: carrier}]}
"""
SOAPY = SAMPLES.replace("driver: iq-tcp", "driver: soapy").replace(
    "link: tcp://127.0.0.1:1", "device: {driver: rtlsdr}, gains: {TUNER: 20}, stream: {bufflen: '1000'}"
)
SOAPY = (
    SOAPY.replace("device:", "device:", 1)
    .replace(", gains:", "\n  gains:")
    .replace(", stream:", "\n  stream:")
)
for key in ("direct_sampling: off", "latency_s: 0.02", "gain_db: {0: 40, 20000000: 55}", "converter_hz: 0"):
    SOAPY = SOAPY.replace(f"  {key}\n", "")
STATIONS = {"a meter": RIGHT, "samples over TCP": SAMPLES, "sound": SOUND, "SoapySDR": SOAPY}

VALUES: list[Any] = [
    None, True, False, 0, -1, 1, 10**400, 2**63, 1e308, 5e-324, -1e-9, float("nan"), float("inf"), "", "x", "9" * 400,
    "999999999999999 h", "28 MHz", "sunset", "1:60", "2026-13-01", "\u202e", "../..", "/dev/null", "=1+1", "😀" * 50,
    [], [[]], [1, 2], [2, 1], [0, 0], [1e9, 2e9], [-5, 5], ["x"], [2**63, 2**64], [[1, 2], [3]],
    {}, {"a": {"b": {}}}, {1: 2}, {"x": "y"}, {"a": [1] * 5000}, {True: 1},
]  # fmt: skip


def places(node: Any, at: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    items = node.items() if isinstance(node, dict) else enumerate(node) if isinstance(node, list) else ()
    for key, value in items:
        yield (*at, key)
        yield from places(value, (*at, key))


@pytest.mark.parametrize("way", STATIONS)
def test_they_are_right_before_they_are_spoilt(way: str, tmp_path: Path) -> None:
    """Or the attacks would prove nothing."""
    (tmp_path / "station.yaml").write_text(STATIONS[way], encoding="utf-8")
    assert one_pass(load(tmp_path / "station.yaml"), 1)


@settings(max_examples=150, deadline=None, suppress_health_check=list(HealthCheck))
@given(st.data())
def test_a_station_file_with_values_of_another_shape_is_read_or_refused(
    tmp_path_factory: pytest.TempPathFactory, data: st.DataObject
) -> None:
    content = copy.deepcopy(PARSED[data.draw(st.sampled_from(sorted(PARSED)), "way")])
    for _ in range(data.draw(st.integers(1, 3), "values")):
        every = list(places(content))
        at = data.draw(st.sampled_from(every), "at")
        holder = content
        for key in at[:-1]:
            holder = holder[key]
        holder[at[-1]] = copy.deepcopy(data.draw(st.sampled_from(VALUES), "value"))
    file = tmp_path_factory.getbasetemp() / "station.yaml"
    with file.open("w", encoding="utf-8") as out:
        YAML(typ="safe").dump(content, out)
    try:
        station = load(file)
    except StationFileError as refused:
        assert refused.problems and all(each.what.isprintable() for each in refused.problems)
        return
    assert one_pass(station, 1)
    assert one_pass(station, 2)


PARSED = {way: YAML(typ="safe").load(text) for way, text in STATIONS.items()}
