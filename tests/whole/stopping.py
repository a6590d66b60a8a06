"""How long a stop order takes: a fault on a wire at a moment of a pass, the order while the program waits for it.

The links are told to be patient, so that without the order the wait would last for a minute.
"""

import contextlib
import tempfile
import threading
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path

from sweeper.daemon.run.campaign import run_passes
from sweeper.simulation.wires.faults import WireFaults
from tests.whole.faulty_station import BOARDS, RECEIVERS, TUNINGS, FaultyStation, faulty_station

PATIENT_S = 50.0
BREAKS: dict[str, Callable[[WireFaults], None]] = {
    "hang": lambda wire: wire.hang(),
    "unplug": lambda wire: wire.unplug(),
    "drop": lambda wire: wire.drop(),
    "late": lambda wire: wire.delay(1.0),
    "garble": lambda wire: wire.garble(),
    "noise": lambda wire: wire.noise(),
    "truncate": lambda wire: wire.truncate(),
    "close": lambda wire: wire.close(),
}
RECEIVER_MOMENTS = {
    "greeting": ("dial", 1),
    "tuning": ("tune", 3),
    "reading": ("meter", 3),
    "switching": ("transmit", 2),
    "restoring": ("tune", TUNINGS + 1),
}
"""The nth command of a kind; after the tunings of the visits comes the way back."""

SWITCH_MOMENTS = {"pulling in": ("write", 1), "letting go": ("write", 2), "reading back": ("read", 4)}
TELL_THEMSELVES = ("text-line", "mqtt")
"""Boards that are not asked: their answers come with the orders, or by themselves."""


@dataclass(frozen=True)
class Case:
    """A fault of one instrument at a moment; `part` says whose wire."""

    part: str
    instrument: str
    fault: str
    moment: str

    def __str__(self) -> str:
        return f"{self.instrument}-{self.fault}-{self.moment}".replace(" ", "-")


@dataclass(frozen=True)
class Took:
    """Seconds from the order to the relays at rest, and to the end of the pass with its last try to restore.

    A board that is broken counts from when it can be reached again, since nothing moves it before.
    """

    rest_s: float
    end_s: float
    at_rest: bool


def cases() -> list[Case]:
    """Every receiver kind × fault × moment, every board × fault × moment."""
    receivers = [
        Case("receiver", receiver, fault, moment)
        for receiver in RECEIVERS
        for fault in BREAKS
        for moment in RECEIVER_MOMENTS
        if receiver != "scpi" or moment != "switching"  # a measuring receiver has no transmitter to ask about
    ]
    return receivers + [
        Case("switch", board, fault, moment)
        for board in BOARDS
        for fault in BREAKS
        for moment in SWITCH_MOMENTS
        if board not in TELL_THEMSELVES or moment != "reading back"
    ]


def stopped(case: Case) -> Took | None:
    """Break it, order to stop while the program waits, and look when the relays rest; None if it was over before."""
    receiver = case.instrument if case.part == "receiver" else "rigctl-net"
    board = case.instrument if case.part == "switch" else "modbus-tcp"
    with (
        tempfile.TemporaryDirectory() as folder,
        faulty_station(
            Path(folder),
            receiver,
            board,
            receiver_timeout_s=PATIENT_S,
            switch_timeout_s=PATIENT_S,
            reconnect_s=60.0,
        ) as station,
    ):
        return _stopped(case, station)


def _stopped(case: Case, station: FaultyStation) -> Took | None:
    of_receiver = case.part == "receiver"
    faults, served = station.served.faults, station.served
    wire = faults.receiver if of_receiver else faults.switch
    log = served.receiver_log if of_receiver else served.switch_log
    kind, nth = (RECEIVER_MOMENTS if of_receiver else SWITCH_MOMENTS)[case.moment]
    broke, over = threading.Event(), threading.Event()
    ordered_s: list[float] = []
    rested_s: list[float] = []

    def break_it() -> None:
        BREAKS[case.fault](wire)
        broke.set()

    def order() -> None:
        if not broke.wait(60.0):
            return
        if over.wait(0.3):
            return  # the fault cost so little that the pass came to its end
        ordered_s.append(time.monotonic())
        station.campaign.orders.stop()
        if not of_receiver:
            over.wait(0.2)
            if case.fault == "unplug":
                with contextlib.suppress(OSError):
                    wire.plug()
            else:
                wire.mend()
            ordered_s.append(time.monotonic())
        while not (station.at_rest or over.is_set()):
            time.sleep(0.005)
        rested_s.append(time.monotonic())

    log.when(kind, break_it, nth)
    thread = threading.Thread(target=order)
    thread.start()
    try:
        run_passes(station.campaign, [None])
        ended_s = time.monotonic()
    finally:
        over.set()
        thread.join()
    if not broke.is_set() or not ordered_s or ended_s < ordered_s[0]:
        return None
    return Took(max(rested_s[0] - ordered_s[-1], 0.0), max(ended_s - ordered_s[0], 0.0), station.at_rest)


def all_of(some: list[Case], at_once: int) -> dict[Case, Took | None]:
    """Each case, so many beside each other, since they mostly wait."""
    with ThreadPoolExecutor(at_once) as pool:
        return dict(zip(some, pool.map(stopped, some), strict=True))
