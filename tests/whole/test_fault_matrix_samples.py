"""Fault × moment of a server of samples that shows whole bands: rows of the fault matrix.

As there: what is stored is true or flagged, the relays rest, the person is told what happened, the next pass is whole.
"""

import re
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import polars as pl
import pytest

from sweeper.clock import JumpingClock
from sweeper.simulation import saltmarsh
from sweeper.simulation.receivers.sample_server import SampleServer
from tests.whole.fault_cells import Cell, stream_cells
from tests.whole.sampled_rig import Pairs, Rig, bent, sampled_rig
from tests.whole.whole_bands import FROM_TCP, station_of

pytestmark = pytest.mark.wires
WORLD = saltmarsh()
STATION = station_of(FROM_TCP, 0.1, "10 m", (28_010_000, 28_390_000))
VISITS = 6
"""Antenna and load through both routes, the antenna again on the way back."""
HALF_A_STAY = 55_000
"""Samples from the relay on to the middle of what is taken: settling and latency first, then 0.1 s."""


@pytest.fixture
def rig(tmp_path: Path) -> Iterator[Rig]:
    with sampled_rig(STATION, WORLD, JumpingClock(WORLD.first_evening), tmp_path) as there:
        yield there
        assert there.served.forbidden == ()


def lose(server: SampleServer, samples: int = 160_000) -> None:
    """Throw away the next samples, as a server does that is too busy."""
    left = 2 * samples

    def without(pairs: Pairs) -> Pairs:
        nonlocal left
        gone = min(left, len(pairs))
        left -= gone
        return pairs[gone:]

    server.bent = without


def garbled(server: SampleServer) -> None:
    dice = np.random.default_rng(4)
    server.bent = lambda pairs: dice.integers(0, 256, len(pairs), np.uint8)


HARM: dict[str, Callable[[SampleServer], None]] = {
    "gone": lambda server: server.hang_up(),
    "stalled": lambda server: setattr(server, "silent", True),
    "garbled": garbled,
    "another rate": lambda server: setattr(server, "pace", 0.5),
    "all zero": bent(np.zeros_like),
    "stands still": bent(lambda pairs: np.full_like(pairs, 127)),
    "clipped": bent(lambda pairs: np.clip((pairs - 127.5) * 60.0 + 127.5, 0, 255).astype(np.uint8)),
    "gap": lose,
}


@pytest.fixture(scope="module")
def undisturbed(tmp_path_factory: pytest.TempPathFactory) -> pl.DataFrame:
    """The readings of a pass to which nothing happens."""
    folder = tmp_path_factory.mktemp("undisturbed")
    with sampled_rig(STATION, WORLD, JumpingClock(WORLD.first_evening), folder) as there:
        record, rows = there.one_pass()
    assert (record.outcome, set(rows["flags"])) == ("done", {""}), record.because
    return rows


def at_the_moment(rig: Rig, moment: str, harm: Callable[[SampleServer], None]) -> None:
    """Have it happen in the next pass, or at once between passes."""
    board, server, tuner, relays = (
        rig.served.board,
        rig.server,
        rig.served.receiver_log,
        rig.served.switch_log,
    )

    def happen() -> None:
        harm(server)

    if moment == "between passes":
        happen()
    elif moment in ("greeting", "tuning"):
        tuner.when("setting" if moment == "greeting" else "tune", happen)
    elif moment == "switching":
        relays.when("write", happen, 3)
    elif moment == "restoring":
        relays.when("write", lambda: relays.when("read", happen, 2), VISITS - 2)
    else:
        path = "antenna-stage" if moment == "mid-visit" else "antenna-bypass"
        left, was = HALF_A_STAY, False

        def counted(pairs: Pairs) -> Pairs:
            nonlocal left, was
            was = was or board.path == "antenna-stage"
            left -= len(pairs) // 2 if was and board.path == path else 0
            if left > 0:
                return pairs
            server.bent = lambda pairs: pairs
            happen()
            return server.bent(pairs)

        server.bent = counted


FAILS = {
    "gone": "the connection broke|samples stopped",
    "stalled": "samples stopped coming",
    "another rate": "million samples a second",
    "all zero": "all alike|stood still",
    "stands still": "all alike|stood still",
    "gap": "samples went missing",
}
"""What the person is told where the pass fails. What a stream does that is garbled or clips is flagged."""
UNTOUCHED = {
    **{(fault, "restoring"): "all is measured" for fault in HARM},
    ("gone", "between passes"): "it is connected anew",
    **{
        ("gap", moment): "nothing was taken of it"
        for moment in ("greeting", "tuning", "switching", "between passes")
    },
    **{
        ("another rate", moment): "a server that is slow for less than two seconds tells the truth, later"
        for moment in ("tuning", "switching", "mid-visit", "last visit")
    },
}
"""Where a pass is as good as any other."""


def assert_true(rows: pl.DataFrame, undisturbed: pl.DataFrame) -> None:
    """A whole pass, its noise as in one to which nothing happened on every path, but for what is flagged."""
    noise = pl.col("for") == "noise"
    assert rows.filter(noise).height == undisturbed.filter(noise).height
    wanted = _levels(undisturbed)
    found = _levels(rows.filter(~pl.col("flags").str.contains("clipped")))
    assert found == {path: pytest.approx(wanted[path], abs=0.5) for path in found}


def _levels(rows: pl.DataFrame) -> dict[tuple[str, str], float]:
    """Mean noise of each path."""
    noise = rows.filter(pl.col("for") == "noise").group_by("source", "route").agg(pl.col("reading").mean())
    return {(source, route): level for source, route, level in noise.iter_rows()}


@pytest.mark.parametrize("cell", stream_cells(), ids=str)
def test_what_a_server_of_samples_does_bends_no_reading(
    cell: Cell, rig: Rig, undisturbed: pl.DataFrame
) -> None:
    if cell.moment == "between passes":
        assert rig.one_pass()[0].outcome == "done"
    at_the_moment(rig, cell.moment, HARM[cell.fault])
    record, rows = rig.one_pass()
    assert not rig.served.receiver_log.waiting and not rig.served.switch_log.waiting, "the moment never came"
    assert rig.served.board.path == "antenna-bypass"
    if (cell.fault, cell.moment) in UNTOUCHED:
        assert record.outcome == "done", record.because
        assert_true(rows, undisturbed)
        assert set(rows["flags"]) == {""}
    elif cell.fault in FAILS:
        assert (record.outcome, rows.height) == ("failed", 0)
        assert re.match(f"receiver: .*({FAILS[cell.fault]})", record.because), record.because
    else:
        assert record.outcome == "done", record.because
        assert_true(rows, undisturbed)
        assert "clipped" in set(rows["flags"])
    rig.mend()
    record, rows = rig.one_pass()
    assert record.outcome == "done", record.because
    assert_true(rows, undisturbed)
    assert set(rows["flags"]) == {""}
