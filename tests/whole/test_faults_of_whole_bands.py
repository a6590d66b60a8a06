"""What goes wrong with samples of a whole band, over TCP: one sentence each, and nothing wrong stored."""

from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import polars as pl
import pytest

from sweeper.clock import JumpingClock
from sweeper.daemon.run.campaign import Campaign, run_passes
from sweeper.simulation import Served, saltmarsh, serve
from sweeper.simulation.receivers.sample_server import SampleServer
from sweeper.station import load
from sweeper.store import Store
from sweeper.words import PassRecord
from tests.whole.whole_bands import FROM_TCP, station_of

pytestmark = pytest.mark.wires
WORLD = saltmarsh()
STATION = station_of(FROM_TCP, 0.1, "10 m", (28_010_000, 28_390_000))
Pairs = np.ndarray


class Rig:
    def __init__(self, campaign: Campaign, store: Store, served: Served) -> None:
        self.campaign, self.store, self.served = campaign, store, served
        assert isinstance(served.instrument, SampleServer)
        self.server = served.instrument

    def one_pass(self) -> tuple[PassRecord, pl.DataFrame]:
        (record,) = run_passes(self.campaign, [None])
        rows = self.store.readings().filter(pl.col("pass") == record.number).collect()
        return record, rows


@pytest.fixture
def rig(tmp_path: Path) -> Iterator[Rig]:
    clock = JumpingClock(WORLD.first_evening)
    with serve(WORLD, clock, receiver="iq-tcp") as served:
        file = tmp_path / "station.yaml"
        file.write_text(STATION.format(receiver_link=served.receiver_link, switch_link=served.switch_link))
        station = load(file)
        with Store(tmp_path / "data", station.station.name, station.station.longitude) as store:
            yield Rig(Campaign(station, store, clock), store, served)


def bent(how: Callable[[Pairs], Pairs]) -> Callable[[SampleServer], None]:
    return lambda server: setattr(server, "bent", how)


def softer(by: float) -> Callable[[SampleServer], None]:
    return bent(lambda pairs: np.rint((pairs - 127.5) * by + 127.5).astype(np.uint8))


FAULTS: dict[str, tuple[Callable[[SampleServer], None], str]] = {
    "gone": (lambda server: server.hang_up(), "samples stopped: "),
    "stalled": (lambda server: setattr(server, "silent", True), "samples stopped coming"),
    "slower": (lambda server: setattr(server, "pace", 0.5), "million samples a second"),
    "all zero": (bent(np.zeros_like), "its samples are all alike"),
    "stands still": (bent(lambda pairs: np.full_like(pairs, 127)), "its samples are all alike"),
    "under half a step": (bent(lambda pairs: (pairs > 127).astype(np.uint8) + 127), "less than half a step"),
}


def through(rig: Rig, path: str, harm: Callable[[SampleServer], None]) -> None:
    """Do harm once the relays stand so, and mend it when they do no longer."""
    board = rig.served.board

    def bend(pairs: Pairs) -> Pairs:
        return harm_of(pairs) if board.path == path else pairs

    kept: list[Callable[[Pairs], Pairs]] = []

    class Catch:
        def __setattr__(self, name: str, how: Callable[[Pairs], Pairs]) -> None:
            kept.append(how)

    harm(Catch())  # type: ignore[arg-type]
    (harm_of,) = kept
    rig.server.bent = bend


@pytest.mark.parametrize("fault", FAULTS)
def test_a_pass_that_a_fault_cuts_stores_nothing_and_says_why(rig: Rig, fault: str) -> None:
    harm, said = FAULTS[fault]
    rig.served.receiver_log.when("setting" if fault == "slower" else "tune", lambda: harm(rig.server))
    record, rows = rig.one_pass()
    assert (record.outcome, rows.height) == ("failed", 0)
    assert record.because.startswith("receiver: ") and said in record.because
    assert rig.store.spectra().collect().is_empty()
    assert rig.served.board.path == "antenna-bypass"
    rig.server.silent, rig.server.pace, rig.server.bent = False, 1.0, lambda pairs: pairs
    record, rows = rig.one_pass()
    assert record.outcome == "done" and rows.height, record.because


def test_a_path_that_moves_the_samples_by_less_than_a_step_is_named_and_what_to_turn(rig: Rig) -> None:
    through(rig, "load-bypass", softer(0.05))
    record, rows = rig.one_pass()
    assert (record.outcome, rows.height) == ("failed", 0)
    assert "10 m, load-bypass, its samples move by less than half a step" in record.because
    assert "Raise gain_db" in record.because


def test_samples_that_clip_on_one_path_are_flagged_there_and_tell_no_gain(rig: Rig) -> None:
    through(
        rig,
        "antenna-stage",
        bent(lambda pairs: np.clip((pairs - 127.5) * 9.0 + 127.5, 0, 255).astype(np.uint8)),
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
