"""Passes that see whole bands at once, through a server of 8-bit samples, to what the analysis makes of them."""

from collections.abc import Iterator
from pathlib import Path

import polars as pl
import pytest

from sweeper.clock import JumpingClock
from sweeper.daemon.run.campaign import run_passes
from sweeper.reduction import facts_of, reduce_store
from sweeper.simulation import saltmarsh
from sweeper.spectra.grouped import KEPT_BINS
from tests.whole.sampled_rig import Rig, sampled_rig
from tests.whole.whole_bands import FROM_TCP, station_of

pytestmark = pytest.mark.wires
WORLD = saltmarsh()
STATION = station_of(FROM_TCP, 0.2, "10 m", (28_010_000, 28_390_000))


@pytest.fixture
def rig(tmp_path: Path) -> Iterator[Rig]:
    with sampled_rig(STATION, WORLD, JumpingClock(WORLD.first_evening), tmp_path) as there:
        yield there


def test_what_is_stored_is_the_truth_of_the_band_and_the_analysis_takes_it(rig: Rig) -> None:
    begun = rig.clock.now()
    records = run_passes(rig.campaign, [None] * 6)
    assert [record.outcome for record in records] == ["done"] * 6, records[0].because
    assert rig.served.forbidden == ()
    assert rig.served.board.path == "antenna-bypass"
    noise = rig.store.readings().filter(pl.col("for") == "noise").collect()
    assert noise["hz"].n_unique() == 8
    means = {
        path: level
        for *path_of, level in noise.group_by("source", "route").agg(pl.col("reading").mean()).iter_rows()
        for path in ["-".join(path_of)]
    }
    truth = WORLD.truth_at("10 m", [begun, rig.clock.now()])
    rise_db = means["antenna-bypass"] - means["load-bypass"]
    # 36 spectra of 380 kHz · 0.2 s scatter by hundredths; the band's noise is that of its middle to a tenth
    assert rise_db == pytest.approx(truth.noise_rise_db, abs=0.2)
    carriers = rig.store.readings().filter(pl.col("for") == "carrier").collect()
    assert 28_200_000 in carriers["hz"]
    kept = rig.store.spectra().collect()
    assert len(kept) == 6 * 6  # six visits a pass
    assert max(len(each) for each in kept["mean_cdb"]) <= KEPT_BINS
    findings = reduce_store(rig.store, facts_of(rig.station)).findings
    (band,) = findings.bands
    assert band.gain_db is not None
    assert band.gain_db.low - 0.3 < truth.gain_db < band.gain_db.high + 0.3


@pytest.mark.parametrize("fault", ["hang up", "half"])
def test_a_pass_that_cannot_be_whole_stores_nothing_and_the_next_one_is(rig: Rig, fault: str) -> None:
    harm = {"hang up": rig.server.hang_up, "half": lambda: setattr(rig.server, "pace", 0.5)}[fault]
    rig.served.receiver_log.when("setting" if fault == "half" else "tune", harm)
    (record,) = run_passes(rig.campaign, [None])
    assert record.outcome == "failed"
    assert record.because.startswith("receiver: ")
    assert rig.store.readings().collect().is_empty()
    rig.server.pace = 1.0
    (record,) = run_passes(rig.campaign, [None])
    assert record.outcome == "done", record.because
