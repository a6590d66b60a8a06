"""A station at a simulated server of samples, whole: its campaign, its store, and the server to do harm to."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import polars as pl

from sweeper.clock import Clock
from sweeper.daemon.run.campaign import Campaign, run_passes
from sweeper.simulation import Served, World, serve
from sweeper.simulation.receivers.sample_server import SampleServer
from sweeper.station import Station, load
from sweeper.store import Store
from sweeper.words import PassRecord

Pairs = np.ndarray
"""Bytes as a server sends them, I and Q in turn."""
Bend = Callable[[Pairs], Pairs]


def bent(how: Bend) -> Callable[[SampleServer], None]:
    """Harm that is done to every sample from then on."""
    return lambda server: setattr(server, "bent", how)


@dataclass(frozen=True)
class Rig:
    station: Station
    campaign: Campaign
    store: Store
    clock: Clock
    served: Served

    @property
    def server(self) -> SampleServer:
        assert isinstance(self.served.instrument, SampleServer)
        return self.served.instrument

    def mend(self) -> None:
        """Have the server send what it hears, all of it and in time."""
        self.server.silent, self.server.pace, self.server.bent = False, 1.0, lambda pairs: pairs

    def one_pass(self) -> tuple[PassRecord, pl.DataFrame]:
        """What became of the next pass, and the readings stored of it."""
        (record,) = run_passes(self.campaign, [None])
        return record, self.store.readings().filter(pl.col("pass") == record.number).collect()


@contextmanager
def sampled_rig(template: str, world: World, clock: Clock, folder: Path) -> Iterator[Rig]:
    """The station of a file that is filled with links by `str.format`."""
    with serve(world, clock, receiver="iq-tcp") as served:
        file = folder / "station.yaml"
        file.write_text(template.format(receiver_link=served.receiver_link, switch_link=served.switch_link))
        station = load(file)
        with Store(folder / "data", station.station.name, station.station.longitude) as store:
            yield Rig(station, Campaign(station, store, clock), store, clock, served)
