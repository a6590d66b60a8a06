"""From a station to its open instruments, through the drivers' entry points."""

import math
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass

from drivers.contracts import Receiver, Switch, links_of
from drivers.errors import Refused, Transmitting
from drivers.links.identity import same_instrument
from drivers.waiting import bounded
from sweeper.engine import MeasurementSettings, Meter
from sweeper.engine.one_pass import LEAVE_S, PATIENCE_S
from sweeper.station import Station
from sweeper.station.drivers import driver
from sweeper.words import SignalPath


@dataclass(frozen=True, slots=True)
class Rig:
    """A receiver and a switch, open and ready."""

    receiver: Receiver
    switch: Switch


class AskingSwitch:
    """A switch that moves to any path but the rest only after the receiver has said that it does not transmit."""

    def __init__(self, switch: Switch, receiver: Receiver, rest: str) -> None:
        self._switch = switch
        self._receiver = receiver
        self._rest = rest

    def identify(self) -> str:
        return self._switch.identify()

    def select(self, path: str) -> int:
        """`Transmitting` when the receiver is on the air: nothing was moved."""
        if path != self._rest and self._receiver.is_transmitting():
            raise Transmitting("receiver", "it says that its transmitter is on; nothing was switched.")
        return self._switch.select(path)

    def selected(self) -> str | None:
        return self._switch.selected()

    def close(self) -> None:
        self._switch.close()


@contextmanager
def open_rig(station: Station) -> Iterator[Rig]:
    """Both instruments, closed at the end whatever happens. `RigError` when one cannot be reached.

    The switch opens first: if the receiver cannot be reached, the relays can still be put to rest. Whoever moves it
    from its rest has the receiver asked first, whether they think of it or not.
    """
    with ExitStack() as closing:
        with bounded(math.inf if station.switch.by_hand else PATIENCE_S):
            switch = open_switch(station)
            closing.callback(switch.close)
            receiver = open_receiver(station)
            closing.callback(receiver.close)
        yield Rig(receiver, AskingSwitch(switch, receiver, str(station.switch.rest)))


def open_receiver(station: Station) -> Receiver:
    """The station's receiver; `RigError` when it cannot be reached."""
    receiver: Receiver = driver(station.receiver.driver).open(station.receiver.options)
    return receiver


def open_switch(station: Station) -> Switch:
    """The station's relay board; `RigError` when it cannot be reached, or is where the receiver is."""
    for board in links_of(station.switch.options):
        for receiver in links_of(station.receiver.options):
            if same_instrument(board, receiver, look_up=True):
                raise Refused(
                    "switch",
                    f"{board} is where the receiver is ({receiver}); nothing was sent there.",
                    "Write the relay board's own link.",
                )
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
        visit_s=math.inf if switch.by_hand else PATIENCE_S + longest_visit_s(station),
        meter=Meter(
            in_dbm=receiver.meter.unit == "dBm",
            curve=tuple((point[0], point[1]) for point in receiver.meter.curve),
            floor=receiver.meter.floor,
            top=receiver.meter.top,
        ),
    )


def longest_visit_s(station: Station) -> float:
    """What a visit takes with instruments that answer, and a person at the switch who takes their time; seconds."""
    receiver = station.receiver
    person_s = float(getattr(station.switch.options, "timeout_s", 0.0)) if station.switch.by_hand else 0.0
    reading_s = max(float(getattr(receiver.options, "averaging_s", 0.0)), 0.5)
    return (
        person_s
        + receiver.settle_s
        + station.switch.settle_s
        + receiver.readings * (receiver.interval_s + reading_s)
    )
