"""Saltmarsh: our own invented station, with a small loop on a quiet coast, for the demo and the tests.

Frequencies are where such services are allocated (ITU Radio Regulations, Article 5, Region 1); every level, neighbour
and broadcaster is invented.
"""

import math
from dataclasses import replace
from datetime import UTC, datetime

from sweeper.simulation.world.devices import Buzz, Device, LineModem, SwitchedSupply
from sweeper.simulation.world.hardware import Antenna, Receiver, Relays, Stage
from sweeper.simulation.world.sky import Sky
from sweeper.simulation.world.town import ALWAYS, Appliance, Broadcasters, Carrier, Hours, ManMade
from sweeper.simulation.world.world import Scenario, World
from sweeper.words import Channel, Purpose

LATITUDE_DEG, LONGITUDE_DEG = 56.2, 8.1
BANDWIDTH_HZ = 2400

_NOISE: dict[str, tuple[int, ...]] = {
    "long wave": (148_000, 283_800),
    "medium wave": (1_616_000, 522_500),
    "80 m": (3_611_000, 3_786_000),
    "60 m": (5_358_000,),
    "40 m": (7_038_500, 7_186_000),
    "31 m": (9_396_000, 9_906_000),
    "20 m": (14_112_000, 14_346_000),
    "15 m": (21_018_000, 21_430_000),
    "10 m": (28_070_000, 28_870_000),
}
_CARRIERS: dict[str, tuple[int, ...]] = {
    "long wave": (215_000,),
    "medium wave": (908_000,),
    "80 m": (3_954_000,),
    "60 m": (4_999_000,),
    "40 m": (7_204_000,),
    "31 m": (9_999_000,),
    "20 m": (14_999_000,),
    "15 m": (21_149_000,),
    "10 m": (28_199_000,),
}
_PURPOSES: tuple[tuple[Purpose, dict[str, tuple[int, ...]]], ...] = (
    ("noise", _NOISE),
    ("carrier", _CARRIERS),
)
_EVENING: Hours = ((0, 0.5), (5, 0.2), (8, 0.03), (15, 0.03), (17, 0.6), (18, 1.0), (21, 1.0), (23, 0.7))
_NIGHT: Hours = ((0, 1.0), (5, 1.0), (8, 0.1), (15, 0.1), (18, 1.0))
_DAY: Hours = ((0, 0.0), (6, 0.0), (8, 1.0), (17, 1.0), (19, 0.1), (20, 0.0))
_LONG_DAY: Hours = ((0, 0.25), (6, 0.4), (8, 1.0), (17, 1.0), (22, 0.3))
_CHARGING: Hours = ((0, 0.0), (17, 0.0), (17.5, 1.0), (21.5, 1.0), (22.5, 0.0))
_MICROVOLT = 1e-6
_HEARD = (
    Carrier(216_000, 900 * _MICROVOLT),
    Carrier(909_000, 400 * _MICROVOLT, _NIGHT, steadiness=8.0, slow_db=1.0),
    Carrier(3_955_000, 60 * _MICROVOLT, _NIGHT, steadiness=3.0, slow_db=2.0),
    Carrier(5_000_000, 40 * _MICROVOLT, steadiness=2.0, slow_db=2.0),
    Carrier(7_205_000, 400 * _MICROVOLT, _EVENING, steadiness=2.0, slow_db=2.0),
    Carrier(10_000_000, 30 * _MICROVOLT, _LONG_DAY, steadiness=2.0, slow_db=2.0),
    Carrier(15_000_000, 30 * _MICROVOLT, _DAY, steadiness=1.0, slow_db=2.0),
    Carrier(21_150_000, 3 * _MICROVOLT, _DAY, steadiness=0.0, slow_db=3.0),
    Carrier(28_200_000, 6 * _MICROVOLT, steadiness=math.inf),
    # Passers-by on channels that were chosen to be empty.
    Carrier(3_612_200, 15 * _MICROVOLT, _NIGHT, steadiness=1.0, share_of_slots=0.06),
    Carrier(7_187_100, 30 * _MICROVOLT, steadiness=1.0, share_of_slots=0.05),
    Carrier(9_397_000, 40 * _MICROVOLT, _NIGHT, steadiness=2.0, share_of_slots=0.08),
    Carrier(14_113_500, 8 * _MICROVOLT, _DAY, steadiness=0.5, share_of_slots=0.15),
)
"""Carriers: those that are measured, and passers-by on channels that were chosen to be empty."""
_BROADCASTERS = (
    Broadcasters(531e3, 1602e3, 6e-3, _NIGHT),
    Broadcasters(5.9e6, 6.2e6, 4e-3, _EVENING),
    Broadcasters(7.2e6, 7.45e6, 56e-3, _EVENING),
    Broadcasters(9.4e6, 9.9e6, 4e-3, _LONG_DAY),
)
_LOOP = Antenna(
    efficiency=(
        (150e3, 10**-5.3),
        (600e3, 10**-4.3),
        (1.6e6, 10**-3.7),
        (3.6e6, 10**-4.1),
        (5.4e6, 10**-3.1),
        (7.0e6, 10**-2.4),
        (10e6, 10**-2.2),
        (14e6, 10**-2.45),
        (21e6, 10**-1.38),
        (29e6, 10**-1.28),
    )
)


