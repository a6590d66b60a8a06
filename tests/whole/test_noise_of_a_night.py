"""Samples of the simulated town with three devices in it, over the wire, to what a listener reads of its noise."""

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from sweeper.clock import JumpingClock
from sweeper.daemon.run.campaign import Campaign, run_passes
from sweeper.noise.told import NoiseTold
from sweeper.reduction.noise import noise_of
from sweeper.simulation import saltmarsh, serve
from sweeper.simulation.world.device_truth import shares
from sweeper.simulation.world.saltmarsh import DEVICES
from sweeper.station import load
from sweeper.store import Store
from tests.whole.whole_bands import FROM_TCP, station_of

pytestmark = pytest.mark.wires
EDGES_HZ = (13_980_000, 14_380_000)
STATION = station_of(FROM_TCP, 0.5, "20 m", EDGES_HZ)


def measured(
    tmp_path: Path, devices: tuple[object, ...], passes: int
) -> Iterator[tuple[NoiseTold, list[float]]]:
    """A pass an hour from the first afternoon on, until so many are done: what is told, and when they were."""
    world = saltmarsh(1, devices=devices)  # type: ignore[arg-type]
    clock = JumpingClock(world.first_evening)
    with serve(world, clock, receiver="iq-tcp") as served:
        file = tmp_path / "station.yaml"
        file.write_text(STATION.format(receiver_link=served.receiver_link, switch_link=served.switch_link))
        station = load(file)
        with Store(tmp_path / "data", "Saltmarsh", 8.1) as store:
            campaign, done = Campaign(station, store, clock), []
            for nth in range(2 * passes):
                due = world.first_evening + timedelta(hours=nth)
                done += [each for each in run_passes(campaign, [due]) if each.outcome == "done"]
                if len(done) == passes:
                    break
            yield noise_of(store, station), [record.started.timestamp() for record in done]


def test_three_devices_are_told_with_their_truth(tmp_path: Path) -> None:
    world = saltmarsh(1, devices=DEVICES)
    for told, times in measured(tmp_path, DEVICES, 12):
        kinds = {each.source.kind: each for each in told.sources}
        assert kinds.keys() >= {"mains", "comb", "hump"}
        comb = kinds["comb"].source
        assert min(comb.spacing_hz) > 43_200 * 0.99 and max(comb.spacing_hz) < 43_200 * 1.01
        evening = {datetime.fromtimestamp(one.time, UTC).hour for one, _ in comb.seen}
        assert evening <= {17, 18, 19, 20, 21, 22}
        hump = kinds["hump"].source.last
        assert hump.low_hz == pytest.approx(14_100_000, abs=6000)
        assert hump.high_hz == pytest.approx(14_160_000, abs=6000)
        (split,) = told.splits
        parts = {part.name: part.share for part in split.parts}
        truth = [shares(world, time, *EDGES_HZ) for time in times]
        for part, name in (
            ("receiver", "receiver"),
            ("mains", "dimmer in the hall"),
            ("hump", "line modem"),
            ("comb", "charger in the shed"),
        ):
            assert parts[part] == pytest.approx(np.mean([each[name] for each in truth]), abs=0.03), part


def test_the_same_town_without_devices_tells_none(tmp_path: Path) -> None:
    for told, _ in measured(tmp_path, (), 6):
        assert [each.source.name for each in told.sources] == []
