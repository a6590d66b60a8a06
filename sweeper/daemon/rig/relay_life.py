"""Relay life: operations counted relay by relay across restarts, warned about, and made to last as planned."""

import json
import math
from collections import Counter
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

from drivers.contracts import Switch
from drivers.errors import RigError, Transmitting
from drivers.ordinary_files import content_of
from drivers.waiting import bounded
from sweeper.engine.settings import GRACE_S, LEAVE_S
from sweeper.outside import MOST_JSON_BYTES, json_of
from sweeper.plan import budget, one_pass
from sweeper.plan.order import moved
from sweeper.station import Station
from sweeper.store import replace_whole
from sweeper.words import SignalPath

FILE = "relay-wear.json"
"""In the station's data folder, and not in its store: whoever holds the rig may move relays, the daemon or not."""

WARN_AT = (0.5, 0.9, 1.0)
IDLE_FOR = timedelta(days=1)
"""Contacts that carry no current to speak of grow a film; a move a day wipes it off (common practice)."""
YEAR = timedelta(days=365.25)


@dataclass(frozen=True, slots=True)
class Life:
    """What the relays have done. `operations` and `moved_at` by relay; `since` is when counting began."""

    since: datetime
    operations: Mapping[str, int]
    moved_at: Mapping[str, datetime]

    def busiest(self) -> int:
        """Operations of the relay that moved most."""
        return max(self.operations.values(), default=0)


def load(folder: Path, now: datetime) -> Life:
    """The count so far; a new one when there is none, or none that can be read."""
    try:
        kept = json_of(content_of(folder / FILE, MOST_JSON_BYTES))
        return Life(
            datetime.fromisoformat(kept["since"]),
            {str(relay): int(count) for relay, count in kept["operations"].items()},
            {str(relay): datetime.fromisoformat(moment) for relay, moment in kept["moved_at"].items()},
        )
    except (OSError, ValueError, KeyError, TypeError, AttributeError, OverflowError):
        return Life(now, {}, {})


def operations_of_the_busiest(folder: Path) -> int:
    """Operations in the life of the relay that moved most; 0 where none were counted."""
    return load(folder, datetime.min.replace(tzinfo=UTC)).busiest()


def save(folder: Path, life: Life) -> None:
    """Keep the count, whole or not at all. OSError when the disk does not take it. The caller holds the rig."""
    kept = {
        "since": life.since.isoformat(),
        "operations": dict(life.operations),
        "moved_at": {relay: moment.isoformat() for relay, moment in life.moved_at.items()},
    }
    replace_whole(folder / FILE, json.dumps(kept).encode())


def plus(life: Life, moves: Counter[str], now: datetime) -> Life:
    """The count after so many more moves of each relay."""
    operations = Counter(life.operations)
    operations.update(moves)
    return Life(life.since, dict(operations), {**life.moved_at, **dict.fromkeys(moves, now)})


def count(folder: Path, moves: Counter[str], now: datetime) -> None:
    """Count moves for life, if the disk takes it: a full one is no reason to leave a station as it is.

    The caller holds the rig.
    """
    if moves:
        with suppress(OSError):
            save(folder, plus(load(folder, now), moves, now))


def moves_of_a_pass(station: Station, pass_number: int) -> Counter[str]:
    """What a whole pass moves; assumed of a pass that a crash cut short, so that the count errs on the old side."""
    return moves_along(station, tuple(visit.path for visit in one_pass(station, pass_number)))


def moves_along(station: Station, paths: tuple[SignalPath, ...]) -> Counter[str]:
    """Moves of each relay from rest along `paths` and back to rest."""
    rest = SignalPath.parse(str(station.switch.rest))
    moves: Counter[str] = Counter()
    for before, after in zip((rest, *paths), (*paths, rest), strict=True):
        moves.update(moved(station, before, after))
    return moves


