"""From a station to its open instruments, through the drivers' entry points."""

import math
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass

from drivers.contracts import Receiver, Switch
from sweeper.engine import MeasurementSettings, Meter
from sweeper.engine.one_pass import LEAVE_S
from sweeper.station import Station
from sweeper.station.drivers import driver
from sweeper.words import SignalPath


@dataclass(frozen=True, slots=True)
class Rig:
    """A receiver and a switch, open and ready."""

    receiver: Receiver
    switch: Switch


@contextmanager
def open_rig(station: Station) -> Iterator[Rig]:
    """Both instruments, closed at the end whatever happens. `RigError` when one cannot be reached.

    The switch opens first: if the receiver cannot be reached, the relays can still be put to rest.
    """
    switch = open_switch(station)
    try:
        receiver = open_receiver(station)
        try:
            yield Rig(receiver, switch)
        finally:
            receiver.close()
    finally:
        switch.close()


def open_receiver(station: Station) -> Receiver:
    """The station's receiver; `RigError` when it cannot be reached."""
    receiver: Receiver = driver(station.receiver.driver).open(station.receiver.options)
    return receiver


def open_switch(station: Station) -> Switch:
    """The station's relay board; `RigError` when it cannot be reached."""
    switch: Switch = driver(station.switch.driver).open(station.switch.options)
    return switch


def measurement_settings(station: Station) -> MeasurementSettings:
    """How the engine is to measure at this station."""
    receiver, switch = station.receiver, station.switch
    return MeasurementSettings(
        mode=receiver.mode,
        settle_s=receiver.settle_s,
        switch_settle_s=switch.settle_s,
        readings=receiver.readings,
        interval_s=receiver.interval_s,
        rest=SignalPath.parse(str(switch.rest)),
        leave_s=math.inf if switch.by_hand else LEAVE_S,
        meter=Meter(
            in_dbm=receiver.meter.unit == "dBm",
            curve=tuple((point[0], point[1]) for point in receiver.meter.curve),
            floor=receiver.meter.floor,
            top=receiver.meter.top,
        ),
    )
