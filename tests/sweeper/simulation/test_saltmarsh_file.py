"""Saltmarsh's station file describes Saltmarsh."""

from pathlib import Path

from sweeper.simulation import saltmarsh
from sweeper.station import load

STATION = Path(__file__).parents[3] / "configs" / "stations" / "saltmarsh.yaml"


def test_the_station_file_names_the_channels_that_the_world_has() -> None:
    station = load(STATION)
    scenario = saltmarsh().scenario
    assert station.channels() == scenario.channels
    assert (station.station.latitude, station.station.longitude) == (
        scenario.sky.latitude_deg,
        scenario.sky.longitude_deg,
    )
    meter, receiver = station.receiver.meter, scenario.receiver
    assert (meter.step_db, meter.floor, meter.top) == (receiver.step_db, receiver.floor_db, receiver.top_db)
    assert meter.averaging_s == receiver.averaging_s


def test_every_channel_lies_where_the_receiver_hears() -> None:
    scenario = saltmarsh().scenario
    for channel in scenario.channels:
        assert scenario.receiver.lowest_hz <= channel.hz <= scenario.receiver.highest_hz


def test_every_carrier_channel_hears_a_carrier_and_no_noise_channel_a_steady_one() -> None:
    scenario = saltmarsh().scenario
    for channel in scenario.channels:
        heard = [c for c in scenario.carriers if channel.hz <= c.hz <= channel.hz + channel.bandwidth_hz]
        if channel.purpose == "carrier":
            assert heard
        else:
            assert all(carrier.share_of_slots < 0.2 for carrier in heard)
