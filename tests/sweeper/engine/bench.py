"""A receiver and a relay board in memory, which fulfil the contracts and remember all that was done to them."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from typing import Any

from drivers.contracts import Tuning
from drivers.errors import LinkLost, Stuck, Transmitting
from sweeper.clock import JumpingClock
from sweeper.engine import MeasurementSettings, Meter
from sweeper.words import (
    ANTENNA_BYPASS,
    ANTENNA_STAGE,
    LOAD_BYPASS,
    Channel,
    Labelled,
    PassRecord,
    Reading,
    Visit,
)

EVENING = datetime(2026, 11, 1, 16, tzinfo=UTC)
FOUND = Tuning(14_074_000, "USB", 2800)
"""Where the listener left the dial."""

NOISE_40 = Channel("40 m", 7_038_500, "noise", 2400)
CARRIER_40 = Channel("40 m", 7_202_000, "carrier", 2400)
NARROW_20 = Channel("20 m", 14_100_000, "noise", 500)

ABBA = (ANTENNA_BYPASS, ANTENNA_STAGE, ANTENNA_STAGE, ANTENNA_BYPASS)
CHANNELS = (NOISE_40, CARRIER_40, NARROW_20)
VISITS = tuple(Visit(channel, path) for path in (*ABBA, LOAD_BYPASS) for channel in CHANNELS)

SETTINGS = MeasurementSettings(
    mode="CW",
    settle_s=0.15,
    switch_settle_s=0.03,
    readings=4,
    interval_s=0.05,
    rest=ANTENNA_BYPASS,
    meter=Meter(in_dbm=True, floor=-140.0, top=-20.0),
)


@dataclass
class Dial:
    """A receiver. `before` is called with the name of each call before it is carried out, and may raise."""

    before: Callable[[str], None] = lambda call: None
    tuning_now: Tuning = FOUND
    agc: str = "slow"
    transmitting: bool = False
    level: float = -100.0
    dead_dial: bool = False
    calls: list[str] = field(default_factory=list)

    def _call(self, name: str) -> None:
        self.calls.append(name)
        self.before(name)

    def identify(self) -> str:
        return "a dial in memory"

    def frequency_range_hz(self) -> tuple[int, int] | None:
        return None

    def tuning(self) -> Tuning:
        self._call("tuning")
        return self.tuning_now

    def tune(self, hz: int) -> None:
        self._call("tune")
        if not self.dead_dial:
            self.tuning_now = Tuning(hz, self.tuning_now.mode, self.tuning_now.bandwidth_hz)

    def set_mode(self, mode: str, bandwidth_hz: int | None) -> None:
        self._call("set_mode")
        self.tuning_now = Tuning(self.tuning_now.hz, mode, bandwidth_hz)

    def frequency_hz(self) -> int:
        self._call("frequency_hz")
        return self.tuning_now.hz

    def read_power(self) -> float:
        self._call("read_power")
        if self.transmitting:
            raise Transmitting("receiver", "it says that its transmitter is on.")
        self.level += 0.1  # a meter that lives
        return self.level

    def tells_transmit(self) -> bool:
        return True

    def is_transmitting(self) -> bool:
        self._call("is_transmitting")
        return self.transmitting

    def remember(self) -> Mapping[str, Any]:
        self._call("remember")
        at = self.tuning_now
        return {"tuning": {"hz": at.hz, "mode": at.mode, "bandwidth_hz": at.bandwidth_hz}, "agc": self.agc}

    def restore(self, remembered: Mapping[str, Any]) -> None:
        self._call("restore")
        if "tuning" in remembered:
            self.tuning_now = replace(self.tuning_now, **remembered["tuning"])
        if "agc" in remembered:
            self.agc = remembered["agc"]

    def prepare(self) -> tuple[str, ...]:
        self._call("prepare")
        self.agc = "off"
        return ("noise blanker",)

    def close(self) -> None:
        pass


@dataclass
class Board:
    """A relay board with a stage relay and a load relay."""

    before: Callable[[str], None] = lambda call: None
    standing: str = "antenna-bypass"
    unplugged: bool = False
    stuck: bool = False
    history: list[str] = field(default_factory=list)

    def identify(self) -> str:
        return "a board in memory"

    def select(self, path: str) -> int:
        self.before(f"select {path}")
        if self.unplugged:
            raise LinkLost("switch", "the board does not answer.")
        moves = sum(a != b for a, b in zip(path.split("-"), self.standing.split("-"), strict=True))
        if self.stuck and moves:
            raise Stuck("switch", f"the relays do not follow to {path}.")
        self.standing = path
        self.history.append(path)
        return moves

    def selected(self) -> str | None:
        return self.standing

    def close(self) -> None:
        pass


@dataclass
class Kept:
    """A sink that keeps everything."""

    refuse: str = ""
    events: list[str] = field(default_factory=list)
    found_as: Mapping[str, Any] | None = None
    visits: list[Visit] = field(default_factory=list)
    shown: list[Sequence[Reading]] = field(default_factory=list)
    heard: list[Labelled | None] = field(default_factory=list)
    records: list[tuple[PassRecord, tuple[Reading, ...]]] = field(default_factory=list)
    spectra: tuple[tuple[str, Labelled], ...] = ()
    stood_hz: dict[str, Sequence[int]] = field(default_factory=dict)

    def _event(self, name: str) -> None:
        if name == self.refuse:
            raise OSError(28, "No space left on device")
        self.events.append(name)

    def found(self, number: int, started: datetime, remembered: Mapping[str, Any]) -> None:
        self._event("found")
        self.found_as = remembered

    def visited(self, visit: Visit, readings: Sequence[Reading], heard: Labelled | None = None) -> None:
        self._event("visited")
        self.visits.append(visit)
        self.shown.append(readings)
        self.heard.append(heard)

    def finished(
        self, record: PassRecord, readings: Sequence[Reading], spectra: Sequence[tuple[str, Labelled]] = ()
    ) -> None:
        self._event("finished")
        self.spectra = tuple(spectra)
        self.records.append((record, tuple(readings)))

    def stood(self, lines_hz: Mapping[str, Sequence[int]]) -> None:
        self._event("stood")
        self.stood_hz = dict(lines_hz)

    def mark_restored(self) -> None:
        self._event("put back")
        self.found_as = None


def a_clock() -> JumpingClock:
    return JumpingClock(EVENING)
