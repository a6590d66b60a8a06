"""Bands that are measured between their edges: as few tunings as the sampled width allows, and what is refused."""

from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

from sweeper.station import Station, StationFileError, load
from sweeper.station.tunings import USABLE, tunings

FILE = """\
station: {{name: Saltmarsh, latitude: 56.2, longitude: 8.1, environment: rural}}
receiver: {receiver}
switch:
  driver: modbus
  link: tcp://127.0.0.1:5020
  settle_s: 0.03
  paths: {{antenna-bypass: {{0: off, 1: off}}, antenna-stage: {{0: on, 1: off}}}}
bands: [{{name: 10 m, {band}}}]
"""
SAMPLES = (
    "{driver: iq-tcp, link: 'tcp://127.0.0.1:1234', settle_s: 0.05, sample_rate_hz: 1024000, spectrum: {}}"
)
METER = (
    "{driver: hamlib, link: 'tcp://127.0.0.1:4532', mode: USB, bandwidth_hz: 2400, settle_s: 0.1, readings: 2, "
    "interval_s: 0.1, meter: {unit: dBm}, spectrum: {}}"
)
EDGES = "edges_hz: [28000000, 28700000]"


def loaded(folder: Path, receiver: str = SAMPLES, band: str = EDGES) -> Station:
    file = folder / "station.yaml"
    file.write_text(FILE.format(receiver=receiver, band=band))
    return load(file)


@pytest.mark.parametrize(
    ("edges_hz", "rate_hz", "count"),
    [
        ((28_000_000, 28_700_000), 1_024_000, 1),
        ((522_000, 1_616_000), 1_024_000, 2),
        ((0, 8_192_000), 1_024_000, 10),
    ],
)
def test_tunings_are_few_lie_side_by_side_and_fit(
    edges_hz: tuple[int, int], rate_hz: int, count: int
) -> None:
    found = tunings(edges_hz, rate_hz)
    assert len(found) == count
    assert (found[0].edges_hz[0], found[-1].edges_hz[1]) == edges_hz
    for each in found:
        lowest, highest = each.edges_hz
        assert highest - lowest <= USABLE * rate_hz + 1
        assert each.centre_hz == (lowest + highest) // 2
        assert each.noise_hz == (each.edges_hz,)
    assert all(one.edges_hz[1] == other.edges_hz[0] for one, other in pairwise(found))


def test_noise_from_elsewhere_is_in_the_same_tuning_where_that_fits() -> None:
    band, beside, far = (9_400_000, 9_900_000), (9_910_000, 9_940_000), (10_400_000, 10_410_000)
    (one,) = tunings(band, 1_024_000, (beside,))
    assert (one.edges_hz, one.noise_hz) == ((9_400_000, 9_940_000), (beside,))
    signals, noise = tunings(band, 1_024_000, (far,))
    assert (signals.edges_hz, signals.noise_hz) == (band, ())
    assert (noise.edges_hz, noise.noise_hz, noise.carriers_hz) == (far, (far,), ())


def test_a_band_with_edges_needs_no_channels_and_no_meter(tmp_path: Path) -> None:
    station = loaded(tmp_path)
    assert [channel.hz for channel in station.channels()] == [28_350_000]
    assert (station.receiver.readings, station.receiver.meter.unit) == (1, "raw")
    assert getattr(station.receiver.options, "offset_hz", None) == 0


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"band": "edges_hz: [28700000, 28000000]"}, "ends below"),
        ({"band": "edges_hz: [28000000, 28000500]"}, "too narrow"),
        ({"band": f"{EDGES}, channels: [{{hz: 28070000, for: noise}}]"}, "channels as well"),
        ({"band": "channels: [{hz: 28070000, for: noise}]"}, "measured between its edges"),
        ({"receiver": SAMPLES.replace(", spectrum: {}", ", mode: USB, bandwidth_hz: 2400, readings: 1, interval_s: 0,"
                                      " meter: {unit: raw}")}, "seen in samples only"),
        ({"receiver": SAMPLES.replace("spectrum", "range_hz: [100000, 20000000], spectrum")}, "beyond the receiver"),
        ({"band": f"{EDGES}, noise_edges_hz: [[28800000, 28790000]]"}, "ends below"),
        ({"band": f"{EDGES}, noise_edges_hz: [[28800000, 28800500]]"}, "too narrow"),
        ({"band": f"{EDGES}, carriers_hz: [28900000]"}, "outside the band"),
        ({"band": "carriers_hz: [28900000], channels: [{hz: 28070000, for: noise}]",
          "receiver": METER.replace(", spectrum: {}", "")}, "belong to edges_hz"),
        ({"receiver": METER}, "leave readings out"),
        ({"receiver": METER.replace("readings: 2, interval_s: 0.1, ", "")}, "gives no samples"),
        ({"receiver": SAMPLES.replace("{}", "{step_hz: 500}")}, "step_hz"),
    ],
)  # fmt: skip
def test_what_does_not_fit_is_told(tmp_path: Path, change: dict[str, Any], said: str) -> None:
    with pytest.raises(StationFileError, match=said):
        loaded(tmp_path, **change)
