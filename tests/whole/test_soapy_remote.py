"""Whole bands through SoapySDR's own server, across the network, from a device that nobody here wrote."""

import math
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl
import pytest
from numpy.typing import NDArray

from drivers.receivers.iq import SOAPY, Options
from drivers.waiting import monotonic
from sweeper.daemon.run.campaign import Campaign, run_passes
from sweeper.simulation import saltmarsh, serve
from sweeper.station import load
from sweeper.store import Store
from tests.clocks import evening
from tests.drivers.samples.soapy_server import NEEDED, PACKAGES, module_there, soapy_server
from tests.drivers.samples.sound_server import PIECE, RATE_HZ, Player
from tests.whole.whole_bands import station_of

pytestmark = pytest.mark.wires
LINE_HZ, LINE, NOISE = 6000, 0.25, 0.05
"""A line so far above the centre, and noise, in volts of full scale."""
SERVED = 0.5
"""Of them arrives: this module's full scale, 65536, is twice that of the 16 bits that the server sends."""


def on_the_air(piece: int) -> NDArray[np.float64]:
    """I and Q of a line and of noise."""
    dice = np.random.default_rng(piece)
    turns = LINE_HZ * (piece * PIECE + np.arange(PIECE)) / RATE_HZ
    band = LINE * np.exp(2j * np.pi * (turns % 1.0))
    noise = NOISE * dice.standard_normal((PIECE, 2)) / math.sqrt(2.0)
    return np.stack([band.real, band.imag], axis=1) + noise


@pytest.fixture
def device(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[dict[str, Any]]:
    if any(shutil.which(program) is None for program in NEEDED) or not module_there(
        monkeypatch, "remote", "audio"
    ):
        pytest.skip(f"SoapySDR's server or what it needs is not installed ({PACKAGES})")
    with soapy_server(tmp_path, monkeypatch, RATE_HZ) as found:
        player = Player("rx", on_the_air, channels=2, latency_ms=2000)
        try:
            yield found
        finally:
            player.close()


def keys(device: dict[str, Any]) -> dict[str, Any]:
    # a busy computer may play nothing for a while, so there is time for samples to come
    stream = {"chan": "stereo_iq", "remote:prot": "tcp"}
    return {"device": device, "sample_rate_hz": RATE_HZ, "stream": stream, "timeout_s": 30.0}


def test_what_plays_at_the_server_is_what_is_taken_here(device: dict[str, Any]) -> None:
    receiver = SOAPY.open(Options.model_validate({**keys(device), "offset_hz": 0}))
    try:
        receiver.tune(7_100_000)
        assert receiver.tuning().hz == 7_100_000
        assert "Audio" in receiver.identify()
        for _ in range(60):
            block = receiver.take(1.0, monotonic())
            if not block.gaps:
                break
    finally:
        receiver.close()
    samples = np.asarray(block.samples)
    assert len(samples) == RATE_HZ and block.clipped == 0.0
    power = np.abs(np.fft.fft(samples) / len(samples)) ** 2
    assert int(np.argmax(power)) == LINE_HZ, "a whole second has bins of one hertz; Q is not I"
    assert math.sqrt(power[LINE_HZ - 3 : LINE_HZ + 4].sum()) == pytest.approx(SERVED * LINE, rel=0.05)
    assert math.sqrt(power[10_000:20_000].sum() * 4.8) == pytest.approx(SERVED * NOISE, rel=0.1)


RECEIVER = """\
  driver: soapy
  device: {device}
  stream: {{chan: stereo_iq, "remote:prot": tcp}}
  sample_rate_hz: {rate_hz}
  range_hz: [100000, 30000000]
  timeout_s: 30
  settle_s: 0.05
"""
STATION = station_of(RECEIVER, 0.5, "40 m", (7_081_000, 7_119_000))


def test_a_pass_through_the_server_is_stored_whole(device: dict[str, Any], tmp_path: Path) -> None:
    clock = evening()
    with serve(saltmarsh(), clock) as served:
        file = tmp_path / "station.yaml"
        file.write_text(STATION.format(device=device, rate_hz=RATE_HZ, switch_link=served.switch_link))
        station = load(file)
        with Store(tmp_path / "data", station.station.name, station.station.longitude) as store:
            (record,) = run_passes(Campaign(station, store, clock), [None])
            assert record.outcome == "done", record.because
            assert served.board.path == "antenna-bypass"
            noise = store.readings().filter(pl.col("for") == "noise").collect()
            assert set(zip(noise["source"], noise["route"], strict=True)) == {
                (source, route) for source in ("antenna", "load") for route in ("bypass", "stage")
            }
            assert noise["hz"].is_between(7_081_000, 7_119_000).all()
            expected_db = 10 * math.log10((SERVED * NOISE) ** 2 * 281 / RATE_HZ)
            assert noise["reading"].median() == pytest.approx(expected_db, abs=0.5)
            assert len(store.spectra().collect()) == len(noise.select("time").unique())
