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


@pytest.mark.parametrize(
    ("shown", "said"),
    [
        ((-54.6, -40.0), "it reads -54.6, below the floor of -54"), ((-54.4, -40.0), ""), ((-40.0, 60.4), ""),
        ((-40.0, 60.6), "it reads 60.6, above the top of 60"), ((-40.0, -30.0), ""),
    ],
)  # fmt: skip
def test_readings_beyond_floor_and_top_by_more_than_half_a_step_are_told(
    outpost: Outpost, shown: tuple[float, ...], said: str
) -> None:
    station = with_meter(outpost.station, "dialect", step_db=1.0, floor=-54.0, top=60.0)
    told = list(against_the_file(station, shown))
    assert len(told) == (1 if said else 0) and said in "".join(told)
    told = list(
        against_the_file(with_meter(outpost.station, "dialect", step_db=None, floor=-54.0), (-54.1, 0.0))
    )
    assert len(told) == 1
    assert list(against_the_file(with_meter(outpost.station, "dialect", step_db=None), (-54.1, 70.0))) == []


def test_readings_above_the_end_of_a_curve_are_told_and_a_curve_says_what_they_are(outpost: Outpost) -> None:
    curve = ((-100.0, -120.0), (-70.0, -80.0), (-50.0, -60.0))
    station = with_meter(outpost.station, "dialect", unit="raw", curve=curve)
    (told,) = against_the_file(station, (-80.0, -49.0))
    assert "it reads -49, and the curve ends at -50" in told
    assert list(against_the_file(station, (-300.0, -50.0))) == []
    counted = with_meter(outpost.station, curve=curve)
    assert list(against_the_file(counted, (-90.0, -60.0))) == []


@pytest.mark.parametrize(("lowest", "told"), [(-77.0, False), (-78.0, True)])
def test_ten_decibels_below_a_resistor_nothing_counts_from_s9(
    outpost: Outpost, lowest: float, told: bool
) -> None:
    """kTB at 290 K in 2400 Hz is -140.2 dBm, so -150.2 dBm; S9 is -73 dBm below 30 MHz (IARU Region 1, R.1)."""
    assert bool(list(against_the_file(with_meter(outpost.station), (lowest, 0.0)))) == told
