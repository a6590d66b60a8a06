"""The demo with a receiver of samples, over TCP: whole bands, and nothing that the simulated truth denies."""

import json
from dataclasses import replace
from datetime import date
from pathlib import Path

import polars as pl
import pytest
from scipy.stats import binom

from drivers.config_files import station_file
from sweeper.reduction.spectra import spectra_seen
from sweeper.simulation import saltmarsh
from sweeper.simulation.world.world import World
from sweeper.spectra.lines import CENTRE_MOVES_HZ
from sweeper.station import load
from sweeper.store import Store
from sweeper.words import Channel
from tests.whole.test_main_job import sweeper

pytestmark = [pytest.mark.slow, pytest.mark.timeout(900)]
NIGHT = date(2026, 3, 1)
CELLS = 8


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    out = tmp_path_factory.mktemp("samples")
    answer = sweeper("demo", "--samples", "--seed", "1", "--out", out)
    assert answer.returncode == 0, answer.stderr
    (out / "printed").write_text(answer.stdout, encoding="utf-8")
    return out


@pytest.fixture(scope="module")
def world() -> World:
    """The station as it is simulated, its truth told where noise is read: all over each band."""
    station = load(station_file("saltmarsh-samples"))
    places = tuple(
        Channel(channel.band, round(lowest + (nth + 0.5) * (highest - lowest) / CELLS), "noise", 281)
        for channel, tuning in station.tunings().items()
        for lowest, highest in tuning.noise_hz
        for nth in range(CELLS)
    )
    return World(replace(saltmarsh(1, of_samples=True).scenario, channels=places))


def test_verdicts_agree_with_the_truth_and_intervals_hold_it(demo: Path, world: World) -> None:
    findings = json.loads((demo / "findings.json").read_text(encoding="utf-8"))
    called, held = 0, []
    for band in findings["bands"]:
        for period in band["periods"]:
            true_db = world.truth(band["band"], period["hour_utc"], [NIGHT]).snr_change_db
            so = {"stage": true_db > 1, "bypass": true_db < -1, "either": abs(true_db) < 1}
            assert so.get(period["verdict"], True), (
                f"{band['band']} at {period['hour_utc']}: {true_db:.2f} dB"
            )
            called += period["verdict"] != "undecided"
            if (change := period["snr_change_db"]) is not None:
                held.append(change["low"] <= true_db <= change["high"])
    assert called >= 100
    # the binomial law: of intervals that hold with 95 %, fewer than this hold in one demo of twenty
    assert len(held) >= 120
    assert sum(held) >= binom.ppf(0.05, len(held), 0.95)


def test_every_pass_is_whole_and_its_carriers_were_learned(demo: Path) -> None:
    with Store(demo / "saltmarsh.data", "Saltmarsh", 8.1, read_only=True) as store:
        assert {record.outcome for record in store.passes()} == {"done"}
        readings, spectra = store.readings().collect(), store.spectra().collect()
        known = store.recall("lines that stood")
    carriers = readings.filter(pl.col("for") == "carrier")
    assert carriers["pass"].min() == 3, "what stood twice is read from then on"
    assert set(carriers["hz"].unique()) <= {int(hz) for band in known.values() for hz in band}
    # of what the simulated sky holds there, and nothing else
    there = {carrier.hz for carrier in saltmarsh(1, of_samples=True).scenario.carriers}
    assert all(min(abs(hz - each) for each in there) <= 100 for hz in carriers["hz"].unique())
    assert len(spectra) == len(readings.select("pass", "time").unique())
    told = sweeper("lines", demo / "saltmarsh.yaml")
    assert "carrier    28200 kHz, stood in about" in told.stdout, told.stderr


def test_it_ends_with_the_recommendation_and_a_report(demo: Path) -> None:
    printed = (demo / "printed").read_text(encoding="utf-8")
    assert "stage in" in printed.lower() and "invented" in printed
    assert (demo / "report.html").stat().st_size > 10_000
    assert (demo / "saltmarsh.yaml").read_bytes() == station_file("saltmarsh-samples").read_bytes()


def test_what_moves_with_the_samples_centre_is_named_and_every_band_is_shown(demo: Path) -> None:
    """The simulated converter leaves a line at its centre, and an image of everything across it."""
    middles = {channel.band: channel.hz for channel in load(station_file("saltmarsh-samples")).tunings()}
    with Store(demo / "saltmarsh.data", "Saltmarsh", 8.1, read_only=True) as store:
        seen = {each.band: each for each in spectra_seen(store)}
    assert set(seen) == set(middles)
    for band, each in seen.items():
        (line,) = (line for line in each.lines if line.kind == "converter")
        ends = (middles[band] + CENTRE_MOVES_HZ, middles[band] - CENTRE_MOVES_HZ)
        assert line.twin_hz is not None
        assert abs(line.hz - ends[0]) <= each.step_hz and abs(line.twin_hz - ends[1]) <= each.step_hz
        assert not [line for line in each.lines if line.kind == "stage only"]
    page = (demo / "report.html").read_text(encoding="utf-8")
    assert "What does each band look like?" in page
    assert len(page.encode()) < 500_000
