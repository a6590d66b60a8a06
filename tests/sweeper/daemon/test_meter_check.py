"""Numbers that do not count from S9 are not let pass for it."""

import pytest

from sweeper.daemon.meter_check import against_the_file
from sweeper.station import Station
from tests.sweeper.daemon.conftest import Outpost


def with_meter(station: Station, driver: str = "hamlib", **meter: object) -> Station:
    of_meter = station.receiver.meter.model_copy(update={"unit": "dB-over-S9", "curve": (), **meter})
    receiver = station.receiver.model_copy(update={"driver": driver, "meter": of_meter, "bandwidth_hz": 2400})
    return station.model_copy(update={"receiver": receiver})


@pytest.mark.parametrize("shown", [(-87.4, -86.9), (-54.0, -53.5)])
def test_a_server_that_reads_fractions_does_not_count_from_s9(
    outpost: Outpost, shown: tuple[float, ...]
) -> None:
    (told,) = against_the_file(with_meter(outpost.station), shown)
    assert f"fractions, such as {shown[0] if shown[0] % 1 else shown[1]:g}" in told
    assert "{unit: raw}" in told and "S-units" in told


def test_whole_numbers_below_thermal_noise_do_not_either(outpost: Outpost) -> None:
    """-90 over S9 would be -163 dBm; a resistor gives -140.2 dBm in 2400 Hz (SI value of k, 290 K)."""
    (told,) = against_the_file(with_meter(outpost.station), (-90.0, -88.0))
    assert "-163 dBm" in told and "-140 dBm" in told


@pytest.mark.parametrize(
    ("driver", "meter"),
    [("hamlib", {}), ("hamlib", {"unit": "raw"}), ("dialect", {"step_db": 0.4})],
)
def test_a_meter_that_may_count_from_s9_is_let_alone(
    outpost: Outpost, driver: str, meter: dict[str, object]
) -> None:
    shown = (-53.6, -52.0) if (driver, meter) != ("hamlib", {}) else (-54.0, -52.0)
    assert list(against_the_file(with_meter(outpost.station, driver, **meter), shown)) == []
