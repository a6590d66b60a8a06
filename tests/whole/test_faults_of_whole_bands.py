"""What goes wrong with samples of a whole band, over TCP: one sentence each, and nothing wrong stored."""

import re
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import polars as pl
import pytest

from sweeper.clock import JumpingClock
from sweeper.simulation import saltmarsh
from sweeper.simulation.receivers.sample_server import SampleServer
from tests.whole.sampled_rig import Bend, Pairs, Rig, bent, sampled_rig
from tests.whole.whole_bands import FROM_TCP, station_of

pytestmark = pytest.mark.wires
WORLD = saltmarsh()
STATION = station_of(FROM_TCP, 0.1, "10 m", (28_010_000, 28_390_000))


@pytest.fixture
def rig(tmp_path: Path) -> Iterator[Rig]:
    with sampled_rig(STATION, WORLD, JumpingClock(WORLD.first_evening), tmp_path) as there:
        yield there


FAULTS: dict[str, tuple[Callable[[SampleServer], None], str]] = {
    "gone": (lambda server: server.hang_up(), "samples stopped: "),
    "stalled": (lambda server: setattr(server, "silent", True), "samples stopped coming"),
    "slower": (
        lambda server: setattr(server, "pace", 0.5),
        "it sends 0.2.. million samples a second, not 0.512",
    ),
    "rate not offered": (
        lambda server: setattr(server, "pace", 4.0),
        "it sends 2.0.. million samples a second, not 0.512. .*Mend sample_rate_hz",
    ),
    "all zero": (bent(np.zeros_like), "its samples are all alike"),
    "stands still": (bent(lambda pairs: np.full_like(pairs, 127)), "its samples are all alike"),
    "under half a step": (bent(lambda pairs: (pairs > 127).astype(np.uint8) + 127), "less than half a step"),
}


def through(rig: Rig, path: str, how: Bend) -> None:
    """Bend the samples while the relays stand so."""
    board = rig.served.board
    rig.server.bent = lambda pairs: how(pairs) if board.path == path else pairs


@pytest.mark.parametrize("fault", FAULTS)
def test_a_pass_that_a_fault_cuts_stores_nothing_and_says_why(rig: Rig, fault: str) -> None:
    harm, said = FAULTS[fault]
    at = "setting" if fault in ("slower", "rate not offered") else "tune"
    rig.served.receiver_log.when(at, lambda: harm(rig.server))
    record, rows = rig.one_pass()
    assert (record.outcome, rows.height) == ("failed", 0)
    assert re.match(f"receiver: .*{said}", record.because), record.because
    assert rig.store.spectra().collect().is_empty()
    assert rig.served.board.path == "antenna-bypass"
    rig.mend()
    record, rows = rig.one_pass()
    assert record.outcome == "done" and rows.height, record.because


def test_a_path_that_moves_the_samples_by_less_than_a_step_is_named_and_what_to_turn(rig: Rig) -> None:
    through(rig, "load-bypass", lambda pairs: np.rint((pairs - 127.5) * 0.05 + 127.5).astype(np.uint8))
    record, rows = rig.one_pass()
    assert (record.outcome, rows.height) == ("failed", 0)
    assert "10 m, load-bypass, its samples move by less than half a step" in record.because
    assert "Raise gain_db" in record.because


def test_samples_that_clip_on_one_path_are_flagged_there_and_tell_no_gain(rig: Rig) -> None:
    through(
        rig,
        "antenna-stage",
        lambda pairs: np.clip((pairs - 127.5) * 9.0 + 127.5, 0, 255).astype(np.uint8),
    )
    record, rows = rig.one_pass()
    assert record.outcome == "done", record.because
    flagged = rows.filter(pl.col("flags").str.contains("clipped"))
    assert set(flagged.select("source", "route").unique().rows()) == {("antenna", "stage")}
    assert (
        flagged.height == rows.filter((pl.col("source") == "antenna") & (pl.col("route") == "stage")).height
    )


def test_a_garbled_stream_is_no_reading_of_the_antenna(rig: Rig) -> None:
    dice = np.random.default_rng(4)
    rig.server.bent = lambda pairs: dice.integers(0, 256, len(pairs), np.uint8)
    record, rows = rig.one_pass()
    assert record.outcome == "failed" or set(rows["flags"]) == {"clipped"}, record.because


def full_of_signals(pairs: Pairs) -> Pairs:
    """With what sounds like noise over the lowest 50 kHz of the band, far above what is really noise."""
    dice = np.random.default_rng(len(pairs))
    count = len(pairs) // 2
    lines = dice.standard_normal((2, count)) * 300.0 * np.sqrt(count)
    shift_hz = np.fft.fftfreq(count, 1.0 / 512_000) if count else np.zeros(0)
    lines[:, (shift_hz < -190_000.0) | (shift_hz > -140_000.0)] = 0.0
    wave = np.fft.ifft(lines[0] + 1j * lines[1]) if count else np.zeros(0, complex)
    both = np.stack([wave.real, wave.imag], axis=1).ravel() / 20.0
    return np.clip(np.rint(pairs + both), 0, 255).astype(np.uint8)


def test_edges_without_a_quiet_place_are_told_with_what_to_write(tmp_path: Path) -> None:
    narrow = STATION.replace(
        "edges_hz: [28010000, 28390000]",
        "edges_hz: [28010000, 28390000], noise_edges_hz: [[28015000, 28050000]]",
    )
    with sampled_rig(narrow, WORLD, JumpingClock(WORLD.first_evening), tmp_path) as rig:
        rig.server.bent = full_of_signals
        record, rows = rig.one_pass()
        assert rows.filter(pl.col("for") == "noise").is_empty()
        (told,) = record.unknown_settings
        assert told.startswith("noise on 10 m, 28200 kHz (no quiet place: name one with noise_edges_hz")
