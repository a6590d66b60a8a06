"""The vocabulary that every part shares: paths, channels, visits and readings.

Frozen values only. Nothing here reads, computes or knows hardware.
"""

from dataclasses import dataclass
from datetime import datetime
from typing import Literal, Self

Source = Literal["antenna", "load", "noise"]
Route = Literal["bypass", "stage"]
Purpose = Literal["noise", "carrier"]

SOURCES: tuple[Source, ...] = ("antenna", "load", "noise")
ROUTES: tuple[Route, ...] = ("bypass", "stage")


@dataclass(frozen=True, slots=True, order=True)
class SignalPath:
    """One setting of the relays: what feeds the chain, and how it reaches the receiver."""

    source: Source
    route: Route

    def __str__(self) -> str:
        return f"{self.source}-{self.route}"

    @classmethod
    def parse(cls, text: str) -> Self:
        """The path written as ``source-route``; ValueError when it is none of the six."""
        for source in SOURCES:
            for route in ROUTES:
                if text == f"{source}-{route}":
                    return cls(source, route)
        raise ValueError(f"{text!r} is no path; a path is source-route, such as antenna-bypass or load-stage")


ANTENNA_BYPASS = SignalPath("antenna", "bypass")
ANTENNA_STAGE = SignalPath("antenna", "stage")
LOAD_BYPASS = SignalPath("load", "bypass")
LOAD_STAGE = SignalPath("load", "stage")
NOISE_BYPASS = SignalPath("noise", "bypass")
NOISE_STAGE = SignalPath("noise", "stage")


@dataclass(frozen=True, slots=True)
class Channel:
    """A dial frequency in hertz with the receiver's bandwidth and what it is measured for."""

    band: str
    hz: int
    purpose: Purpose
    bandwidth_hz: int


@dataclass(frozen=True, slots=True)
class Visit:
    """One stay on a channel through one path."""

    channel: Channel
    path: SignalPath


@dataclass(frozen=True, slots=True)
class Reading:
    """One value of received power: a row of the readings table.

    `reading` is in the meter's own unit, `dbm` after the meter curve (None when uncalibrated),
    `flags` space-separated words such as ``floor``, ``clipped``, ``stale``; empty is good.
    """

    time: datetime
    pass_number: int
    channel: Channel
    path: SignalPath
    reading: float
    dbm: float | None
    flags: str = ""


Outcome = Literal["done", "skipped", "failed"]


BROUGHT_IN = "Brought in from a file."
"""Why nothing more is kept of a pass that was not measured by this station's own daemon."""


@dataclass(frozen=True, slots=True)
class PassRecord:
    """What became of one pass. `because` is empty for a pass that is done here, else one sentence for a person.

    `left_over` names what could not be restored (``relays``, ``receiver``); it is tried again first.
    `unknown_settings` names receiver settings that move the meter and could not be known.
    """

    number: int
    started: datetime
    ended: datetime
    outcome: Outcome
    because: str
    relay_operations: int
    left_over: tuple[str, ...] = ()
    unknown_settings: tuple[str, ...] = ()

    @property
    def brought_in(self) -> bool:
        """Whether its readings came out of a file: what was due and what went wrong there is not known."""
        return self.because == BROUGHT_IN
