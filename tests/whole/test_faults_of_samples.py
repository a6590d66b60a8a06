"""Faults of a receiver that delivers samples, in whole passes: through SoapySDR and a real driver module, over TCP.

As in the fault matrix: nothing bent is stored, the relays rest, the next pass is whole once the fault is mended.
"""

from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import polars as pl
import pytest

from sweeper.clock import JumpingClock
from sweeper.daemon.run.campaign import Campaign, run_passes
from sweeper.simulation import Served, saltmarsh, serve
from sweeper.station import load
from sweeper.store import Store
from sweeper.words import PassRecord
from tests.drivers.receivers.test_iq import RATE_HZ, NetworkBox, box, soapy
from tests.whole.faulty_station import TUNINGS

__all__ = ["box", "soapy"]
pytestmark = pytest.mark.wires

STATION = """\
station: {{name: Saltmarsh, latitude: 56.2, longitude: 8.1, environment: rural}}
receiver:
  driver: iq
  device: {{driver: redpitaya, addr: 127.0.0.1, port: {port}}}
  sample_rate_hz: {rate_hz}
  averaging_s: 0.02
  timeout_s: {timeout_s}
  mode: USB
  bandwidth_hz: 2400
  settle_s: 0.05
  readings: 2
  interval_s: 0.05
  meter: {{unit: dBm, floor: -1000, top: 1000}}
switch:
  driver: modbus
  link: "{switch_link}"
  settle_s: 0.03
  break_s: 0
  paths: {{antenna-bypass: {{0: off, 1: off}}, antenna-stage: {{0: on, 1: off}}}}
stage: {{rated_gain_db: 15, rated_noise_figure_db: 3}}
bands:
  - {{name: test, channels: [{{hz: 7038500, for: noise}}, {{hz: 14112000, for: noise}}]}}
"""
WHOLE = 4 * 2 * 2
DEADLINE_S = 10.0
"""Long: where TCP's window closes, the module waits for a whole chunk and the window for a probe, seconds later."""


class Rig:
    """A campaign with a box of samples and a relay board."""

    def __init__(self, campaign: Campaign, store: Store, served: Served) -> None:
        self._campaign, self._store, self.served = campaign, store, served

    def one_pass(self) -> tuple[PassRecord, list[float]]:
        """What became of the next pass, and the readings stored of it."""
        (record,) = run_passes(self._campaign, [None])
        rows = self._store.readings().filter(pl.col("pass") == record.number).collect()
        return record, rows["reading"].to_list()


@pytest.fixture
def rig(tmp_path: Path, box: NetworkBox, soapy: None) -> Iterator[Rig]:
    world = saltmarsh()
    clock = JumpingClock(world.first_evening)
    with serve(world, clock) as served:
        file = tmp_path / "station.yaml"
        file.write_text(
            STATION.format(
                port=box.port, rate_hz=RATE_HZ, timeout_s=DEADLINE_S, switch_link=served.switch_link
            )
        )
        station = load(file)
        with Store(tmp_path / "data", station.station.name, station.station.longitude) as store:
            yield Rig(Campaign(station, store, clock), store, served)


def standing_still(samples: np.ndarray) -> np.ndarray:
    """The last nine tenths as the sample before them: what a reader finds that is handed the same buffer again."""
    from_here = len(samples) // 10
    return np.where(np.arange(len(samples)) < from_here, samples, samples[from_here])


FAULTS: dict[str, Callable[[NetworkBox], None]] = {
    "silent": lambda box: setattr(box, "silent", True),
    "gone": lambda box: setattr(box, "gone", True),
    "all zero": lambda box: setattr(box, "bent", np.zeros_like),
    "no numbers": lambda box: setattr(box, "bent", lambda samples: np.full_like(samples, np.nan)),
    "absurd": lambda box: setattr(box, "bent", lambda samples: np.full_like(samples, 1e30)),
    "standing still now and then": lambda box: setattr(box, "bent", standing_still),
    "endless": lambda box: setattr(box, "bent", lambda samples: np.full_like(samples, np.inf)),
}
MOMENTS = {"before the pass": 0, "first tuning": 1, "in the stage": 4, "last tuning": TUNINGS}
"""The nth tuning of a pass."""


def mend(box: NetworkBox) -> None:
    box.silent = box.gone = False
    box.bent = lambda samples: samples
    box.at_tuning.clear()


@pytest.mark.parametrize("moment", MOMENTS)
@pytest.mark.parametrize("fault", FAULTS)
def test_samples_that_stop_or_make_no_sense_cost_the_pass_and_bend_nothing(
    rig: Rig, box: NetworkBox, fault: str, moment: str
) -> None:
    nth = MOMENTS[moment]
    if nth == 0:
        FAULTS[fault](box)
    else:
        box.at_tuning = [lambda: None] * (nth - 1) + [lambda: FAULTS[fault](box)]
    record, stored = rig.one_pass()
    assert (record.outcome, stored) == ("failed", [])
    assert record.because.startswith("receiver: ")
    assert rig.served.board.path == "antenna-bypass"
    mend(box)
    record, stored = rig.one_pass()
    assert (record.outcome, len(stored)) == ("done", WHOLE), record.because
    assert rig.served.board.path == "antenna-bypass"