class CountedSwitch:
    """A switch that counts what each relay does. Where the relays stand at first is read back, or unknown."""

    def __init__(self, switch: Switch, station: Station) -> None:
        self._switch = switch
        self._station = station
        try:
            self._standing = switch.selected()
        except RigError:  # It may still be told to move.
            self._standing = None
        self.moves: Counter[str] = Counter()

    def identify(self) -> str:
        return self._switch.identify()

    def select(self, path: str) -> int:
        before, self._standing = self._standing, None
        uncounted = self.moves.copy()
        # Counted before it is tried: a relay that was told to move and did not answer may well have moved.
        if before is not None:
            self.moves.update(moved(self._station, SignalPath.parse(before), SignalPath.parse(path)))
        else:
            self.moves.update(dict.fromkeys(_all_relays(self._station), 1))
        try:
            operations = self._switch.select(path)
        except Transmitting:
            self._standing, self.moves = before, uncounted  # it asked first and moved nothing
            raise
        self._standing = path
        return operations

    def selected(self) -> str | None:
        return self._switch.selected()

    def close(self) -> None:
        self._switch.close()


def _all_relays(station: Station) -> frozenset[str]:
    rest = SignalPath.parse(str(station.switch.rest))
    return frozenset().union(*(moved(station, rest, path) for path in station.paths()))


def share(life: Life, rated: int) -> float:
    """Operations of the busiest relay ÷ what it is rated for."""
    return life.busiest() / rated


def warning(life: Life, rated: int) -> str:
    """One sentence from half of the rated life on; empty before."""
    reached = [mark for mark in WARN_AT if share(life, rated) >= mark]
    if not reached:
        return ""
    used = f"the busiest relay has made {life.busiest()} of {rated} rated operations"
    if reached[-1] < 0.9:
        return f"{used}, more than half; have a spare at hand."
    if reached[-1] < 1.0:
        return f"{used}, more than nine tenths; replace it before it sticks."
    return f"{used}; it is past its rated life, and a contact that sticks spoils the readings unseen. Replace it."


def allowed_a_day(station: Station, life: Life, now: datetime) -> float | None:
    """Operations a day that the busiest relay may make to last for the planned years; None without a plan."""
    years = station.switch.planned_years
    if years is None or station.switch.by_hand:
        return None
    days_left = (life.since + years * YEAR - now) / timedelta(days=1)
    return max(station.switch.rated_operations - life.busiest(), 0) / days_left if days_left > 0 else None


def every_nth(station: Station, life: Life, now: datetime, passes_a_day: float) -> int:
    """Only each so-many-th pass of the schedule is measured, so that the relays last for the planned years.

    1 when nothing was planned or the schedule is gentle enough. Passes are thinned evenly, not stopped when a
    day's share is used up: else the small hours would never be measured.
    """
    allowed = allowed_a_day(station, life, now)
    if allowed is None:
        return 1
    plan = budget(station, passes_a_day)
    if plan.relay_years is None:
        return 1
    wanted = station.switch.rated_operations / (plan.relay_years * 365.25)
    if wanted >= allowed * MOST_THINNED:
        return MOST_THINNED
    return max(math.ceil(wanted / allowed - 1e-9), 1)


MOST_THINNED = 100
"""Worn-out relays slow the measuring down to this, but do not end it: that is the person's to decide."""


def idle_relays(station: Station, life: Life, now: datetime) -> frozenset[str]:
    """The relays that have not moved for a day, though some path needs them."""
    if station.switch.by_hand:
        return frozenset()
    return frozenset(
        relay for relay in _all_relays(station) if now - life.moved_at.get(relay, life.since) >= IDLE_FOR
    )


def exercise(station: Station, switch: CountedSwitch) -> None:
    """Move every relay there and back. `RigError` when one does not follow; they are sent to rest all the same."""
    try:
        for path in station.paths():
            switch.select(str(path))
    finally:
        with bounded(LEAVE_S, grace_s=GRACE_S):
            switch.select(str(station.switch.rest))
