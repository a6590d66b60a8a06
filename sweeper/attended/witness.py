"""The receiver's own meter beside its sound, in S-units by route: for the eye, and no part of the answer."""

from collections import deque
from collections.abc import Callable
from contextlib import suppress
from statistics import fmean
from typing import TYPE_CHECKING

from drivers.contracts import Receiver
from drivers.errors import BadReply, Refused, Unsupported
from sweeper.analysis import s_units
from sweeper.words import Route, SignalPath

if TYPE_CHECKING:
    from sweeper.station import Station

LATEST = 20
"""Readings of a route that are shown as one: a meter follows fading."""


class Witness:
    """Reads the meter when told to, as the chain stands; shows nothing where there is none or its unit is unknown."""

    def __init__(self, receiver: Receiver, over_s9: Callable[[float], float | None]) -> None:
        self._receiver, self._over_s9 = receiver, over_s9
        self._shown: dict[Route, deque[float]] = {
            "bypass": deque(maxlen=LATEST),
            "stage": deque(maxlen=LATEST),
        }

    def look(self, path: SignalPath) -> None:
        """One reading, of the antenna. `Transmitting` where the receiver is on the air."""
        if path.source != "antenna":
            return
        with suppress(Unsupported, Refused, BadReply):
            over_db = self._over_s9(self._receiver.read_power())
            if over_db is not None:
                self._shown[path.route].append(over_db)

    def told(self) -> tuple[str, str, str] | None:
        """What it shows with the stage out, in, and their difference; None before both were seen."""
        out, within = (self._shown[route] for route in ("bypass", "stage"))
        if not out or not within:
            return None
        change = f"{fmean(within) - fmean(out):+.0f} dB".replace("-", "−")
        return _as_shown(fmean(out)), _as_shown(fmean(within)), change


def _as_shown(over_db: float) -> str:
    return s_units(over_db) + (" dB" if over_db > 0 else "")


def over_s9_of(station: "Station") -> Callable[[float], float | None]:
    """How readings of the station's meter stand to S9, dB; a function of None where nobody knows."""
    meter = station.receiver.meter
    if meter.unit == "dB-over-S9":
        return lambda reading: reading
    if meter.unit == "dBm":
        return lambda reading: reading - meter.s9_dbm
    return lambda reading: None
