"""The vocabulary that every part shares: paths, channels, visits and readings.

Frozen values only. Nothing here reads, computes or knows hardware.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import TYPE_CHECKING, Literal, Self

if TYPE_CHECKING:  # slow to load, and only spectra need it
    import numpy as np
    from numpy.typing import NDArray

Source = Literal["antenna", "load", "noise"]
Route = Literal["bypass", "stage"]
Purpose = Literal["noise", "carrier", "ratio"]
"""`ratio`: a carrier by its power over the noise of the same instant, dB, where the receiver's gain is not held."""

SOURCES: tuple[Source, ...] = ("antenna", "load", "noise")
ROUTES: tuple[Route, ...] = ("bypass", "stage")
PURPOSES: tuple[Purpose, ...] = ("noise", "carrier", "ratio")


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


@dataclass(frozen=True, slots=True)
class Channel:
    """A dial frequency in hertz with the receiver's bandwidth and what it is measured for."""

    band: str
    hz: int
    purpose: Purpose
    bandwidth_hz: int


SIDEBANDS = {"USB": 1, "LSB": -1, "CW": 1, "CWR": -1}
"""Modes whose detector keeps power as it is, and which way radio frequency goes with the tone."""


def dial_beside(hz: int, mode: str, tone_hz: int) -> int:
    """Where the dial stands so that a radio frequency is heard at `tone_hz`; receivers in CW show it themselves."""
    mode = mode.upper()
    return hz if mode in ("CW", "CWR") else hz - SIDEBANDS.get(mode, 1) * tone_hz


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


@dataclass(frozen=True, slots=True, eq=False)
class Spectrum:
    """Powers by frequency from one stay on one tuning through one path.

    `mean`: shape (bins,), mean power in each bin, linear, full scale being 1: a carrier reads its power, noise its
    density times `noise_bandwidth_hz`. `low`: the lower quartile over the means of sub-blocks, same shape and unit;
    None where the stay was too short for one. Bin k stands at `start_hz` + k · `step_hz`, rising with radio frequency.
    `segments`: how many (nearly independent) segments were averaged. `quality`: words such as ``clipped``, ``gap``,
    ``void``; empty is good. `envelope`: how the power of its noise goes up and down, from 0 to 1 kHz, shape
    (parts, blocks, lines): `spectra.envelope` of all its quiet bins, or of those far from signals and of those near
    them; None where it was not read.
    """

    start_hz: float
    step_hz: float
    mean: "NDArray[np.float32]"
    low: "NDArray[np.float32] | None"
    segments: int
    noise_bandwidth_hz: float
    clipped: float = 0.0
    quality: frozenset[str] = frozenset()
    envelope: "NDArray[np.complex64] | None" = None


@dataclass(frozen=True, slots=True, eq=False)
class Labelled:
    """A spectrum with the path it came through and when it was taken.

    `time` and `until`: beginning and end, seconds since 1970 (UTC), or since a recording began where its date is not
    known. `tuning`: what names the setting of the receiver, such as its dial frequency in hertz; None where unknown.
    """

    time: float
    until: float
    path: SignalPath
    tuning: float | None
    spectrum: Spectrum


Spectra = Sequence[tuple[str, Labelled]]
"""What a pass heard, each with the name of its band."""
Outcome = Literal["done", "skipped", "failed"]
Hand = Literal["", "relay", "disk"]
"""What needs somebody's hand: a relay that sticks, a disk that takes nothing. Empty: nothing, as far as is known."""


BROUGHT_IN = "Brought in from a file."
"""Why nothing more is kept of a pass that was not measured by this station's own daemon."""


@dataclass(frozen=True, slots=True)
class PassRecord:
    """What became of one pass. `because` is empty for a pass that is done here, else one sentence for a person.

    `left_over` names what could not be restored (``relays``, ``receiver``); it is tried again first.
    `unknown_settings` names receiver settings that move the meter and could not be known. `hand` is for those who look
    on while the pass is measured; it is not stored.
    """

    number: int
    started: datetime
    ended: datetime
    outcome: Outcome
    because: str
    relay_operations: int
    left_over: tuple[str, ...] = ()
    unknown_settings: tuple[str, ...] = ()
    hand: Hand = field(default="", compare=False)

    @property
    def brought_in(self) -> bool:
        """Whether its readings came out of a file: what was due and what went wrong there is not known."""
        return self.because == BROUGHT_IN
