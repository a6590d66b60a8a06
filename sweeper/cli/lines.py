"""`lines`: the carriers that were learned between a band's edges, and learning them again."""

from typing import TYPE_CHECKING, Annotated

import typer

from sweeper.cli.options import DataFolder, StationFile, open_store
from sweeper.errors import WrongInput

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from sweeper.station import Station
    from sweeper.station.tunings import BandTuning


def lines(
    station_file: StationFile,
    again: Annotated[
        bool, typer.Option("--again", help="Forget them and learn anew, as after a change of the antenna.")
    ] = False,
    data: DataFolder = None,
) -> None:
    """Tell which carriers are read in bands with edges, as learned from earlier passes."""
    from sweeper.spectra.lines import KEPT_UNDER, known_of
    from sweeper.station import load

    station = load(station_file)
    if not station.tunings():
        raise WrongInput(
            f"{station_file}: no band has edges_hz, so nothing is learned; `channels` says what is read."
        )
    with open_store(station, station_file, data, read_only=not again) as store:
        if again:
            store.remember(KEPT_UNDER, {})
            print("Forgotten. From the third pass on carriers are read again.")
        else:
            for line in _told(station, known_of(store.recall(KEPT_UNDER))):
                print(line)


def _told(station: "Station", known: "Mapping[str, Mapping[int, float]]") -> "Iterator[str]":
    for channel, tuning in station.tunings().items():
        lowest, highest = (hz / 1e3 for hz in tuning.edges_hz)
        yield f"{channel.band}, {lowest:g} to {highest:g} kHz"
        yield from (f"  noise      {low / 1e3:g} to {high / 1e3:g} kHz" for low, high in tuning.noise_hz)
        yield from _carriers(tuning, known.get(channel.band, {}))


def _carriers(tuning: "BandTuning", known: "Mapping[int, float]") -> "Iterator[str]":
    from sweeper.spectra.lines import to_read

    if tuning.carriers_hz is not None:
        yield from (f"  carrier    {hz / 1e3:g} kHz, by the station file" for hz in tuning.carriers_hz)
        return
    read = to_read(known, tuning.edges_hz)
    for hz, often in sorted(known.items()):
        if tuning.edges_hz[0] < hz < tuning.edges_hz[1]:
            what = "carrier" if hz in read else "not read"
            passes = "1 pass" if round(often) == 1 else f"{often:.0f} passes"
            yield f"  {what:9}  {hz / 1e3:g} kHz, stood in about {passes} of late"
    if not read:
        yield "  no carrier has stood often enough to be read"