DEVICES: tuple[Device, ...] = (
    Buzz("dimmer in the hall", 8.0e3, _NIGHT),
    SwitchedSupply("charger in the shed", 43_200.0, 0.5 * _MICROVOLT, _CHARGING),
    LineModem("line modem", 14_100_000.0, 14_160_000.0, 3.0e4),
)
"""Three devices whose noise signs its name, for whoever renders samples: strong enough on 20 m to be worth a search."""
_LAMPS: Hours = ((0, 0.0), (16.9, 0.0), (17, 1.0), (22.4, 1.0), (22.5, 0.0))
_CHARGED: Hours = ((0, 0.0), (18.4, 0.0), (18.5, 1.0), (21.4, 1.0), (21.5, 0.0))
HOUSEHOLD: tuple[Device, ...] = (
    Buzz("dimmer in the hall", 2.0e5, _LAMPS, reach_hz=(3.0e6, 8.0e6)),
    SwitchedSupply("charger in the shed", 21_300.0, 2.0 * _MICROVOLT, _CHARGED, 1.0, 0.002, (4.5e6, 11e6)),
    LineModem("line modem", 14_935_000.0, 15_000_000.0, 8.0e5),
)
"""Three for the station whose receiver sees whole bands and is the noisier: one bursts with the mains, one has lines at
equal spacing, one fills a band between two edges."""
_BESIDE: tuple[tuple[float, Hours, tuple[int, ...]], ...] = (
    (50.0, _NIGHT, (153_000, 171_000, 234_000, 252_000, 270_000)),
    (6.0, _NIGHT, (1_458_000, 1_485_000, 1_512_000, 1_557_000, 1_602_000)),
    (6.0, _NIGHT, (3_797_000, 3_846_000, 3_905_000, 3_930_000)),
    (5.0, ALWAYS, (5_025_000, 5_060_000, 5_085_000, 5_105_000)),
    (5.0, _EVENING, (7_005_000, 7_055_000, 7_110_000)),
    (5.0, _LONG_DAY, (9_835_000, 9_860_000, 9_885_000, 9_895_000)),
    (5.0, _LONG_DAY, (14_850_000, 14_880_000, 14_930_000, 14_970_000)),
    (4.0, _LONG_DAY, (21_020_000, 21_050_000, 21_100_000)),
    (4.0, ALWAYS, (28_040_000, 28_080_000, 28_120_000, 28_160_000)),
)
"""Microvolts, hours and frequencies of more carriers, which whoever sees whole bands sees, too."""
_OF_SAMPLES = Receiver(noise_over_290=((150e3, 16000.0), (1e6, 1600.0), (30e6, 1600.0)))
"""Eight bits leave little room between a receiver's own noise and the strongest carrier, and this one has no tuner."""


def saltmarsh(seed: int = 1, of_samples: bool = False, devices: tuple[Device, ...] = ()) -> World:
    """The station with its sky and neighbours; another seed is another run of nights at the same place.

    `of_samples`: with a noisier receiver that delivers samples of whole bands, and what else stands in them. `devices`:
    such as `DEVICES`, heard in samples only.
    """
    station = replace(scenario(seed), devices=devices)
    if not of_samples:
        return World(station)
    beside = tuple(
        Carrier(hz, microvolts * _MICROVOLT, hours, steadiness=2.0, slow_db=2.0)
        for microvolts, hours, places in _BESIDE
        for hz in places
    )
    return World(replace(station, receiver=_OF_SAMPLES, carriers=(*station.carriers, *beside)))


def scenario(seed: int = 1) -> Scenario:
    """Sky, neighbours, antenna, stage, receiver and channels of Saltmarsh, for `seed`."""
    return Scenario(
        name="Saltmarsh",
        seed=seed,
        sky=Sky(seed, LATITUDE_DEG, LONGITUDE_DEG, storms=6.0),
        settlement=ManMade(seed, "rural", LONGITUDE_DEG),
        appliances=(
            Appliance(
                "scooter charger", seed, 3.0e6, 6.0e6, 3.0e9 * 4.3**-2.77, _CHARGING, 0.8, LONGITUDE_DEG
            ),
        ),
        carriers=_HEARD,
        broadcasters=_BROADCASTERS,
        antenna=_LOOP,
        relays=Relays(),
        stage=Stage(
            gain=((150e3, 0.09), (500e3, 8.0), (2e6, 31.0), (15e6, 33.0), (30e6, 27.0)),
            kelvin=380.0,
            second_order_w=10.0,
            third_order_w=0.35,
            saturation_w=0.2,
        ),
        receiver=Receiver(
            noise_over_290=((150e3, 63.0), (2e6, 32.0), (10e6, 28.0), (30e6, 30.0)),
            floor_db=-60.0,
            lag_s=0.008,
        ),
        channels=tuple(
            Channel(band, hz, purpose, BANDWIDTH_HZ)
            for band in _NOISE
            for purpose, places in _PURPOSES
            for hz in places[band]
        ),
        first_evening=datetime(2026, 3, 1, 14, 0, tzinfo=UTC),
    )
